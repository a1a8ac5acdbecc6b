"""When each box is served at its table: a team's serving positions are spread over the day.

The first boxes of a flight tend to set the judges' scale and the last meet tired palates. A position counts as
its distance from the middle of its flight, in half steps: 2·position − boxes − 1. Minimised, in integers: the
sum over teams of (the sum of its distances)², so that nobody is always early or always late, and, with less
weight, of the number of times two of a team's distances are the same.
"""

from __future__ import annotations

from contest.rules.generator import Generator

Seats = list[dict[int, int]]

_SAME = 4
_STARTS = 4
_ROUNDS = 6


def serve(teams: int, seats: Seats, generator: Generator) -> Seats:
    """For each category team → serving position at its table, 1 first."""
    tries = [_ordered(teams, seats, generator) for _ in range(_STARTS)]
    _, best = min(tries, key=lambda attempt: attempt[0])
    flights = iter(best)
    served: Seats = []
    for seat in seats:
        places: dict[int, int] = {}
        for _ in set(seat.values()):
            places.update({team: place for place, team in enumerate(next(flights), 1)})
        served.append(places)
    return served


def _ordered(teams: int, seats: Seats, generator: Generator) -> tuple[int, list[list[int]]]:
    """Flights in serving order, category by category and table by table, and what the order costs."""
    flights = [
        generator.shuffled(sorted(team for team, at in seat.items() if at == table))
        for seat in seats
        for table in sorted(set(seat.values()))
    ]
    spread = _Spread(teams)
    for flight in flights:
        for place, team in enumerate(flight):
            spread.add(team, 2 * place - len(flight) + 1)
    for _ in range(_ROUNDS):
        improved = [_improve(flight, spread, generator) for flight in flights]
        if not any(improved):
            break
    return spread.cost(), flights


class _Spread:
    """Each team's distances and what they cost."""

    def __init__(self, teams: int) -> None:
        self.distances: list[list[int]] = [[] for _ in range(teams)]
        self.sums = [0] * teams

    def add(self, team: int, distance: int) -> None:
        self.distances[team].append(distance)
        self.sums[team] += distance

    def cost(self) -> int:
        """The minimised sum."""
        same = sum(d.count(x) - 1 for d in self.distances for x in d)
        return sum(total**2 for total in self.sums) + _SAME * same

    def change(self, team: int, old: int, new: int) -> int:
        """What the cost would change by if the team moved."""
        distances, total = self.distances[team], self.sums[team]
        same = distances.count(new) - distances.count(old) + 1
        return (total + new - old) ** 2 - total**2 + 2 * _SAME * same

    def move(self, team: int, old: int, new: int) -> None:
        self.distances[team].remove(old)
        self.distances[team].append(new)
        self.sums[team] += new - old


def _improve(flight: list[int], spread: _Spread, generator: Generator) -> bool:
    """Let pairs of the flight change places where that helps; whether any did."""
    improved = False
    size = len(flight)
    order = generator.shuffled((i, j) for i in range(size) for j in range(i))
    for i, j in order:
        one, other = flight[i], flight[j]
        at, to = 2 * i - size + 1, 2 * j - size + 1
        if spread.change(one, at, to) + spread.change(other, to, at) < 0:
            spread.move(one, at, to)
            spread.move(other, to, at)
            flight[i], flight[j] = other, one
            improved = True
    return improved
