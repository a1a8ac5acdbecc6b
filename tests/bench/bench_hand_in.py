"""How fast phones' cards come in: the real server, SQLite with synchronous=FULL, the 2,400 cards of 100 teams.

Run with: pytest tests/bench/bench_hand_in.py -s. First 66 requests a second, as when every table hands in at once, each
timed from when it was due; then as many as come through, card by card against a view on the same server that inserts
one row and no more, in turns.
"""

import random
import statistics
import threading
import time
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

import pytest

from tests.judging.field import make_field
from tests.load.hand_in import Connection, make_cards
from tests.site.served import Served

A_SECOND, SECONDS = 66, 10
P99_SECONDS = 0.150
LEAST_SHARE = 0.35
CLIENTS, ROUNDS, A_ROUND = 16, 4, 400
ENV = {"DJANGO_SETTINGS_MODULE": "tests.bench.bare_settings"}

Send = Callable[[Connection], int]


@pytest.fixture
def site(tmp_path: Path) -> Iterator[tuple[Served, list]]:
    made = make_field(tmp_path, teams=100, tables=17, seats=6, categories="chicken,ribs,pork,brisket")
    served = Served(tmp_path, "--loopback", seconds=90, **ENV)
    yield served, make_cards(made["seats"], random.Random(1))
    served.close()


def in_threads(number: int, work: Callable[[], None]) -> float:
    """Seconds until `work` has ended in all of `number` threads."""
    threads = [threading.Thread(target=work) for _ in range(number)]
    began = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return time.perf_counter() - began


def at_a_rate(port: int, cards: list) -> list[float]:
    """Seconds from when each card was due to its answer."""
    places, took, wrong = count(), [], []
    began = time.perf_counter() + 0.5

    def work() -> None:
        connection = Connection(port)
        while (place := next(places)) < len(cards):
            due = began + place / A_SECOND
            time.sleep(max(0, due - time.perf_counter()))
            token, card = cards[place]
            status, body = connection.post("/api/cards/", card, token)
            took.append(time.perf_counter() - due)
            if status != 201:
                wrong.append(body)
        connection.close()

    in_threads(32, work)
    assert wrong == []
    return sorted(took)


def throughput(port: int, sends: list[Send]) -> float:
    """Requests a second."""
    places, statuses = count(), []

    def work() -> None:
        connection = Connection(port)
        while (place := next(places)) < len(sends):
            statuses.append(sends[place](connection))
        connection.close()

    seconds = in_threads(CLIENTS, work)
    assert statuses == [201] * len(sends)
    return len(sends) / seconds


def card_sends(cards: list) -> list[Send]:
    return [
        lambda connection, token=token, card=card: connection.post("/api/cards/", card, token)[0]
        for token, card in cards
    ]


BARE_SENDS: list[Send] = [lambda connection: connection.post("/bench/insert/", {})[0]] * A_ROUND


def test_cards_come_in_fast(site: tuple[Served, list], capsys: pytest.CaptureFixture[str]) -> None:
    served, cards = site
    throughput(served.port, BARE_SENDS[:50])  # the first requests load modules
    throughput(served.port, card_sends([cards.pop() for _ in range(50)]))
    took = at_a_rate(served.port, [cards.pop() for _ in range(A_SECOND * SECONDS)])
    p99 = took[int(len(took) * 0.99)]
    bare, handed = [], []
    for _ in range(ROUNDS):
        bare.append(throughput(served.port, BARE_SENDS))
        handed.append(throughput(served.port, card_sends([cards.pop() for _ in range(A_ROUND)])))
    share = statistics.median(handed) / statistics.median(bare)
    with capsys.disabled():
        print(f"\nat {A_SECOND}/s: median {statistics.median(took) * 1000:.0f} ms, p99 {p99 * 1000:.0f} ms")
        print(
            f"bare insert {[round(each) for each in bare]}/s, cards {[round(each) for each in handed]}/s: {share:.2f}"
        )
    assert p99 < P99_SECONDS
    assert share >= LEAST_SHARE
