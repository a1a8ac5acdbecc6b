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

// Whoever was signed out is to load the page anew; this one stays to be read until its reader does so.
document.body.addEventListener("htmx:beforeOnLoad", (event) => {
  if (event.detail.xhr.getResponseHeader("HX-Refresh") !== "true") return;
  event.preventDefault();
  say(`Signed out since ${clock(heard)}: figures may be old. Open the page again to sign in.`);
});
document.body.addEventListener("htmx:afterRequest", (event) => {
  if (!event.detail.successful) return;
  heard = Date.now();
  say("");
});
for (const name of ["htmx:sendError", "htmx:responseError", "htmx:timeout"]) {
  document.body.addEventListener(name, noAnswer);
}
setInterval(() => {
  if (lost.hidden && !document.hidden && Date.now() - heard > SILENCE) noAnswer();
}, 1000);
