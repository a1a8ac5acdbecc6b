// Keying a score sheet: a digit that completes a mark moves on, one that fits no mark is refused at the key.
// The page works without this script; the server checks every mark again.
"use strict";

const sheet = document.getElementById("sheet");
const boxes = [...sheet.querySelectorAll(".box:not(.closed)")];
const cells = boxes.flatMap((box) => [...box.querySelectorAll(".cell input")]);
const handIn = document.getElementById("hand-in");
const refusal = sheet.querySelector(".refused-key");
const allowed = new Map(cells.map((cell) => [cell, cell.dataset.marks.split(" ")]));

sheet.querySelectorAll(".with-script").forEach((hint) => { hint.hidden = false; });

// What a typed text is on a cell's scale: {mark, done} where it is a mark or may become one, null where it cannot.
// On a scale of halves or tenths two digits are a mark, the point left out: 85 is 8.5. "10" is ten where ten exists.
function read(cell, text) {
  const marks = allowed.get(cell);
  const plain = text.replace(",", ".");
  const fractions = marks.some((mark) => mark.includes("."));
  if (marks.includes(plain)) {
    const whole = !plain.includes(".");
    const more = marks.some((mark) => mark !== plain && mark.startsWith(plain)) || (fractions && plain.length === 1);
    return { mark: plain, done: whole ? !more : true };
  }
  if (marks.some((mark) => mark.startsWith(plain))) return { mark: plain, done: false };
  if (fractions && /^[0-9]{2,}$/.test(plain)) {
    const pointed = `${plain.slice(0, -1)}.${plain.slice(-1)}`.replace(/\.0$/, "");
    if (marks.includes(pointed)) return { mark: pointed, done: true };
  }
  return null;
}

function go(place) {
  if (place >= cells.length) {
    if (handIn) handIn.focus();
    return;
  }
  const cell = cells[Math.max(place, 0)];
  cell.focus();
  cell.select();
}

function say(text) {
  refusal.textContent = text;
  refusal.hidden = !text;
}

function readBack() {
  for (const box of boxes) {
    const said = sheet.querySelector(`[data-said="${box.dataset.box}"]`);
    const none = box.querySelector(".none input");
    const values = [...box.querySelectorAll(".cell input")].map((cell) => cell.value || "_");
    said.textContent = `${box.dataset.box}: ${none && none.checked ? "no marks" : values.join(" ")}`;
  }
}

function put(cell, value) {
  cell.value = value;
  cell.removeAttribute("aria-invalid");
  const none = cell.closest(".box").querySelector(".none input");
  if (none && value) none.checked = false;
  readBack();
}

// One typed sign: it completes the mark, waits for another, begins the next cell's mark, or is refused.
function type(cell, sign) {
  const place = cells.indexOf(cell);
  const before = cell.value.slice(0, cell.selectionStart);
  const after = cell.value.slice(cell.selectionEnd);
  const found = read(cell, before + sign + after);
  say("");
  if (found) {
    put(cell, found.mark);
    if (found.done) go(place + 1);
    return;
  }
  const next = cells[place + 1];
  const whole = !allowed.get(cell).some((mark) => mark.includes("."));
  if (whole && !after && allowed.get(cell).includes(before) && next && read(next, sign)) {
    go(place + 1);
    type(next, sign);
    return;
  }
  const marks = allowed.get(cell);
  say(`${before}${sign}${after} is no mark here: ${marks[0]} to ${marks[marks.length - 1]}.`);
}

function sideways(cell, step) {
  const own = boxes.indexOf(cell.closest(".box"));
  const row = [...boxes[own].querySelectorAll(".cell input")].indexOf(cell);
  const target = boxes[own + step];
  if (target) go(cells.indexOf(target.querySelectorAll(".cell input")[row]));
}

function noMarks(cell) {
  const box = cell.closest(".box");
  const none = box.querySelector(".none input");
  if (!none) return;
  none.checked = true;
  box.querySelectorAll(".cell input").forEach((each) => { each.value = ""; });
  readBack();
  const last = [...box.querySelectorAll(".cell input")].pop();
  go(cells.indexOf(last) + 1);
}

sheet.addEventListener("beforeinput", (event) => {
  const cell = event.target;
  if (!allowed.has(cell) || event.inputType !== "insertText" || !event.data || event.data.length !== 1) return;
  event.preventDefault();
  if (event.data === "-" || event.data === "–") noMarks(cell);
  else type(cell, event.data);
});

sheet.addEventListener("input", readBack);

sheet.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const cell = event.target;
  if (cell === handIn && event.key === "Backspace") {
    event.preventDefault();
    go(cells.length - 1);
    return;
  }
  if (!allowed.has(cell)) return;
  const place = cells.indexOf(cell);
  const moves = {
    ArrowUp: () => go(place - 1),
    ArrowDown: () => go(place + 1),
    ArrowLeft: () => sideways(cell, -1),
    ArrowRight: () => sideways(cell, 1),
    " ": () => go(place + 1),
  };
  if (event.key === "Backspace" && cell.value === "") moves.Backspace = () => go(place - 1);
  if (moves[event.key]) {
    event.preventDefault();
    say("");
    moves[event.key]();
  }
});

const start = sheet.querySelector("input[autofocus]");
if (start) {
  start.focus();
  start.select();
}
readBack();
