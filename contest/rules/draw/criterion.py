"""When one design is better than another: an integer key, the strictest wish first."""

from __future__ import annotations

from fractions import Fraction
from math import lcm

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Seats = list[dict[int, int]]
Key = tuple[int, int, int, Fraction]

_TERMS = 8


def key_of(teams: int, tables: int, seats: Seats) -> Key:
    """Smaller is better: (uneven loads, repeats, pairs of teams that meet again, variances).

    In order: the sum of squared loads; pairs of boxes of one team at one table; the sum over pairs of teams of
    (categories at one table)²; and the average variance of a team difference beyond what those fix, as a
    series whose terms are exact fractions.
    """
    boxes = sum(map(len, seats))
    visits = np.zeros((teams, tables), np.int64)
    flights = np.zeros((teams, len(seats) * tables), np.int64)
    for i, seat in enumerate(seats):
        for team, table in seat.items():
            visits[team, table] += 1
            flights[team, i * tables + table] = 1
    loads = flights.sum(axis=0)
    shared = flights @ flights.T
    np.fill_diagonal(shared, 0)
    common = visits.T @ visits
    return (
        int((loads**2).sum()),
        int((visits * (visits - 1)).sum()) // 2,
        int((shared**2).sum()) // 2,
        _series(flights[:, loads > 0]) + Fraction(int((common**2).sum()) * (tables * teams) ** 2, boxes**4),
    )


def _series(incidence: Ints) -> Fraction:
    """Leading terms of the average variance of a team difference, as far as 64-bit integers are exact.

    With F = K⁻¹ N' R⁻¹ N (N teams × blocks, R and K replications and block sizes) the average variance is
    proportional to the trace of I + F + F² + F³ + …, less constants.
    """
    replication, sizes = incidence.sum(axis=1), incidence.sum(axis=0)
    r, k = lcm(*map(int, replication)), lcm(*map(int, sizes))
    scale, n = r * k, len(sizes)
    terms = min(_TERMS, (62 - n.bit_length()) // scale.bit_length())
    if terms < 2:
        return Fraction(0)
    step = (incidence.T @ (incidence * (r // replication)[:, None])) * (k // sizes)[None, :]
    powers = {1: step}
    for p in range(2, (terms + 1) // 2 + 1):
        powers[p] = powers[p - 1] @ step
    total = Fraction(0)
    for p in range(2, terms + 1):
        left, right = powers[p // 2], powers[p - p // 2]
        total += Fraction(int((left * right.T).sum()), scale**p)
    return total
