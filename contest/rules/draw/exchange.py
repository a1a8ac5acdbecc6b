"""Improve an assignment of teams to tables by exchanging places within a category.

A tabu search (Glover 1989): at each step the best exchange of one category is made even if it makes things
worse, and the two places then stay as they are for a while. Loads never change: a table with one box fewer than
the fullest has a *hole* there, and a team may change places with a hole. What is minimised, in integers:

    repeat weight · pairs of boxes of one team at one table
    + SHARED · sum over pairs of teams of (categories at one table)²
    + sum over pairs of tables of (visitors in common)²

The second sum is the leading term of the average variance with table effects per category, the third that of
the one with table effects constant over the day. The number of steps is given, so no clock has a say.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from contest.rules.generator import Generator

Ints = NDArray[np.int64]
Seats = list[dict[int, int]]
Score = tuple[int, int, int]

SHARED = 8
_FAR = np.int64(1 << 40)


class _Category:
    """The places of one category: teams first, then holes."""

    def __init__(self, seat: dict[int, int], tables: Sequence[int], hole: int, forbidden: NDArray[np.bool_]) -> None:
        load = dict.fromkeys(tables, 0)
        for table in seat.values():
            load[table] += 1
        low, high = min(load.values()), max(load.values())
        holes = [table for table, n in load.items() if n == low and high == low + 1]
        self.size = len(seat) + len(holes)
        self.members = np.array([*seat, *[hole] * len(holes)], np.int64)
        self.seat = np.array([*seat.values(), *holes], np.int64)
        self.barred = forbidden[self.members]
        self.free_from = np.zeros(self.size, np.int64)
        self.rows = np.arange(self.size)
        self.real = (self.members != hole).astype(np.int64)
        self.pairs = self.real[:, None] + self.real[None, :]
        self.both = self.real[:, None] * self.real[None, :]
        self.grid = np.ix_(self.members, self.members)
        self.load = np.array([load.get(table, 0) for table in range(forbidden.shape[1])], np.int64)


class Exchange:
    """One search, from a start to better seats."""

    def __init__(
        self,
        teams: int,
        tables: int,
        seats: Seats,
        open_tables: Sequence[Sequence[int]],
        barred: frozenset[tuple[int, int]],
        repeat: int,
    ) -> None:
        self.repeat = repeat
        self.hole = teams
        self.visits = np.zeros((teams + 1, tables), np.int64)
        self.shared = np.zeros((teams + 1, teams + 1), np.int64)
        self.one_hot = np.eye(tables, dtype=np.int64)
        forbidden = np.zeros((teams + 1, tables), np.bool_)
        for team, table in barred:
            forbidden[team, table] = True
        self.categories = [
            _Category(seat, tables_open, teams, forbidden) for seat, tables_open in zip(seats, open_tables, strict=True)
        ]
        for c in self.categories:
            np.add.at(self.visits, (c.members, c.seat), c.real)
            self.shared[c.grid] += (c.seat[:, None] == c.seat[None, :]) * c.both
        np.fill_diagonal(self.shared, 0)

    def seats(self) -> Seats:
        """For each category team → table."""
        return [
            {int(t): int(s) for t, s in zip(c.members, c.seat, strict=True) if t != self.hole} for c in self.categories
        ]

    def score(self) -> Score:
        """(repeats, sum over pairs of teams of shared categories², sum over tables of common visitors²)."""
        common = self.visits.T @ self.visits
        return (
            int((self.visits * (self.visits - 1)).sum()) // 2,
            int((self.shared**2).sum()) // 2,
            int((common**2).sum()),
        )

    def weighted(self, score: Score) -> int:
        """The minimised sum."""
        return self.repeat * score[0] + SHARED * score[1] + score[2]

    def run(self, steps: int, generator: Generator, found: Callable[[Score, Callable[[], Seats]], None]) -> None:
        """Make `steps` exchanges; `found` hears the score of every state as good as all before, and how to copy it."""
        movable = [c for c in self.categories if len(set(c.seat.tolist())) > 1]
        best = now = self.weighted(self.score())
        found(self.score(), self.seats)
        for step in range(steps if movable else 0):
            c = movable[generator.below(len(movable))]
            change = self._changes(c)
            held = (c.free_from > step)[:, None] | (c.free_from > step)[None, :]
            change[held & (change + now >= best)] = _FAR
            least = change.min()
            if least >= _FAR:
                continue
            ties = np.flatnonzero(change == least)
            a, b = divmod(int(ties[generator.below(len(ties))]), c.size)
            self._exchange(c, a, b)
            now += int(least)
            c.free_from[a] = step + 1 + self._rest(generator)
            c.free_from[b] = step + 1 + self._rest(generator)
            if now <= best:
                best = now
                found(self.score(), self.seats)

    def _rest(self, generator: Generator) -> int:
        return len(self.categories) * (2 + generator.below(8))

    def _changes(self, c: _Category) -> Ints:
        """For each two places the change of the sum if they were exchanged; _FAR where that is not allowed."""
        seat, rows = c.seat, c.rows
        met = self.shared[c.grid] @ self.one_hot[seat]  # place × table: categories shared with those there
        visits = self.visits[c.members]
        common = self.visits.T @ self.visits
        routes = visits @ common
        # what each place would have at the other's table, less what it has at its own
        far = SHARED * 2 * met + 4 * routes + self.repeat * visits
        far_there = far[:, seat] - far[rows, seat][:, None]
        there = visits[:, seat] - visits[rows, seat][:, None]
        toward = there + there.T
        own = (visits**2).sum(axis=1)
        apart = own[:, None] + own[None, :] - 2 * (visits @ visits.T)
        diagonal = np.diagonal(common)[seat]
        spread = diagonal[:, None] + diagonal[None, :] - 2 * common[seat[:, None], seat[None, :]]
        size = c.load[seat]
        change: Ints = far_there + far_there.T
        change += SHARED * (c.pairs * (size[:, None] + size[None, :] - 1) - 2 * c.both)
        change -= SHARED * 4 * self.shared[c.grid]
        change += self.repeat * c.pairs
        change += 2 * c.pairs * spread + 4 * apart + 2 * toward**2 + 4 * c.pairs**2 + 8 * c.pairs * toward
        forbidden = c.barred[:, seat]
        forbidden[c.real == 0] |= np.isin(seat, seat[c.real == 0])  # two holes at a table would be uneven
        change[(seat[:, None] == seat[None, :]) | forbidden | forbidden.T | (c.pairs == 0)] = _FAR
        return change

    def _exchange(self, c: _Category, a: int, b: int) -> None:
        """Let places a and b change tables."""
        from_a, from_b = c.seat[a], c.seat[b]
        self._move(c, a, from_a, from_b, leave_out=b)
        self._move(c, b, from_b, from_a, leave_out=a)
        c.load[from_a] += c.real[b] - c.real[a]
        c.load[from_b] += c.real[a] - c.real[b]
        c.seat[a], c.seat[b] = from_b, from_a

    def _move(self, c: _Category, place: int, old: np.int64, new: np.int64, leave_out: int) -> None:
        team = c.members[place]
        if team == self.hole:
            return
        self.visits[team, old] -= 1
        self.visits[team, new] += 1
        change = ((c.seat == new).astype(np.int64) - (c.seat == old)) * c.real
        change[place] = change[leave_out] = 0
        np.add.at(self.shared, (team, c.members), change)
        np.add.at(self.shared, (c.members, team), change)
