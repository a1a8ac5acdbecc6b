"""How fair and how precise a draw is: repeats, concurrence, average efficiencies and their bounds.

Floats here describe a draw; none of them decides one. Efficiency is the average variance of a difference
between two teams with as many boxes each and no table effects, over the same with table effects (John and
Williams 1995, "Cyclic and Computer Generated Designs"): the harmonic mean of the canonical efficiency factors
where every team has as many boxes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import floor, inf, sqrt

import numpy as np

from contest.rules.draw.leastrepeats import least_repeats
from contest.rules.draw.request import Placed
from contest.rules.stored import Stored


@dataclass(frozen=True, slots=True)
class Quality(Stored):
    """The quality figures of one draw, as they are kept with it."""

    repeats: int
    """Sum over teams and tables of C(visits, 2): pairs of boxes of one team at one table."""
    least_repeats: int
    """No draw with these loads can have fewer."""
    largest_concurrence: int
    """The most categories in which the same two teams share a table."""
    e_a: float | None
    """Average efficiency with table effects that last all day; None where teams cannot be compared."""
    e_a_bound: float | None
    """No draw can exceed it; None where none is known (skipped categories)."""
    e_b: float | None
    """Average efficiency with a table effect in each category."""
    e_b_bound: float | None

    @property
    def sentence(self) -> str:
        """The figures in one plain sentence."""
        return _sentence(self.repeats, self.least_repeats, self.largest_concurrence, self.e_a, self.e_a_bound)


def efficiency(units: Iterable[tuple[Hashable, Hashable]]) -> float | None:
    """Average efficiency of treatment contrasts from (treatment, block) pairs, one per plot.

    Between 0 and 1; 1 for fewer than two treatments; None where blocks do not connect all treatments.
    """
    pairs = list(units)
    treatments = {t: i for i, t in enumerate(dict.fromkeys(t for t, _ in pairs))}
    blocks = {b: i for i, b in enumerate(dict.fromkeys(b for _, b in pairs))}
    v = len(treatments)
    if v < 2:
        return 1.0
    counts = np.zeros((v, len(blocks)))
    for t, b in pairs:
        counts[treatments[t], blocks[b]] += 1
    replication = counts.sum(axis=1)
    information = np.diag(replication) - (counts / counts.sum(axis=0)) @ counts.T
    values = np.linalg.eigvalsh(information)
    if values[1] < 1e-9 * replication.max():
        return None
    # mean over pairs of var(t − u): 2/(v−1) · trace of the generalised inverse; unblocked: 2/v · Σ 1/r
    blocked = 2 / (v - 1) * float((1 / values[1:]).sum())
    unblocked = 2 / v * float((1 / replication).sum())
    return unblocked / blocked


def quality_of(placed: Sequence[Placed], forbidden: Collection[tuple[int, int]] = ()) -> Quality:
    """The quality figures of a draw; `forbidden` are the (team, table) pairs it had to keep apart."""
    visits = Counter((p.team, p.table) for p in placed)
    repeats = _repeats(visits)
    largest = max(concurrences(placed).values(), default=0)
    least = least_repeats(placed, forbidden) if repeats else 0
    e_a = efficiency((p.team, p.table) for p in placed)
    e_b = efficiency((p.team, (p.category, p.table)) for p in placed)
    a_bound, b_bound = _bounds(placed, repeats)
    return Quality(
        repeats=repeats,
        least_repeats=least,
        largest_concurrence=largest,
        e_a=e_a,
        e_a_bound=a_bound,
        e_b=e_b,
        e_b_bound=b_bound,
    )


def _repeats(visits: Mapping[tuple[int, int], int]) -> int:
    return sum(n * (n - 1) // 2 for n in visits.values())


def concurrences(placed: Sequence[Placed]) -> Counter[tuple[int, int]]:
    """(team, team) → the number of categories in which they share a table."""
    flights: dict[tuple[str, int], list[int]] = {}
    for p in placed:
        flights.setdefault((p.category, p.table), []).append(p.team)
    return Counter(pair for flight in flights.values() for pair in combinations(sorted(flight), 2))


def bound_a(loads: Sequence[int], teams: int, categories: int) -> float:
    """The largest possible efficiency with table effects that last all day.

    `loads` are the tables' boxes over the day; every team is in every category. The efficiency factors other
    than 1 number at most (tables − 1) and have a sum that repeats only lower; equal factors are best.
    """
    tables = len(loads)
    if teams < 2 or tables < 2:
        return 1.0
    lost = sum(_even_squares(load, teams) / (categories * load) for load in loads) - 1
    others = min(tables, teams) - 1
    return (teams - 1) / (teams - 1 - others + others * _inverse(1 - max(lost, 0.0) / others))


def bound_b(loads: Sequence[Sequence[int]], teams: int, *, repeats: bool) -> float | None:
    """The largest possible efficiency with a table effect in each category; None for a single category.

    `loads` are the boxes of the tables in each category; every team is in every category. With F the losses
    (1 − efficiency factor), their sum is fixed and their sum of squares is least where the boxes of one table
    spread evenly over the tables of another category (all but the table itself, in a draw without repeats).
    For given moments the average variance is least with as many losses as possible at 0, one between and the
    others equal: without the squares that is the bound of Williams, Patterson and John for resolvable designs.
    """
    categories = len(loads)
    if teams < 2:
        return 1.0
    blocks = [load for flight in loads for load in flight]
    first = len(blocks) / categories - 1
    others = min(len(blocks) - categories, teams - 1)
    if others == 0:
        return 1.0
    if categories < 2:
        return None
    second = len(blocks) / categories**2 - 1
    for i, flight in enumerate(loads):
        for j, other in enumerate(loads):
            open_to = len(other) - (0 if repeats else 1)
            if i != j and open_to:
                second += sum(_even_squares(n, open_to) / (n * max(other)) for n in flight) / categories**2
    return (teams - 1) / (teams - 1 - others + _least_variance(others, first, second))


def _least_variance(n: int, first: float, second: float) -> float:
    """The least sum of 1/(1 − f) over n losses f >= 0 with this sum and at least this sum of squares."""
    if second <= first**2 / n * (1 + 1e-12):
        return n * _inverse(1 - first / n)
    zeros = floor(n - first**2 / second + 1e-9)
    q = n - zeros - 1
    if q == 0:
        return zeros + _inverse(1 - first)
    root = sqrt(max((first * q) ** 2 - (q * q + q) * (first**2 - second), 0.0))
    equal = (first * q + root) / (q * q + q)
    return zeros + _inverse(1 - (first - q * equal)) + q * _inverse(1 - equal)


def _inverse(factor: float) -> float:
    """1 / factor; infinite where nothing can be compared any more (a single category at several tables)."""
    return 1 / factor if factor > 1e-12 else inf


def _even_squares(total: int, places: int) -> int:
    """The least sum of squares of whole numbers with this total over so many places."""
    each, more = divmod(total, places)
    return more * (each + 1) ** 2 + (places - more) * each**2


def _bounds(placed: Sequence[Placed], repeats: int) -> tuple[float | None, float | None]:
    """Bounds on both efficiencies, where every team is in every category at the same tables."""
    loads: dict[str, Counter[int]] = {}
    for p in placed:
        loads.setdefault(p.category, Counter())[p.table] += 1
    teams = len({p.team for p in placed})
    tables = {p.table for p in placed}
    if any(sum(load.values()) != teams or set(load) != tables for load in loads.values()):
        return None, None
    day = sum(loads.values(), Counter())
    by_category = [list(load.values()) for load in loads.values()]
    return (
        bound_a(list(day.values()), teams, len(loads)),
        bound_b(by_category, teams, repeats=repeats > 0),
    )


def _sentence(repeats: int, least: int, largest: int, e_a: float | None, bound: float | None) -> str:
    if repeats == 0:
        first = "No team comes to one table twice"
    else:
        so_few = "no draw could have fewer" + ("" if repeats == least else f" than {least}")
        first = f"Teams come back to a table {_times(repeats)} in all ({so_few})"
    second = f"no two teams share a table more than {_times(largest)}" if largest else "no two teams meet"
    if e_a is None:
        third = "tables that are hard all day cannot be told from teams"
    else:
        lost, least_lost = _percent(1 - e_a), None if bound is None else _percent(1 - bound)
        best = {None: "", lost: " (no draw could cost less)"}.get(least_lost, f" (at the least {least_lost})")
        third = f"tables that are easy or hard all day cost comparisons {lost} of their precision{best}"
        if lost == _percent(0):
            third = "tables that are easy or hard all day cost comparisons between teams nothing"
    return f"{first}, {second}, and {third}."


def _times(n: int) -> str:
    return {1: "once", 2: "twice"}.get(n, f"{n} times")


def _percent(share: float) -> str:
    return f"{abs(100 * share):.1f} %"
