// What a judge's phone keeps: every mark as it is entered, and finished cards until the desk has them. IndexedDB works
// on plain HTTP, where service workers and navigator.locks do not; its transactions are what two tabs share.
const CLAIM_FOR = 20_000; // milliseconds in which one tab may send a card before another may try

let db = null;

export async function openStore() {
  const request = indexedDB.open("fairbox-seat", 1);
  request.onupgradeneeded = () => {
    request.result.createObjectStore("marks", { keyPath: "id" }); // what is marked, by seat and box
    request.result.createObjectStore("cards", { keyPath: "key" }); // what was handed in on this phone
    request.result.createObjectStore("rounds", { keyPath: "id" }); // portions that go round, by seat and category
    request.result.createObjectStore("counters", { keyPath: "id" });
  };
  db = await asked(request);
}

const asked = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

// Answers once the transaction is on the disk, as far as the browser promises that.
async function run(names, mode, work) {
  const transaction = db.transaction(names, mode, { durability: "strict" });
  const complete = new Promise((resolve, reject) => {
    transaction.oncomplete = resolve;
    transaction.onabort = transaction.onerror = () => reject(transaction.error || new Error("not kept"));
  });
  const result = await work(...names.map((name) => transaction.objectStore(name)));
  await complete;
  return result;
}

const under = (who) => IDBKeyRange.bound(`${who}|`, `${who}|\uffff`);

export const marksOf = (who) =>
  run(["marks"], "readonly", async (marks) => new Map((await asked(marks.getAll(under(who)))).map((row) => [row.box, row])));

export const roundsOf = (who) =>
  run(["rounds"], "readonly", async (rounds) => new Set((await asked(rounds.getAll(under(who)))).map((row) => row.category)));

export const allCards = () => run(["cards"], "readonly", (cards) => asked(cards.getAll()));

// `settled(row)` says whether the mark may not change any more, judged on the row as it is now, in any tab.
export const setMark = (who, box, criterion, value, settled) =>
  run(["marks"], "readwrite", async (marks) => {
    const id = `${who}|${box}`;
    const row = (await asked(marks.get(id))) || { id, box, marks: {}, sent: null, anew: 0 };
    if (row.sent || settled(row)) return false;
    row.marks[criterion] = value;
    await asked(marks.put(row));
    return true;
  });

// The head judge dismissed the card: the box is marked from the beginning, the `times`th time.
export const startAnew = (who, box, times) =>
  run(["marks"], "readwrite", async (marks) => {
    const id = `${who}|${box}`;
    const row = await asked(marks.get(id));
    if (row && row.anew >= times) return;
    await asked(marks.put({ id, box, marks: {}, sent: null, anew: times }));
  });

export const startRound = (who, category) =>
  run(["rounds"], "readwrite", (rounds) => asked(rounds.put({ id: `${who}|${category}`, category })));

function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// A finished card goes into the queue, once however many tabs ask. `card` names what the row does not hold.
export const queueCard = (who, box, card) =>
  run(["marks", "cards", "counters"], "readwrite", async (marks, cards, counters) => {
    const row = await asked(marks.get(`${who}|${box}`));
    if (!row || row.sent) return;
    const count = ((await asked(counters.get("cards"))) || { value: 0 }).value + 1;
    row.sent = newKey();
    const more = { key: row.sent, number: count, who, box, marks: row.marks, anew: row.anew > 0 };
    const waits = { state: "waiting", reason: "", claimedUntil: 0, claimedBy: "" };
    await asked(counters.put({ id: "cards", value: count }));
    await asked(cards.put({ ...card, ...more, ...waits, time: new Date().toISOString() }));
    await asked(marks.put(row));
  });

// The earliest card that waits and that no other tab is sending. A stamp far ahead is of a clock that was put back.
export const claimCard = (tab, tried) =>
  run(["cards"], "readwrite", async (cards) => {
    const now = Date.now();
    const free = (card) =>
      card.claimedBy === tab || card.claimedUntil < now || card.claimedUntil > now + CLAIM_FOR;
    const found = (await asked(cards.getAll()))
      .filter((card) => card.state === "waiting" && !tried.has(card.key) && free(card))
      .sort((one, other) => one.number - other.number)[0];
    if (found) await asked(cards.put({ ...found, claimedBy: tab, claimedUntil: now + CLAIM_FOR }));
    return found;
  });

// What became of a try. A card that is safe stays safe, whatever a slower tab has to say.
export const settleCard = (key, state, reason) =>
  run(["cards"], "readwrite", async (cards) => {
    const card = await asked(cards.get(key));
    if (card && card.state !== "safe") await asked(cards.put({ ...card, state, reason, claimedUntil: 0, claimedBy: "" }));
  });

// The seat signed in again: its cards travel under the new token. Cards of other seats keep their own.
export const renewToken = (who, token) =>
  run(["cards"], "readwrite", async (cards) => {
    for (const card of await asked(cards.getAll()))
      if (card.who === who && card.state !== "safe" && card.token !== token)
        await asked(cards.put({ ...card, token, state: "waiting", claimedUntil: 0 }));
  });
