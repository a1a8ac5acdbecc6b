// The judge's page: appearance of every box, then portions go round, then box by box. It shows what this phone keeps and
// what the desk said last; nothing here waits for a connection.
import { asObject, call, startSending } from "./seat-send.js";
import * as store from "./seat-store.js";

const NEWS_EVERY = 20_000;
const REREAD_EVERY = 2_000; // what another tab of this phone changed

const root = document.getElementById("phone");
const { api, news, token } = root.dataset;
let state = JSON.parse(document.getElementById("seat-state").textContent);
const who = `${state.uid} ${state.seat}`;

let marks = new Map();
let rounds = new Set();
let cards = [];
let trouble = "";
let shown = "";
let soon = () => {};
const at = { category: "", box: "", criterion: "", mode: "mark" };

// ---- small helpers

function made(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "onclick") element.addEventListener("click", value);
    else if (value !== false && value !== null) element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null && child !== ""));
  return element;
}

// A practice at home has plates and a taster; whatever is handed in there stays, as nobody keys it again.
const home = Boolean(state.practice);
const place = home ? `taster ${state.seat.slice(0, -1)}` : `seat ${state.seat}`;
const stays = home ? "Once handed in, a card stays as it is." : "Once handed in, a card is changed by the clerk only.";
const counted = (number, one) => `${number} ${one}${number === 1 ? "" : "s"}`;
const category = () => state.categories.find((each) => each.key === at.category);
const cardOf = (box) => cards.find((card) => card.key === marks.get(box.number)?.sent);
const markOf = (box, criterion) => marks.get(box.number)?.marks[criterion.key];
const goesRound = (found) => found.portions || rounds.has(found.key) || !found.criteria.some((each) => each.first);

// open: to be marked; here: handed in on this phone and not yet at the desk; in; closed.
function stateOf(box) {
  const card = cardOf(box);
  if (card && card.state !== "safe") return "here";
  if (box.state === "closed" || (box.state === "in" && !card)) return box.state;
  return card ? "in" : "open";
}

const open = (found) => (found.vacant ? [] : found.boxes.filter((box) => stateOf(box) === "open"));

// What is asked of a box now: its appearance alone before portions go round, else all of it.
function asked(found) {
  return goesRound(found) ? found.criteria : found.criteria.filter((each) => each.first);
}

const unmarked = (found, box) => asked(found).filter((criterion) => markOf(box, criterion) === undefined);
const isLocked = (found, box, criterion) => criterion.first && goesRound(found) && markOf(box, criterion) !== undefined;

// ---- going about

function goTo(found, box, criterion) {
  at.mode = "mark";
  at.category = found.key;
  at.box = box ? box.number : "";
  const wanted = criterion || (box && (unmarked(found, box)[0] || asked(found).filter((each) => !isLocked(found, box, each)).at(-1)));
  at.criterion = wanted ? wanted.key : "";
}

// The next box that still wants marks, after the one that is shown.
function nextBox(found) {
  const boxes = open(found);
  const place = boxes.findIndex((box) => box.number === at.box);
  const round = [...boxes.slice(place + 1), ...boxes.slice(0, place + 1)];
  return round.find((box) => unmarked(found, box).length) || null;
}

function findPlace() {
  const found = category();
  if (found && (at.mode !== "mark" || open(found).some((box) => box.number === at.box))) {
    const box = found.boxes.find((each) => each.number === at.box);
    if (at.mode === "check" && (!box || stateOf(box) !== "open")) at.mode = "mark";
    else if (at.mode !== "portions" || !goesRound(found)) return;
  }
  const here = found && (open(found).length || at.stay) ? found : state.categories.find((each) => open(each).length) || found || state.categories[0];
  if (here) goTo(here, open(here).find((box) => unmarked(here, box).length) || open(here)[0]);
}

async function give(found, box, criterion, value) {
  const settled = (row) => isLocked(found, box, criterion) || (criterion.first && goesRound(found) && criterion.key in row.marks);
  await store.setMark(who, box.number, criterion.key, value, settled);
  await reread();
}

async function handIn(found, box) {
  const names = Object.fromEntries(found.criteria.map((each) => [each.key, each.name]));
  await store.queueCard(who, box.number, { token, seat: state.seat, contest: state.contest, category: found.name, names });
  const next = nextBox(found);
  await reread();
  goTo(found, next && next.number !== box.number ? next : open(found)[0]);
  at.stay = true;
  show(true);
  soon();
}

