// Keying a score sheet: a digit that completes a mark moves on, one that fits no mark is refused at the key.
// The page works without this script; the server checks every mark again.
"use strict";

const sheet = document.getElementById("sheet");
const boxes = [...sheet.querySelectorAll(".box:not(.closed)")].map((element) => ({
  element,
  number: element.querySelector("input[data-number]"),
  marks: [...element.querySelectorAll(".cell input")],
  none: element.querySelector(".none input"),
  error: element.querySelector(".number-error"),
}));
const boxOf = new Map(boxes.flatMap((box) => [box.number, ...box.marks].filter(Boolean).map((cell) => [cell, box])));
const handIn = document.getElementById("hand-in");
const refusal = sheet.querySelector(".refused-key");
const orderButton = document.getElementById("order");
const goForm = document.getElementById("go-form");
const goTo = document.getElementById("go");
const allowed = new Map(boxes.flatMap((box) => box.marks).map((cell) => [cell, cell.dataset.marks.split(" ")]));
// Of numbers written by hand: what is wrong with each number of the contest, "" where it is due on this sheet.
const places = JSON.parse((document.getElementById("places") || { textContent: "{}" }).textContent);
let byCriterion = document.cookie.split("; ").includes("sheet_order=criterion");
let cells = [];
let handingIn = false;
let leaveFor = "";

document.querySelectorAll(".with-script").forEach((hint) => { hint.hidden = false; });
sheet.querySelectorAll(".without-script").forEach((hint) => { hint.hidden = true; });

// The cells in the order in which Enter and digits walk through them: down each box, or across each criterion.
function arrange() {
  const rows = boxes.map((box) => [box.number, ...box.marks].filter(Boolean));
  cells = byCriterion && rows.length ? rows[0].flatMap((_, place) => rows.map((row) => row[place])) : rows.flat();
  orderButton.textContent = `${byCriterion ? "Criterion by criterion" : "Box by box"} (o changes)`;
}

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
  if (fractions && /^[0-9]\.0$/.test(plain) && marks.includes(plain[0])) return { mark: plain[0], done: true };
  if (fractions && /^[0-9]{2,}$/.test(plain)) {
    const pointed = `${plain.slice(0, -1)}.${plain.slice(-1)}`.replace(/\.0$/, "");
    if (marks.includes(pointed)) return { mark: pointed, done: true };
  }
  return null;
}

function focusOn(cell) {
  cell.focus();
  cell.select();
}

function go(place) {
  if (place >= cells.length) {
    if (handIn) handIn.focus();
    return;
  }
  if (cells.length) focusOn(cells[Math.max(place, 0)]);
}

function say(text) {
  refusal.textContent = text;
  refusal.hidden = !text;
}

function readBack() {
  boxes.forEach((box, line) => {
    const number = box.number ? box.number.value || "_" : box.element.dataset.box;
    const said = sheet.querySelector(box.number ? `[data-line="${line}"]` : `[data-said="${number}"]`);
    const values = box.marks.map((cell) => cell.value || "_");
    // Lines of a written sheet appear as they are typed.
    said.hidden = Boolean(box.number) && ![box.number, ...box.marks].some((cell) => cell.value);
    said.textContent = `${number}: ${box.none && box.none.checked ? "no marks" : values.join(" ")}`;
  });
}

function put(cell, value) {
  cell.value = value;
  cell.removeAttribute("aria-invalid");
  const { none } = boxOf.get(cell);
  if (none && value) none.checked = false;
  readBack();
}

// A box number written by hand: refused at its field, with where it belongs, unless it is due here and new.
function typeNumber(cell, sign) {
  const box = boxOf.get(cell);
  const text = cell.value.slice(0, cell.selectionStart) + sign + cell.value.slice(cell.selectionEnd);
  if (!/^[0-9]{1,3}$/.test(text)) {
    say(`${sign} is no part of a box number: three digits, then the marks.`);
    return;
  }
  say("");
  put(cell, text);
  box.error.textContent = "";
  if (text.length < 3) return;
  const twice = boxes.some((other) => other !== box && other.number.value === text);
  const wrong = text in places ? places[text] : `There is no box ${text}. Read it again, or ask the table.`;
  if (wrong || twice) {
    box.error.textContent = wrong || `${text} stands twice here: each box has one line.`;
    cell.setAttribute("aria-invalid", "true");
    cell.select();
    return;
  }
  go(cells.indexOf(cell) + 1);
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
  const begins = next && (allowed.has(next) ? read(next, sign) : /[0-9]/.test(sign));
  if (whole && !after && allowed.get(cell).includes(before) && begins) {
    go(place + 1);
    if (allowed.has(next)) type(next, sign);
    else typeNumber(next, sign);
    return;
  }
  const marks = allowed.get(cell);
  say(`${before}${sign}${after} is no mark here: ${marks[0]} to ${marks[marks.length - 1]}.`);
}

