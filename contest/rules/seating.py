"""Seating judges at random with experience spread evenly over the tables.

The method, so that anyone can check a seating from its seed:

1. The judges, in the order given, are shuffled by the generator (see `contest.rules.generator`). If there are more
   judges than seats, those at the end of this order stay without a seat.
2. They are sorted by contests judged, most first; judges with equally many keep the order of the shuffle.
3. The tables are shuffled, and the judges are dealt to them in snake order: once along the tables, then back, and
   so on. A table whose seats are all taken is passed over.
4. At each table, in ascending order of its number, its judges are shuffled and take the seats from the first on.

With equally many judges at each table, the tables' sums of contests judged differ by no more than the range of
contests judged in the whole field, however many judges there are: the steps between two tables alternate in sign
and lie one below the other.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from contest.rules.generator import Generator

Place = tuple[int, str]
"""Table number and seat letter."""


def seat_judges(experience: Sequence[int], seats: Mapping[int, Sequence[str]], seed: bytes) -> dict[Place, int]:
    """Seat → the judge's index in `experience` (contests judged, one figure a judge). Seats left over are absent.

    >>> seat_judges([9, 0, 5, 1], {1: "AB", 2: "AB"}, b"seed")
    {(1, 'A'): 0, (1, 'B'): 1, (2, 'A'): 3, (2, 'B'): 2}
    """
    generator = Generator(seed)
    places = sum(len(letters) for letters in seats.values())
    seated = generator.shuffled(range(len(experience)))[:places]
    seated.sort(key=lambda judge: -experience[judge])
    dealt = _deal(seated, generator.shuffled(sorted(seats)), {table: len(seats[table]) for table in seats})
    return {
        (table, letter): judge
        for table in sorted(seats)
        for letter, judge in zip(seats[table], generator.shuffled(dealt[table]), strict=False)
    }


def _deal(judges: Sequence[int], tables: Sequence[int], room: Mapping[int, int]) -> dict[int, list[int]]:
    """Deal in snake order; there is room for all."""
    dealt: dict[int, list[int]] = {table: [] for table in tables}
    waiting = list(reversed(judges))
    forward = True
    while waiting:
        for table in tables if forward else reversed(tables):
            if waiting and len(dealt[table]) < room[table]:
                dealt[table].append(waiting.pop())
        forward = not forward
    return dealt
