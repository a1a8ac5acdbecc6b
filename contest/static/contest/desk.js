// The desk's keypad and the window's countdown. Without this script the page is a plain field and static times.
const field = document.getElementById("team");
const keypad = document.querySelector(".keypad");
keypad.hidden = false;
document.querySelector(".plain-find").hidden = true;
// On a touch screen the keypad takes the place of the system's keyboard.
if (matchMedia("(pointer: coarse)").matches) field.inputMode = "none";

keypad.addEventListener("click", (event) => {
  const key = event.target.dataset.key;
  if (!key) return;
  field.value = key === "back" ? field.value.slice(0, -1) : (field.value + key).slice(0, field.maxLength);
});

// Digits typed anywhere but in a field belong to the next team.
document.addEventListener("keydown", (event) => {
  const inField = event.target.matches("input, textarea, select");
  if (!inField && /^\d$/.test(event.key) && !event.ctrlKey && !event.metaKey && !event.altKey) field.focus();
});

// The clock is the server's: this device's own may be minutes off.
const clock = document.querySelector(".desk-clock");
const ahead = Number(clock.dataset.now) - Date.now();
const opens = Number(clock.dataset.opens);
const closes = Number(clock.dataset.closes);
const shown = clock.querySelector(".countdown");
const time = new Intl.DateTimeFormat("en-GB", {
  timeZone: clock.dataset.zone, hour: "2-digit", minute: "2-digit", second: "2-digit",
});

// Below ten minutes to the second, as 3:12; above, in words, so that nobody takes a span for a time of day.
function span(milliseconds) {
  const seconds = Math.floor(Math.abs(milliseconds) / 1000);
  const [hours, minutes] = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60];
  if (hours >= 48) return `${Math.floor(hours / 24)} days`;
  if (hours) return `${hours} h ${minutes} min`;
  return minutes >= 10 ? `${minutes} min` : `${minutes}:${String(seconds % 60).padStart(2, "0")}`;
}

function tick() {
  const now = Date.now() + ahead;
  const state = now < opens ? "before" : now <= closes ? "open" : "closed";
  clock.classList.remove("before", "open", "closed");
  clock.classList.add(state);
  shown.textContent = {
    before: `opens in ${span(opens - now)}`,
    open: `closes in ${span(closes - now)}`,
    closed: `closed ${span(now - closes)} ago`,
  }[state];
  clock.querySelector(".now").textContent = time.format(now);
}
tick();
setInterval(tick, 1000);