function sideways(cell, step) {
  const box = boxOf.get(cell);
  const target = boxes[boxes.indexOf(box) + step];
  if (target) focusOn(cell === box.number ? target.number : target.marks[box.marks.indexOf(cell)]);
}

function upAndDown(cell, step) {
  const column = boxes.flatMap((box) => [box.number, ...box.marks].filter(Boolean));
  const target = column[column.indexOf(cell) + step];
  if (target) focusOn(target);
  else if (step > 0 && handIn) handIn.focus();
}

function noMarks(cell) {
  const box = boxOf.get(cell);
  if (!box.none) return;
  box.none.checked = true;
  box.marks.forEach((each) => { each.value = ""; });
  readBack();
  const later = cells.slice(cells.indexOf(cell) + 1).find((each) => boxOf.get(each) !== box);
  go(later ? cells.indexOf(later) : cells.length);
}

function changeOrder(cell) {
  byCriterion = !byCriterion;
  document.cookie = `sheet_order=${byCriterion ? "criterion" : "box"}; path=/; max-age=31536000; SameSite=Lax`;
  arrange();
  say("");
  focusOn(boxOf.has(cell) ? cell : cells[0]);
}

function changed() {
  return Boolean(document.getElementById("summary")) || [...boxOf.keys()].some((cell) => cell.value !== cell.defaultValue);
}

// "482" jumps to a box of this sheet; "3B" opens another sheet, after a word where digits would be lost.
function jump(event) {
  const wanted = goTo.value.trim();
  const box = boxes.find((each) => (each.number ? each.number.value : each.element.dataset.box) === wanted);
  if (box) {
    event.preventDefault();
    goTo.value = "";
    say("");
    focusOn(box.marks.find((cell) => !cell.value) || box.marks[0]);
  } else if (!wanted || (changed() && leaveFor !== wanted)) {
    event.preventDefault();
    leaveFor = wanted;
    say(wanted ? "What was typed here is not handed in. Enter once more leaves it." : "");
    if (wanted) goTo.select();
    else go(0);
  }
}

if (goForm) {
  goForm.addEventListener("submit", jump);
  goTo.addEventListener("input", () => {
    if (/^(\d{3}|\d{1,2}[a-z])$/i.test(goTo.value.trim())) goForm.requestSubmit();
  });
  goTo.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    goTo.value = "";
    go(0);
  });
}

sheet.addEventListener("beforeinput", (event) => {
  const cell = event.target;
  if (!boxOf.has(cell) || event.inputType !== "insertText" || !event.data || event.data.length !== 1) return;
  event.preventDefault();
  if (event.data === "/" && goTo) focusOn(goTo);
  else if (/o/i.test(event.data)) changeOrder(cell);
  else if (/w/i.test(event.data) && document.getElementById("to-written") && !changed()) {
    document.getElementById("to-written").click();
  } else if (event.data === "-" || event.data === "–") noMarks(cell);
  else if (allowed.has(cell)) type(cell, event.data);
  else typeNumber(cell, event.data);
});

sheet.addEventListener("input", readBack);

// Enter twice, or held down, is one sheet.
sheet.addEventListener("submit", (event) => {
  if (handingIn) event.preventDefault();
  handingIn = true;
});
window.addEventListener("pageshow", () => { handingIn = false; });

sheet.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const cell = event.target;
  if (cell === handIn && event.key === "Backspace") {
    event.preventDefault();
    go(cells.length - 1);
    return;
  }
  if (!boxOf.has(cell)) return;
  const place = cells.indexOf(cell);
  const moves = {
    ArrowUp: () => upAndDown(cell, -1),
    ArrowDown: () => upAndDown(cell, 1),
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

orderButton.addEventListener("click", () => changeOrder(document.activeElement));
arrange();
const start = cells.find((cell) => cell.getAttribute("aria-invalid") === "true") || cells.find((cell) => !cell.value);
if (start || cells.length) focusOn(start || cells[0]);
readBack();
