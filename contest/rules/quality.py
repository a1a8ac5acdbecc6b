"""How fair and how precise a draw is: repeats, concurrence, average efficiencies and their bounds.

Floats here describe a draw; none of them decides one. Efficiency is the average variance of a difference
between two teams with as many boxes each and no table effects, over the same with table effects (John and
Williams 1995, "Cyclic and Computer Generated Designs"): the harmonic mean of the canonical efficiency factors
where every team has as many boxes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from contest.rules.drawrequest import Placed


@dataclass(frozen=True, slots=True)
class Quality:
    """The quality figures of one draw."""

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
    sentence: str
    """The figures in one plain sentence."""


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


def quality_of(placed: Sequence[Placed]) -> Quality:
    """The quality figures of a draw."""
    visits = Counter((p.team, p.table) for p in placed)
    repeats = sum(n * (n - 1) // 2 for n in visits.values())
    concurrence = concurrences(placed)
    e_a = efficiency((p.team, p.table) for p in placed)
    e_b = efficiency((p.team, (p.category, p.table)) for p in placed)
    return Quality(
        repeats=repeats,
        least_repeats=0,
        largest_concurrence=max(concurrence.values(), default=0),
        e_a=e_a,
        e_a_bound=None,
        e_b=e_b,
        e_b_bound=None,
        sentence="",
    )


def concurrences(placed: Sequence[Placed]) -> Counter[tuple[int, int]]:
    """(team, team) → the number of categories in which they share a table."""
    flights: dict[tuple[str, int], list[int]] = {}
    for p in placed:
        flights.setdefault((p.category, p.table), []).append(p.team)
    return Counter(pair for flight in flights.values() for pair in combinations(sorted(flight), 2))
