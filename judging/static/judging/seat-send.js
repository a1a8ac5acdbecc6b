// Sends finished cards until the desk has them. A card is safe only when JSON that names its key says so: a redirect, a
// page or a bare 200 may come from a router, a sign-in page or a server that stored nothing.
import { allCards, claimCard, settleCard } from "./seat-store.js";

const PATIENCE = 15_000;
const SHORTEST = 2_000;
const LONGEST = 30_000;
const STATES = ["stored", "already", "conflict"];
const LATER = ["token", "throttled", "locked", "phones"]; // refusals that may end by themselves or by signing in

const OFFLINE = "No connection to the desk.";
const STRANGE = "The answer was not the desk’s.";

const tab = Array.from(crypto.getRandomValues(new Uint8Array(8))).join("-");

export async function call(url, token, options = {}) {
  const control = new AbortController();
  const timer = setTimeout(() => control.abort(), PATIENCE);
  try {
    const response = await fetch(url, {
      ...options,
      headers: { Authorization: `Bearer ${token}`, ...options.headers },
      cache: "no-store",
      credentials: "omit",
      redirect: "error",
      signal: control.signal,
    });
    return { status: response.status, text: await response.text() };
  } catch {
    return null;
  } finally {
    clearTimeout(timer);
  }
}

export function asObject(text) {
  try {
    const found = JSON.parse(text);
    return found && typeof found === "object" ? found : {};
  } catch {
    return {};
  }
}

async function send(url, card) {
  const { key, number, seat, box, marks, time, anew } = card;
  const answer = await call(url, card.token, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ key, number, seat, box, marks, time, anew }),
  });
  if (!answer) return { state: "waiting", reason: OFFLINE, offline: true };
  const said = asObject(answer.text);
  const reason = typeof said.reason === "string" ? said.reason : STRANGE;
  if (said.key !== key) return { state: "waiting", reason };
  if ([200, 201].includes(answer.status) && STATES.includes(said.state)) return { state: "safe", reason: "" };
  const final = answer.status >= 400 && answer.status < 500 && said.error && !LATER.includes(said.error);
  return { state: final ? "refused" : "waiting", reason };
}

// `changed()` is called whenever the state of a card may have changed. Answers with `soon()`, which sends without delay.
export function startSending(url, changed) {
  let busy = false;
  let again = false;
  let failures = 0;
  let timer = 0;

  async function flush() {
    clearTimeout(timer);
    if (busy) {
      again = true;
      return;
    }
    busy = true;
    try {
      do {
        again = false;
        await sendAll();
      } while (again);
    } finally {
      busy = false;
    }
    const waiting = (await allCards()).some((card) => card.state === "waiting");
    const pause = Math.min(LONGEST, SHORTEST * 2 ** Math.min(failures, 6)) * (0.75 + Math.random() / 2);
    timer = setTimeout(flush, waiting ? pause : LONGEST);
  }

  async function sendAll() {
    const tried = new Set();
    for (let card = await claimCard(tab, tried); card; card = await claimCard(tab, tried)) {
      tried.add(card.key);
      const { state, reason, offline } = await send(url, card);
      await settleCard(card.key, state, reason);
      failures = state === "waiting" ? failures + 1 : 0;
      await changed();
      if (offline) return;
    }
  }

  function soon() {
    failures = 0;
    flush();
  }

  addEventListener("online", soon);
  addEventListener("focus", soon);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && soon());
  flush();
  return soon;
}