async function startRound(found) {
  await store.startRound(who, found.key);
  await reread();
  goTo(found, open(found).find((box) => unmarked(found, box).length) || open(found)[0]);
  show(true);
}

// ---- what is shown

function head(found, box) {
  const choice = made("select", { "aria-label": "Category", id: "category" });
  for (const each of state.categories) {
    const done = !open(each).length;
    choice.append(made("option", { value: each.key, selected: each === found }, `${each.name}${done ? " ✓" : ""}`));
  }
  choice.addEventListener("change", () => {
    const chosen = state.categories.find((each) => each.key === choice.value);
    goTo(chosen, open(chosen).find((each) => unmarked(chosen, each).length) || open(chosen)[0]);
    at.stay = true;
    show(true);
  });
  const number = box ? made("h1", { class: "box-number", id: "box" }, box.number) : made("h1", {}, found.name);
  return made("div", { class: "seat-head" }, number, choice, made("span", { class: "smoke seat-name" }, place));
}

const SIGNS = { in: "✓", here: "◷", closed: "–" };
const WORDS = { in: "handed in", here: "on this phone only", closed: "not to be marked" };

function dots(found) {
  const row = made("div", { class: "dots", role: "group", "aria-label": "Boxes in serving order" });
  for (const box of found.boxes) {
    const is = stateOf(box);
    const marked = is === "open" && !unmarked(found, box).length;
    const said = WORDS[is] || (marked ? "marked" : "to be marked");
    const sign = made("span", { "aria-hidden": "true" }, SIGNS[is] || (marked ? "●" : "○"));
    const current = at.box === box.number && "true";
    const button = made(
      "button",
      { type: "button", class: `dot ${is}`, "aria-current": current, disabled: is !== "open", "aria-label": `${box.number}, ${said}` },
      sign,
      box.number,
    );
    button.addEventListener("click", () => (goTo(found, box), show(true)));
    row.append(button);
  }
  return row;
}

function chips(found, box) {
  const row = made("div", { class: "chips", role: "group", "aria-label": `Marks for ${box.number}` });
  for (const criterion of asked(found)) {
    const mark = markOf(box, criterion);
    const locked = isLocked(found, box, criterion);
    const attributes = { type: "button", disabled: locked, "aria-current": criterion.key === at.criterion && at.mode === "mark" && "true" };
    const chip = made("button", attributes, criterion.name, " ", made("strong", {}, mark ?? "_"), locked ? " ✓" : "");
    chip.addEventListener("click", () => (goTo(found, box, criterion), show(true)));
    row.append(chip);
  }
  return row;
}

function scale(found, box) {
  const criterion = found.criteria.find((each) => each.key === at.criterion);
  const many = criterion.marks.length > 10;
  const column = made("div", { class: `scale${many ? " many" : ""}`, role: "group", "aria-label": `${criterion.name} of ${box.number}` });
  for (const [value, word] of criterion.marks) {
    const chosen = markOf(box, criterion) === value;
    const button = made(
      "button",
      { type: "button", "data-mark": value, "aria-pressed": String(chosen) },
      made("strong", {}, value),
      made("span", {}, word),
      chosen ? made("span", { class: "chosen", "aria-hidden": "true" }, "✓") : "",
    );
    button.addEventListener("click", async () => (await give(found, box, criterion, value), show(true)));
    column.append(button);
  }
  return column;
}

function checked(found, box) {
  const list = made("dl", { class: "check" });
  for (const criterion of found.criteria) {
    const word = criterion.marks.find(([value]) => value === markOf(box, criterion))?.[1] || "";
    list.append(made("dt", {}, criterion.name), made("dd", {}, made("strong", {}, markOf(box, criterion)), ` ${word}`));
  }
  return made("div", {}, list, made("p", { class: "smoke" }, `${stays} Touch a criterion above to change it now.`));
}

function portions(found) {
  const number = open(found).length;
  const boxes = home ? counted(number, "plate") : `${number} box${number === 1 ? "" : "es"}`;
  const when = home ? "Once you taste" : "When the portions go round";
  return made(
    "div",
    { class: "say" },
    made("p", {}, `Appearance of ${boxes} is marked. ${when} it stands, and is not changed any more.`),
    made("button", { type: "button", onclick: () => (goTo(found, open(found)[0]), show(true)) }, "Look at it again"),
  );
}

