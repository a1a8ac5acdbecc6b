"""Designs that repeat one pattern around the tables, as alpha designs do (Patterson and Williams 1976).

With J tables and k = T/J teams a table, team (x, m) goes to table x + a[i][m] (mod J) in category i. The array a
has one row per category and one column per group of J teams. Table loads are equal whatever a is. Different
numbers in a column mean no team at one table twice; differences of two rows, taken over the columns, that are
spread evenly over 1 … J − 1 mean that two teams meet as rarely as can be; and all differences together spread
evenly mean that any two tables share as many teams. The array is small, so it is searched quickly.
"""

from __future__ import annotations

from contest.rules.generator import Generator

Seats = list[dict[int, int]]

_CLIMB = 20
_MOST_CLIMB = 400
_PAIRS = 4
"""Weight of two teams' meetings against two tables' sharing."""


def cyclic_seats(teams: int, tables: int, categories: int, generator: Generator) -> Seats:
    """For each category team → table, from one climb; loads within one, least repeats.

    Every team is in every category and every table is open in all of them.
    """
    columns = -(-teams // tables)
    array = _Array(tables, categories, columns, generator)
    array.climb(generator)
    return [{team: (team % tables + row[team // tables]) % tables for team in range(teams)} for row in array.rows]


class _Array:
    """The array a under improvement, with the counts its cost is made of."""

    def __init__(self, tables: int, categories: int, columns: int, generator: Generator) -> None:
        self.tables = tables
        self.rows = [[0] * columns for _ in range(categories)]
        for m in range(columns):
            values = generator.shuffled(range(tables))
            column = generator.shuffled([values[i % tables] for i in range(categories)])
            for row, value in zip(self.rows, column, strict=True):
                row[m] = value
        self.between = [
            [[0] * tables for _ in range(categories)] for _ in range(categories)
        ]  # [i][j][d]: columns in which row i exceeds row j by d
        self.all = [0] * tables
        self.cost = 0
        for i in range(categories):
            for j in range(i):
                for m in range(columns):
                    self._count(i, j, m, 1)

    def climb(self, generator: Generator) -> None:
        """Keep changes that do no harm."""
        rows = self.rows
        if len(rows) < 2 or self.tables < 2:
            return
        for _ in range(min(_MOST_CLIMB, _CLIMB * len(rows) * len(rows[0]))):
            m, i, value = (generator.below(n) for n in (len(rows[0]), len(rows), self.tables))
            old = rows[i][m]
            partner = next((j for j, row in enumerate(rows) if row[m] == value), None)
            if value == old or (partner is None and len(rows) > self.tables):
                continue
            before = self.cost
            self._put(m, i, value, partner, old)
            if self.cost > before:
                self._put(m, i, old, partner, value)

    def _put(self, m: int, i: int, value: int, partner: int | None, other: int) -> None:
        """Row i takes the value in column m; the row that had it takes the other, so none comes twice."""
        self._set(i, m, value)
        if partner is not None:
            self._set(partner, m, other)

    def _set(self, i: int, m: int, value: int) -> None:
        others = [j for j in range(len(self.rows)) if j != i]
        for j in others:
            self._count(i, j, m, -1)
        self.rows[i][m] = value
        for j in others:
            self._count(i, j, m, 1)

    def _count(self, i: int, j: int, m: int, step: int) -> None:
        """Add or take away column m's difference of rows i and j, and what that costs."""
        if i < j:
            i, j = j, i
        d = (self.rows[i][m] - self.rows[j][m]) % self.tables
        counts = self.between[i][j]
        self.cost += _PAIRS * (2 * step * counts[d] + 1)
        counts[d] += step
        for e in (d, -d % self.tables):
            self.cost += 2 * step * self.all[e] + 1
            self.all[e] += step
