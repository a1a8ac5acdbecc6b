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

from contest.rules.criterion import Key, key_of
from contest.rules.cyclic import cyclic_seats
from contest.rules.exchange import Exchange, Score
from contest.rules.generator import Generator
from contest.rules.matching import assign
from contest.rules.trades import Trades

Progress = Callable[[float], None]
Seats = list[dict[int, int]]
"""For each category team → table."""

_ARRAYS = 40
_EXCHANGES = 7_000_000  # steps × (places in a category)²
_MOST_EXCHANGES = 1200
_TRADES = 12_000
_LOOKS = 60
_REPEAT = 400


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
    best = _Best(layout)
    places = layout.teams + layout.tables  # with holes
    steps = min(_MOST_EXCHANGES, _EXCHANGES // places**2)
    for i, start in enumerate(starts):
        best.consider(start)
        local = _Best(layout)
        search = Exchange(layout.teams, layout.tables, start, layout.open_tables, layout.barred, repeat=_REPEAT)
        search.run(steps, generator, local.hear)
        best.consider(local.seats)
        best.consider(Trades(layout.teams, local.seats).run(_TRADES, generator))
        report((i + 1) / len(starts))
    return best.seats


class _Best:
    """The best seats heard of so far."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.key: Key | None = None
        self.seats: Seats = []
        self.looks = 0

    def consider(self, seats: Seats) -> None:
        """Keep the seats if their key is smaller."""
        key = key_of(self.layout.teams, self.layout.tables, seats)
        if self.key is None or key < self.key:
            self.key, self.seats = key, seats

    def hear(self, search: Exchange, score: Score) -> None:
        """Consider what a search found; ties are looked at a limited number of times."""
        if self.key is not None:
            if score[:2] > self.key[1:3]:
                return
            if score[:2] == self.key[1:3]:
                self.looks += 1
                if self.looks > _LOOKS:
                    return
        self.consider(search.seats())


def _best_cyclic(layout: Layout, generator: Generator) -> Seats:
    best = _Best(layout)
    for _ in range(_ARRAYS):
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