function nothingToDo(found) {
  if (found.vacant) return made("p", { class: "say" }, `No card is expected from this seat in ${found.name.toLowerCase()}.`);
  const here = found.boxes.filter((box) => stateOf(box) === "here").length;
  const text = here
    ? `Every box of ${found.name.toLowerCase()} is marked. ${counted(here, "card")} still on this phone only: leave this page open.`
    : `Every box of ${found.name.toLowerCase()} is handed in.`;
  if (home) return made("div", { class: "say" }, made("p", {}, made("strong", {}, text.replace("box", "plate"))), made("p", {}, "Say nothing yet: the others may still be tasting. The cook reads out the result."));
  return made("div", { class: "say" }, made("p", {}, made("strong", {}, text)), made("p", {}, "The next category is chosen at the top. A card that is handed in is changed by the clerk only: tell your captain."));
}

// The one large button at the foot.
function nextStep(found, box) {
  if (at.mode === "portions") return [home ? "Now I taste" : "Portions are going round", true, () => startRound(found)];
  if (!box) return null;
  if (at.mode === "check") return [`Hand in ${box.number}`, true, () => handIn(found, box)];
  const left = unmarked(found, box);
  const marked = markOf(box, found.criteria.find((each) => each.key === at.criterion)) !== undefined;
  if (goesRound(found)) {
    if (!left.length) return [`Check ${box.number}`, true, () => (at.mode = "check")];
    const next = left.find((criterion) => criterion.key !== at.criterion);
    return marked || next ? [`${(next || left[0]).name} of ${box.number}`, marked, () => goTo(found, box, next || left[0])] : null;
  }
  const next = nextBox(found);
  if (!next) return ["All are marked", true, () => (at.mode = "portions")];
  return next.number === box.number ? null : [`Next: ${next.number}`, marked, () => goTo(found, next)];
}

function foot(found, box) {
  const buttons = made("div", { class: "foot-row" });
  const boxes = open(found);
  const place = boxes.findIndex((each) => each.number === at.box);
  const back = at.mode === "mark" ? boxes[place - 1] : box;
  const said = at.mode === "mark" ? `‹ ${back ? back.number : ""}` : "‹ back";
  buttons.append(made("button", { type: "button", disabled: !back, "aria-label": back ? `Back to ${back.number}` : "No box before", onclick: () => (goTo(found, back), show(true)) }, said));
  const step = nextStep(found, box);
  if (step) buttons.append(made("button", { type: "button", class: step[1] ? "go next-step" : "next-step", onclick: async () => (await step[2](), show(true)) }, step[0]));
  return made("div", { class: "seat-foot" }, unsentLine(), box || at.mode === "portions" ? buttons : "");
}

const unsent = () => cards.filter((card) => card.state !== "safe");

function unsentLine() {
  const waiting = cards.filter((card) => card.state === "waiting").length;
  const refused = cards.filter((card) => card.state === "refused").length;
  const said = [];
  if (waiting) said.push(`${counted(waiting, "card")} on this phone only · trying again`);
  if (refused) said.push(`${counted(refused, "card")} refused: see below`);
  const line = made("p", { id: "unsent-count", role: "status", class: said.length ? "state waiting" : "state done" });
  line.textContent = said.join(" · ") || (cards.length ? `Every card handed in here is ${home ? "stored" : "at the desk"}` : "Nothing waits on this phone");
  return line;
}

function unsentSection(openBefore) {
  const rows = unsent();
  if (!rows.length) return "";
  const list = made("ul", { class: "unsent" });
  for (const card of rows) {
    const said = Object.entries(card.names).map(([key, name]) => `${name} ${card.marks[key]}`).join(", ");
    const again = made("button", { type: "button", onclick: async () => (await store.settleCard(card.key, "waiting", card.reason), soon()) }, "Try again");
    list.append(made("li", {}, made("strong", {}, `${card.box}: ${said}`), made("span", { class: "smoke" }, ` ${card.category}, seat ${card.seat}, ${card.contest}`), card.reason ? made("p", { class: card.state === "refused" ? "error" : "smoke" }, card.reason) : "", card.state === "refused" ? again : ""));
  }
  const kept = `This browser keeps them on this phone, under the address ${location.origin} alone: at another address they are not seen, and clearing the browser’s data destroys them. If they cannot be sent, read them to the clerk, who keys them.`;
  return made("details", { id: "unsent", open: openBefore }, made("summary", {}, `Read off the unsent cards (${rows.length})`), list, made("p", {}, kept));
}

