"""The draw design: which team goes to which table in each category.

A resolvable incomplete block design (Patterson and Williams 1976): categories are replicates, tables are
blocks that last all day. Teams and tables are plain indices here; whoever calls shuffles the labels first, so
that nothing this module prefers can favour a team or a table.

Starts come from a matching, and from cyclic arrays where every team enters everything; exchanges and trades
improve them; the integer key picks the best. All of it is counted in steps, never in seconds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from contest.rules.draw.criterion import Key, key_of
from contest.rules.draw.cyclic import cyclic_seats
from contest.rules.draw.exchange import Exchange
from contest.rules.draw.matching import assign
from contest.rules.draw.trades import Trades
from contest.rules.generator import Generator

Progress = Callable[[float], None]
Seats = list[dict[int, int]]
"""For each category team → table."""

ARRAYS = 80
_REPEAT = 400
_LOOKS = 200
SMALL = 60
_EXCHANGES_A_BOX = 12
_TRADES_A_BOX = 60
MOST_EXCHANGES = 1200
MOST_TRADES = 12_000
TRADE_WORK = 270_000
"""Trades × boxes of a flight, where every team comes to every table and only trades are left."""
_WORK = 7_000_000
"""Exchanges × what one costs in a category of that many places."""


@dataclass(frozen=True, slots=True)
class Layout:
    """The question in indices 0 … n − 1."""

    teams: int
    tables: int
    entered: tuple[tuple[int, ...], ...]
    """For each category the teams that entered it."""
    open_tables: tuple[tuple[int, ...], ...]
    """For each category the tables that judge it."""
    most: int | None
    """Places at a table in one category."""
    barred: frozenset[tuple[int, int]]
    """(team, table) pairs that must not meet."""

    @property
    def complete(self) -> bool:
        """Every team is in every category, every table is open, and nobody is barred."""
        return (
            not self.barred
            and all(len(teams) == self.teams for teams in self.entered)
            and all(len(tables) == self.tables for tables in self.open_tables)
        )


def seat_teams(layout: Layout, generator: Generator, progress: Progress | None = None) -> Seats:
    """A table for every box. Raises ValueError where places or conflicts leave no way."""
    report = progress or (lambda share: None)
    matched = _by_matching(layout)
    if layout.tables == 1 or layout.teams == 1:
        report(1.0)
        return matched
    starts = [matched]
    if layout.complete:
        starts = [_best_cyclic(layout, generator)]
        if len(layout.entered) >= layout.tables:  # arrays bind every team to every table: trades go further
            starts.append(matched)
    starts *= min(3, 1 + SMALL // sum(map(len, layout.entered)))
    best = _Best(layout)
    for i, start in enumerate(starts):
        best.consider(_improved(layout, start, generator))
        report((i + 1) / len(starts))
    return best.seats


def _improved(layout: Layout, start: Seats, generator: Generator) -> Seats:
    exchanges, trades = _efforts(layout)
    best = _Best(layout)
    best.consider(start)
    search = Exchange(layout.teams, layout.tables, start, layout.open_tables, layout.barred, repeat=_REPEAT)
    search.run(exchanges, generator, best.hear)
    best.looks = 0
    repeats = best.repeats
    swaps = Trades(layout.teams, best.seats)
    swaps.run(trades, generator, lambda shared, copy: best.hear((repeats, shared), copy))
    return best.seats


def _efforts(layout: Layout) -> tuple[int, int]:
    """Exchanges and trades worth trying; fewer for small draws, which need few, and for very large ones."""
    boxes, categories = sum(map(len, layout.entered)), len(layout.entered)
    places = layout.teams + layout.tables  # with holes
    flight = -(-boxes // (categories * layout.tables))
    most_trades = MOST_TRADES if categories < layout.tables else TRADE_WORK // flight
    return (
        min(MOST_EXCHANGES, _EXCHANGES_A_BOX * boxes, _WORK // (places**2 + places**3 // 200)),
        min(most_trades, max(_TRADES_A_BOX * boxes, boxes**2)),
    )


class _Best:
    """The best seats heard of so far."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.key: Key | None = None
        self.seats: Seats = []
        self.looks = 0

    @property
    def repeats(self) -> int:
        """Pairs of boxes of one team at one table."""
        return self.key[1] if self.key else 0

    def consider(self, seats: Seats) -> None:
        """Keep the seats if their key is smaller."""
        key = key_of(self.layout.teams, self.layout.tables, seats)
        if self.key is None or key < self.key:
            self.key, self.seats = key, seats

    def hear(self, score: tuple[int, ...], copy: Callable[[], Seats]) -> None:
        """Consider what a search found; of equal scores a limited number is looked at."""
        if self.key is not None and score[:2] >= self.key[1:3]:
            self.looks += 1
            if score[:2] > self.key[1:3] or self.looks > _LOOKS:
                return
        self.consider(copy())


def _best_cyclic(layout: Layout, generator: Generator) -> Seats:
    best = _Best(layout)
    for _ in range(ARRAYS):
        best.consider(cyclic_seats(layout.teams, layout.tables, len(layout.entered), generator))
    return best.seats


def _by_matching(layout: Layout) -> Seats:
    """Category by category: loads as even as can be, then the least visits to tables seen before."""
    visits = [[0] * layout.tables for _ in range(layout.teams)]
    seats: Seats = []
    for teams, tables in zip(layout.entered, layout.open_tables, strict=True):

        def cost(team: int, table: int) -> int | None:
            return None if (team, table) in layout.barred else visits[team][table]

        seat = assign(teams, tables, cost, layout.most)
        for team, table in seat.items():
            visits[team][table] += 1
        seats.append(seat)
    return seats
