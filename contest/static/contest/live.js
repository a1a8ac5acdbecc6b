// A page that keeps itself fresh says so when it cannot: how old its figures may be, by the contest's clock.
"use strict";

const lost = document.getElementById("lost-touch");
const SILENCE = 10_000; // milliseconds without an answer, whatever the reason
let heard = Date.now();

function clock(moment) {
  const style = { hour: "2-digit", minute: "2-digit", hourCycle: "h23", timeZone: lost.dataset.zone };
  return new Intl.DateTimeFormat("en-GB", style).format(moment);
}

function say(text) {
  if (lost.textContent !== text) lost.textContent = text;
  lost.hidden = !text;
}

function noAnswer() {
  say(`No answer since ${clock(heard)}: figures may be old.`);
}

// Whether an answer came from the page that was asked, not from the way in to which it was led.
function isOwn(detail) {
  const { responseURL } = detail.xhr;
  const asked = new URL(detail.pathInfo.requestPath, window.location.href);
  return !responseURL || new URL(responseURL).pathname === asked.pathname;
}

document.body.addEventListener("htmx:beforeSwap", (event) => {
  if (isOwn(event.detail)) return;
  event.detail.shouldSwap = false;
  say(`Signed out since ${clock(heard)}: figures may be old. Open the page again to sign in.`);
});
document.body.addEventListener("htmx:afterRequest", (event) => {
  if (!event.detail.successful || !isOwn(event.detail)) return;
  heard = Date.now();
  say("");
});
for (const name of ["htmx:sendError", "htmx:responseError", "htmx:timeout"]) {
  document.body.addEventListener(name, noAnswer);
}
setInterval(() => {
  if (lost.hidden && !document.hidden && Date.now() - heard > SILENCE) noAnswer();
}, 1000);