// Draws the page anew where something changed; after a step of the judge's own the work starts at the top of the screen.
function show(moved = false) {
  findPlace();
  const found = category();
  const seen = JSON.stringify([state, at, [...marks], [...rounds], cards, trouble]);
  if (seen === shown) return;
  shown = seen;
  const openBefore = Boolean(root.querySelector("#unsent")?.open);
  const focused = root.contains(document.activeElement) ? document.activeElement.dataset.mark || document.activeElement.className : "";
  const box = found && open(found).find((each) => each.number === at.box);
  const body = !found ? made("p", { class: "say" }, "The boxes of this seat stand here once they are drawn.") : "";
  const parts = found ? [head(found, at.mode === "portions" ? null : box), found.vacant ? "" : dots(found)] : [body];
  if (found && at.mode === "portions") parts.push(portions(found));
  else if (box) parts.push(chips(found, box), at.mode === "check" ? checked(found, box) : scale(found, box));
  else if (found) parts.push(nothingToDo(found));
  const notice = trouble || (state.locked ? "The marks are locked: no more cards are taken." : "");
  if (notice) parts.unshift(made("p", { class: "notice warning", role: "status" }, notice));
  root.replaceChildren(...parts, unsentSection(openBefore), found ? foot(found, box) : made("div", { class: "seat-foot" }, unsentLine()));
  if (moved) scrollTo(0, root.offsetTop);
  if (moved && focused) (root.querySelector(`[data-mark="${focused}"]`) || root.querySelector(".next-step"))?.focus({ preventScroll: true });
}

// ---- keeping up

async function reread() {
  [marks, rounds, cards] = await Promise.all([store.marksOf(who), store.roundsOf(who), store.allCards()]);
  for (const box of state.categories.flatMap((each) => each.boxes))
    if (box.state === "anew" && (marks.get(box.number)?.anew || 0) < box.times && cardOf(box)?.state !== "waiting") {
      await store.startAnew(who, box.number, box.times);
      marks = await store.marksOf(who);
    }
}

async function refresh() {
  await reread();
  show();
}

async function askNews() {
  if (document.visibilityState !== "visible") return;
  const answer = await call(news, token);
  if (!answer) return;
  const found = asObject(answer.text);
  if (answer.status === 200 && found.seat === state.seat && found.uid === state.uid) {
    state = found;
    trouble = "";
    if (unsent().length) soon();
  } else if (answer.status === 401 && typeof found.reason === "string") trouble = found.reason;
  await refresh();
}

async function start() {
  await store.openStore();
  await store.renewToken(who, token);
  await reread();
  document.getElementById("plain").hidden = true;
  root.hidden = false;
  show(true);
  soon = startSending(api, refresh);
  setInterval(refresh, REREAD_EVERY);
  setInterval(askNews, NEWS_EVERY);
  addEventListener("focus", askNews);
}

// Only where the browser allows it, which plain HTTP at a field is not: then a reload without signal shows this page.
async function keepForReload() {
  if (!isSecureContext || !("serviceWorker" in navigator)) return;
  await navigator.serviceWorker.register("worker.js");
  await navigator.serviceWorker.ready;
  if (!navigator.serviceWorker.controller) {
    await new Promise((done) => navigator.serviceWorker.addEventListener("controllerchange", done, { once: true }));
  }
  const parts = performance.getEntriesByType("resource").map((each) => each.name);
  const needed = [location.href, ...parts].filter((each) => !new URL(each).pathname.startsWith("/api/"));
  await Promise.all([...new Set(needed)].map((each) => fetch(each)));
  root.dataset.keptForReload = "yes";
}

keepForReload().catch(() => {});
start().catch(() => {
  // Without storage a finished card could be lost: the plain forms send one box at a time and keep nothing.
  document.getElementById("no-store").hidden = false;
});
