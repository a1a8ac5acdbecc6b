"""A whole contest handed in from phones while the server is killed again and again: nothing acknowledged is lost.

    python -m tests.load.hand_in                      # 100 teams, 2,400 cards, 32 clients, ten kills, SQLite
    DATABASE_URL=postgres://… python -m tests.load.hand_in

The real server runs on 127.0.0.1 on a data folder of its own. Every client sends its cards one after the other, again
until each is acknowledged, and some once more; what was acknowledged is written to a file and fsynced before the next
card goes out. The server is ended by SIGKILL at random moments while requests are in flight; a kill counts only if at
least one of them stayed without an answer. At the end the database is held against the clients' files. A DATABASE_URL
must name an empty database.
"""

import http.client
import json
import os
import random
import secrets
import subprocess
import sys
import tempfile
import threading
import time
from argparse import ArgumentParser
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.judging.field import make_field
from tests.site.served import SITE, Served, environment, wait_for

CRITERIA = ("appearance", "taste", "tenderness")
STATES = {"stored", "already"}
#: What a proxy answers for a server that is gone: no answer to the card.
NO_SERVER = {502, 503, 504}

#: Everything that the database knows, for the comparison: one JSON object.
LOOK = """
import django, json
django.setup()
from contest.models import LogChain
from tests.chains import broken_row
from judging.models import Reading
readings = [
    {"key": r.client_key, "kind": r.kind, "standing": r.standing, "box": r.card.box.number,
     "seat": f"{r.card.seat.table.number}{r.card.seat.letter}",
     "marks": {m.criterion: str(m.value.normalize()) for m in r.marks.all()}}
    for r in Reading.objects.select_related("card__box", "card__seat__table").prefetch_related("marks")
]
chains = LogChain.objects.filter(name="cards")
broken = [f"{chain.contest.slug} at {row}" for chain in chains if (row := broken_row(chain)) is not None]
print(json.dumps({"readings": readings, "log": sum(chain.length for chain in chains), "broken": broken}))
"""


