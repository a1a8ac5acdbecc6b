"""Spread the pairs of teams by trades that leave every team its tables.

In two categories let each team point from its table in the first to its table in the second. Along a closed
chain of such steps the teams can do the first category's visit in the second and the other way round: loads,
repeats, conflicts and visits stay as they are, only the company changes. Where every team must visit every
table there is hardly another move. Threshold accepting (Dueck and Scheuer 1990) with a falling integer
threshold and a given number of tries.
"""

from __future__ import annotations

from collections.abc import Callable

from contest.rules.generator import Generator

Seats = list[dict[int, int]]

_THRESHOLDS = (8, 6, 4, 4, 2, 2, 2, 0)


class Trades:
    """Seats under trade, with the sum over pairs of teams of (categories at one table)²."""

    def __init__(self, teams: int, seats: Seats) -> None:
        self.seats = [dict(seat) for seat in seats]
        self.shared = [[0] * teams for _ in range(teams)]
        self.sum = 0
        self.at: list[dict[int, list[int]]] = []
        for seat in self.seats:
            at: dict[int, list[int]] = {table: [] for table in seat.values()}
            self.at.append(at)
            for team, table in seat.items():
                self._enter(at[table], team)

    def run(self, tries: int, generator: Generator, found: Callable[[int, Callable[[], Seats]], None]) -> None:
        """Make `tries` tries; `found` hears the sum of every state as good as all before, and how to copy it."""
        best = self.sum
        for i in range(tries if len(self.seats) > 1 else 0):
            threshold = _THRESHOLDS[i * len(_THRESHOLDS) // tries]
            first = generator.below(len(self.seats))
            second = (first + 1 + generator.below(len(self.seats) - 1)) % len(self.seats)
            chain = self._chain(first, second, generator)
            if len(chain) < 2:
                continue
            before = self.sum
            self._trade(first, second, chain)
            if self.sum > before + threshold:
                self._trade(first, second, chain)
            elif self.sum <= best:
                best = self.sum
                found(best, self.copy)

    def copy(self) -> Seats:
        """The seats as they are now."""
        return [dict(seat) for seat in self.seats]

    def _chain(self, first: int, second: int, generator: Generator) -> list[int]:
        """Teams each of which goes on, in the second category, to the next one's table in the first."""
        tables = sorted(self.at[first])
        table = tables[generator.below(len(tables))]
        teams: list[int] = []
        passed: list[int] = []
        while table not in passed:
            passed.append(table)
            here = self.at[first].get(table, ())
            if not here:
                return []
            team = here[generator.below(len(here))]
            if team not in self.seats[second]:
                return []
            teams.append(team)
            table = self.seats[second][team]
        return teams[passed.index(table) :]

    def _trade(self, first: int, second: int, chain: list[int]) -> None:
        """The chain's teams change categories; a second time puts everything back."""
        one, two = self.seats[first], self.seats[second]
        for team in chain:
            self._leave(self.at[first][one[team]], team)
            self._leave(self.at[second][two[team]], team)
        for team in chain:
            one[team], two[team] = two[team], one[team]
            self._enter(self.at[first][one[team]], team)
            self._enter(self.at[second][two[team]], team)

    def _leave(self, flight: list[int], team: int) -> None:
        flight.remove(team)
        row = self.shared[team]
        for other in flight:
            self.sum -= 2 * row[other] - 1
            row[other] -= 1
            self.shared[other][team] -= 1

    def _enter(self, flight: list[int], team: int) -> None:
        row = self.shared[team]
        for other in flight:
            self.sum += 2 * row[other] + 1
            row[other] += 1
            self.shared[other][team] += 1
        flight.append(team)
