"""The draw design: which team goes to which table in each category, and when its box is served there.

A resolvable incomplete block design (Patterson and Williams 1976): categories are replicates, tables are
blocks that last all day. Teams and tables are plain indices here; whoever calls shuffles the labels first, so
that nothing this module prefers can favour a team or a table.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from contest.rules.generator import Generator
from contest.rules.matching import assign

Progress = Callable[[float], None]


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


Seats = list[dict[int, int]]
"""For each category team → table."""


def seat_teams(layout: Layout, generator: Generator, progress: Progress | None = None) -> Seats:
    """A table for every box. Raises ValueError where places or conflicts leave no way."""
    seats = _by_matching(layout)
    if progress:
        progress(1.0)
    return seats


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


def serve(layout: Layout, seats: Seats, generator: Generator) -> Seats:
    """For each category team → serving position at its table, 1 first."""
    served: Seats = []
    for seat in seats:
        positions: dict[int, int] = {}
        for table in sorted(set(seat.values())):
            flight = generator.shuffled(sorted(team for team, t in seat.items() if t == table))
            positions.update({team: place for place, team in enumerate(flight, 1)})
        served.append(positions)
    return served
