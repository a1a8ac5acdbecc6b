// Counts down to the next step of the plan. The page is whole without it: the server said the clock and the wait.
const minute = 60000;
function length(minutes) {
  const hours = Math.floor(minutes / 60);
  const rest = minutes % 60;
  if (!hours) return `${rest} min`;
  return rest ? `${hours} h ${rest} min` : `${hours} h`;
}
function words(wait) {
  const ahead = Math.ceil(wait / minute);
  if (Math.abs(ahead) > 48 * 60) return "";
  if (ahead > 0) return `in ${length(ahead)}`;
  const ago = Math.floor(-wait / minute);
  return ago ? `${length(ago)} ago` : "now";
}
const steps = [...document.querySelectorAll(".timeline.coming li[data-at]")].map((line) => ({
  line,
  at: Date.parse(line.dataset.at),
}));
const next = document.getElementById("next");
function tick() {
  const now = Date.now();
  for (const each of document.querySelectorAll("[data-until]")) {
    each.textContent = words(Date.parse(each.dataset.until) - now);
  }
  const coming = steps.find((step) => step.at > now);
  for (const step of steps) {
    step.line.classList.toggle("past", step.at <= now);
    step.line.classList.toggle("now", step === coming);
  }
  if (!next) return;
  next.hidden = !coming;
  if (!coming) return;
  document.getElementById("next-words").textContent = coming.line.querySelector("strong").textContent;
  document.getElementById("next-dish").textContent = coming.line.querySelector(".of").textContent;
  document.getElementById("next-clock").textContent = coming.line.querySelector(".at").textContent;
  document.getElementById("next-wait").textContent = words(coming.at - now);
}
tick();
setInterval(tick, 5000);