@dataclass
class Traffic:
    """What all clients share: what was sent, what is in flight, what went wrong."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    sent: dict[str, dict[str, Any]] = field(default_factory=dict)
    in_flight: set[object] = field(default_factory=set)
    unanswered: set[object] = field(default_factory=set)
    acknowledged: int = 0
    trouble: list[str] = field(default_factory=list)
    statuses: Counter[int] = field(default_factory=Counter)


def make_cards(seats: list[dict[str, Any]], chance: random.Random) -> list[tuple[str, dict[str, Any]]]:
    """(token, card) for every box of every seat, shuffled."""
    cards = [
        (
            seat["token"],
            {
                "key": secrets.token_hex(16),
                "number": number,
                "seat": seat["seat"],
                "box": box,
                "marks": {key: str(chance.randint(1, 9)) for key in CRITERIA},
            },
        )
        for seat in seats
        for number, box in enumerate(seat["boxes"], start=1)
    ]
    chance.shuffle(cards)
    return cards


class Connection:
    """One keep-alive connection to the server, opened again after every trouble."""

    def __init__(self, port: int) -> None:
        self.port, self.open = port, None

    def opened(self) -> http.client.HTTPConnection:
        return http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)

    def headers(self, token: str) -> dict[str, str]:
        return {"Content-Type": "application/json", "Authorization": f"Bearer {token}"}

    def post(self, path: str, body: dict[str, Any], token: str = "") -> tuple[int, bytes]:
        self.send(path, body, token)
        return self.answer()

    def send(self, path: str, body: dict[str, Any], token: str) -> None:
        """Returns once the request is with the system."""
        if self.open is None:
            self.open = self.opened()
        try:
            self.open.request("POST", path, json.dumps(body).encode(), self.headers(token))
        except BaseException:
            self.close()
            raise

    def answer(self) -> tuple[int, bytes]:
        try:
            found = self.open.getresponse()
            return found.status, found.read()
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        if self.open is not None:
            self.open.close()
            self.open = None


class Phone(threading.Thread):
    """A client with its share of the cards."""

    def __init__(
        self, cards: list[tuple[str, dict[str, Any]]], connection: Connection, traffic: Traffic, file: Path, seed: int
    ) -> None:
        super().__init__(daemon=True)
        self.cards, self.traffic, self.chance = cards, traffic, random.Random(seed)
        self.connection, self.file = connection, file

    def run(self) -> None:
        with self.file.open("w") as safe:
            for token, card in self.cards:
                self.traffic.sent[card["key"]] = card
                self.send_until_safe(token, card)
                safe.write(f"{card['key']}\n")
                safe.flush()
                os.fsync(safe.fileno())
                with self.traffic.lock:
                    self.traffic.acknowledged += 1
                if self.chance.random() < 0.05:  # the answer did not reach the phone: it sends again
                    self.send_until_safe(token, card, only="already")
        self.connection.close()

    def send_until_safe(self, token: str, card: dict[str, Any], only: str = "") -> None:
        pause = 0.05
        while not self.send(token, card, only):
            time.sleep(pause * self.chance.uniform(0.5, 1.5))
            pause = min(pause * 2, 1)

    def send(self, token: str, card: dict[str, Any], only: str) -> bool:
        request = object()
        try:
            self.connection.send("/api/cards/", card, token)
            with self.traffic.lock:
                self.traffic.in_flight.add(request)
            status, body = self.connection.answer()
            if status in NO_SERVER:
                raise ConnectionError(f"{status} from the proxy")
        except (OSError, http.client.HTTPException):
            with self.traffic.lock:
                self.traffic.in_flight.discard(request)
                self.traffic.unanswered.add(request)
            return False
        with self.traffic.lock:
            self.traffic.in_flight.discard(request)
            self.traffic.statuses[status] += 1
        said = json.loads(body) if body[:1] == b"{" else {}
        if status in (200, 201) and said.get("key") == card["key"] and said["state"] in ({only} if only else STATES):
            return True
        self.traffic.trouble.append(f"{status} {body[:200]!r} for {card}")
        return True  # a refusal is a finding, not a reason to go on for ever


def kill_in_flight(served: Served, traffic: Traffic) -> int:
    """SIGKILL with requests in flight; how many of those got no answer."""
    wait_for(lambda: traffic.in_flight, every=0.001)
    with traffic.lock:
        in_flight = set(traffic.in_flight)
        served.process.kill()
    served.close()
    wait_for(lambda: not in_flight & traffic.in_flight)
    return len(in_flight & traffic.unanswered)


def disturb(
    data: Path, standing: list[Served], traffic: Traffic, at: list[int], env: dict[str, str], chance: random.Random
) -> list[int]:
    """Kill the server at each count of acknowledged cards; how many requests each kill cut off.

    `standing` holds the server that runs, its last, so that whoever called can close it whatever happens.
    """
    cut = []
    for count in at:
        wait_for(lambda count=count: traffic.acknowledged >= count, 600, every=0.002)
        time.sleep(chance.uniform(0, 0.05))
        unanswered = 0
        while not unanswered:
            served = standing[-1]
            unanswered = kill_in_flight(served, traffic)
            served.output_file.unlink()
            standing.append(Served(data, "--loopback", port=served.port, seconds=90, **env))
        cut.append(unanswered)
        print(f"killed at {traffic.acknowledged} acknowledged, {unanswered} requests without an answer", flush=True)
    return cut


def compare(data: Path, env: dict[str, str], traffic: Traffic, safe: set[str]) -> list[str]:
    """What is wrong with the database, in sentences; empty when every acknowledged card is there exactly once."""
    answer = subprocess.run(
        [sys.executable, "-c", LOOK],
        env=environment(data, **env),
        cwd=SITE,
        capture_output=True,
        text=True,
    )
    found = json.loads(answer.stdout)
    keys = Counter(row["key"] for row in found["readings"])
    wrong = [f"{key} is acknowledged and not there" for key in safe - set(keys)]
    wrong += [f"{key} is there {number} times" for key, number in keys.items() if number != 1]
    wrong += [f"{key} was never sent" for key in set(keys) - set(traffic.sent)]
    for row in found["readings"]:
        card = traffic.sent.get(row["key"])
        if card and (row["box"], row["seat"], row["marks"]) != (card["box"], card["seat"], card["marks"]):
            wrong.append(f"{row} was sent as {card}")
        if (row["kind"], row["standing"]) != ("first", True):
            wrong.append(f"{row} is no first reading")
    if found["log"] != len(found["readings"]) or found["broken"]:
        wrong.append(f"the log has {found['log']} rows for {len(found['readings'])} cards, broken at {found['broken']}")
    return wrong


def run(
    data: Path, *, teams: int, tables: int, categories: int, clients: int, kills: int, seed: int, env: dict[str, str]
) -> dict[str, Any]:
    """The whole run; what it found, with `wrong` empty when all is well."""
    chance = random.Random(seed)
    names = ",".join(("chicken", "ribs", "pork", "brisket")[:categories])
    made = make_field(data, env, teams=teams, tables=tables, seats=6, categories=names)
    cards = make_cards(made["seats"], chance)
    standing = [Served(data, "--loopback", seconds=90, **env)]
    traffic = Traffic()
    phones = [
        Phone(cards[place::clients], Connection(standing[0].port), traffic, data / f"safe-{place}.txt", seed + place)
        for place in range(clients)
    ]
    began = time.monotonic()
    for phone in phones:
        phone.start()
    at = sorted(chance.sample(range(len(cards) // 50, len(cards) * 9 // 10), kills))
    try:
        cut = disturb(data, standing, traffic, at, env, chance)
        for phone in phones:
            phone.join(timeout=600)
    finally:
        standing[-1].close()
    safe = {line for phone in phones for line in phone.file.read_text().split()}
    wrong = [*traffic.trouble, *compare(data, env, traffic, safe)]
    if len(safe) != len(cards):
        wrong.append(f"{len(safe)} of {len(cards)} cards were acknowledged")
    return {
        "cards": len(cards),
        "acknowledged": len(safe),
        "kills": len(cut),
        "requests cut off": cut,
        "answers": dict(traffic.statuses),
        "seconds": round(time.monotonic() - began, 1),
        "wrong": wrong,
    }


def main() -> None:
    parser = ArgumentParser(description="Hand in a contest while the server is killed.")
    parser.add_argument("--teams", type=int, default=100)
    parser.add_argument("--tables", type=int, default=17)
    parser.add_argument("--categories", type=int, default=4)
    parser.add_argument("--clients", type=int, default=32)
    parser.add_argument("--kills", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    asked = vars(parser.parse_args())
    env = {"DATABASE_URL": os.environ["DATABASE_URL"]} if os.environ.get("DATABASE_URL") else {}
    with tempfile.TemporaryDirectory(prefix="fairbox-load-") as folder:
        found = run(Path(folder), env=env, **asked)
    print(json.dumps({**found, "wrong": found["wrong"][:20]}, indent=1))
    sys.exit(1 if found["wrong"] else 0)


if __name__ == "__main__":
    main()
