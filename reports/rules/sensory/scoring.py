"""How versions score that a few tasters marked blind: means and differences with intervals, and a test by ranks.

A table is tasters × versions, each cell the weighted mark of one card. Two views of it, which must agree before
anything is claimed:

- a mixed model, score = version + taster + error, the taster random, fitted by ``severity``; differences between
  versions carry 95 % intervals for all of them together (Tukey's studentised range; with two versions it is t);
- Friedman's test on ranks within tasters, ties corrected, which asks nothing of the marks but their order. Its p-value
  is exact for small tables and simulated, from a fixed seed, for larger ones; the chi-square approximation is poor for
  three tasters.

Sources: Friedman (1937), ties as in Conover, Practical Nonparametric Statistics; Tukey (1953), all from memory; values
that the tests are checked against are named there.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import combinations, permutations
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from reports.rules.sensory.counts import POWER, fewest_tasters
from reports.rules.sensory.scorewords import MOST_TASTERS, Difference, ScoreFigures
from reports.rules.severity.model import SeverityError, fit

LEVEL = 0.95
SIMULATIONS = 20_000
SEED = 20_000
#: Steps of the exact sum beyond which the p-value is simulated.
MOST_STEPS = 400_000

Table = Sequence[Sequence[float]]


@dataclass(frozen=True, slots=True)
class Friedman:
    """The statistic (chi-square with `degrees` degrees of freedom in large tables) and its p-value.

    `exact` is the p-value as a fraction, None where it was simulated.
    """

    statistic: float
    degrees: int
    p: float
    exact: Fraction | None


@dataclass(frozen=True, slots=True)
class Mean:
    """A version's mean with the half width of its 95 % interval."""

    mean: float
    half: float


@dataclass(frozen=True, slots=True)
class Scores:
    """What a table says. `means` and `differences` are empty where the marks leave no scatter to judge by.

    `tasters_sd`: how much tasters differ in level, `error_sd`: the scatter of a single card; `left_out`: tasters
    without a card for every version.
    """

    tasters: int
    left_out: int
    plain_means: tuple[float, ...]
    means: tuple[Mean, ...]
    differences: tuple[Difference, ...]
    tasters_sd: float
    error_sd: float
    friedman: Friedman | None


def friedman(table: Table) -> Friedman | None:
    """Friedman's test of n tasters × k versions, ties corrected; None below two of either, or if all ranks are tied.

    With ranks r within tasters and their sums R over tasters, the statistic is
    (k − 1) Σ (R − n(k + 1)/2)² ÷ ΣΣ (r − (k + 1)/2)². Without a difference every order of a taster's ranks, ties as
    they are, is as likely as any other: the exact p-value counts them all. Raises ValueError for a ragged table.

    Tested against the published examples of Hollander and Wolfe and of Conover, against scipy, and against counting
    by hand.
    """
    marks = np.array(table, dtype=np.float64)
    if marks.ndim != 2:
        raise ValueError("every taster needs a mark for every version")
    tasters, versions = marks.shape
    if tasters < 2 or versions < 2:
        return None
    doubled = [tuple(round(2 * float(rank)) for rank in stats.rankdata(row)) for row in marks]
    middle = versions + 1  # of doubled ranks
    spread = sum((rank - middle) ** 2 for row in doubled for rank in row)
    if spread == 0:
        return None
    observed = _distance([sum(column) for column in zip(*doubled, strict=True)], tasters * middle)
    statistic = (versions - 1) * observed / spread
    exact = _exact(doubled, observed, tasters * middle)
    p = float(exact) if exact is not None else _simulated(doubled, observed, tasters * middle)
    return Friedman(statistic, versions - 1, p, exact)


def _distance(sums: Sequence[int], middle: int) -> int:
    return sum((total - middle) ** 2 for total in sums)


def _exact(doubled: Sequence[tuple[int, ...]], observed: int, middle: int) -> Fraction | None:
    """The share of all orders that part the sums as far or farther; None where they are too many to count.

    As every order of a row is equally likely, sums that differ only in which version has which count as one.
    """
    reached: Counter[tuple[int, ...]] = Counter({(0,) * len(doubled[0]): 1})
    total = 1
    for row in doubled:
        # A table of distinct orders: ties make some of them the same.
        orders = set(permutations(row)) if len(row) <= 6 else set()
        if not orders or len(orders) * len(reached) > MOST_STEPS:
            return None
        total *= len(orders)
        after: Counter[tuple[int, ...]] = Counter()
        for sums, ways in reached.items():
            for order in orders:
                after[tuple(sorted(map(int.__add__, sums, order)))] += ways
        reached = after
    far = sum(ways for sums, ways in reached.items() if _distance(sums, middle) >= observed)
    return Fraction(far, total)


def _simulated(doubled: Sequence[tuple[int, ...]], observed: int, middle: int) -> float:
    generator = np.random.default_rng(SEED)
    sums: NDArray[np.int64] = np.zeros((SIMULATIONS, len(doubled[0])), dtype=np.int64)
    for row in doubled:
        sums += generator.permuted(np.tile(np.array(row, dtype=np.int64), (SIMULATIONS, 1)), axis=1)
    far = int((((sums - middle) ** 2).sum(axis=1) >= observed).sum())
    return (far + 1) / (SIMULATIONS + 1)


def scores(table: Sequence[Sequence[float | None]]) -> Scores:
    """What the marks of tasters × versions say; tasters with a cell None are left out and counted."""
    complete = [[mark for mark in row if mark is not None] for row in table if None not in row]
    left_out = len(table) - len(complete)
    if not complete:
        return Scores(0, left_out, (), (), (), 0.0, 0.0, None)
    plain = tuple(float(mean) for mean in np.mean(np.array(complete), axis=0))
    found = Scores(len(complete), left_out, plain, (), (), 0.0, 0.0, friedman(complete))
    return _modelled(found, complete) if len(complete) > 1 and len(plain) > 1 else found


def _modelled(found: Scores, table: Table) -> Scores:
    tasters, versions = len(table), len(table[0])
    flat = [mark for row in table for mark in row]
    who = [taster for taster in range(tasters) for _ in range(versions)]
    what = list(range(versions)) * tasters
    try:
        model = fit(flat, {"taster": who}, fixed=what)
    except SeverityError:  # all tasters part the versions by the very same points: there is no scatter
        return found
    if model.residual < 1e-12:
        return found
    degrees = (tasters - 1) * (versions - 1)
    reach = critical(versions, degrees)
    pairs = list(combinations(range(versions), 2))
    parted = model.contrasts([{(None, one): 1.0, (None, other): -1.0} for one, other in pairs])
    t = float(stats.t.ppf((1 + LEVEL) / 2, degrees))
    means = tuple(Mean(*(value * by for value, by in zip(model.fixed[each], (1, t), strict=True))) for each in
                  range(versions))  # fmt: skip
    differences = tuple(
        Difference(one, other, estimate, estimate - reach * error, estimate + reach * error)
        for (one, other), (estimate, error) in zip(pairs, parted, strict=True)
    )
    return Scores(
        found.tasters, found.left_out, found.plain_means, means, differences,
        sqrt(model.variances["taster"]), sqrt(model.residual), found.friedman,
    )  # fmt: skip


@lru_cache(maxsize=512)
def critical(versions: int, degrees: int) -> float:
    """What the standard error of a difference is multiplied by, so that all intervals hold together nineteen times in
    twenty. With two versions it is Student's t."""
    if versions == 2:
        return float(stats.t.ppf((1 + LEVEL) / 2, degrees))
    return float(stats.studentized_range.ppf(LEVEL, versions, degrees)) / sqrt(2)


def tasters_for(difference: float, error_sd: float, versions: int) -> int | None:
    """Tasters who find `difference` between two versions four times in five at this scatter of a card.

    None beyond MOST_TASTERS. By the non-central t distribution; never below what the ranks need.
    Tested against statsmodels for two versions.
    """

    def is_found(tasters: int) -> bool:
        degrees = (tasters - 1) * (versions - 1)
        away = difference / (error_sd * sqrt(2 / tasters))
        reach = critical(versions, degrees)
        # A clear finding the wrong way round is so rare beyond three errors that its digits get lost.
        wrong_way = float(stats.nct.cdf(-reach, degrees, away)) if away < 3 else 0.0
        return bool(stats.nct.sf(reach, degrees, away) + wrong_way >= POWER)

    enough = bisect_left(range(MOST_TASTERS + 1), True, lo=fewest_tasters(versions), key=is_found)
    return enough if enough <= MOST_TASTERS else None


def figures_of(found: Scores, versions: int, one_mark: float) -> ScoreFigures:
    """The figures that the sentences are made from. `one_mark`: what one more in every criterion is worth, in points.

    How many tasters would find that is worked out here, for it takes the non-central t distribution.
    """
    return ScoreFigures(
        tasters=found.tasters,
        p=None if found.friedman is None else found.friedman.p,
        differences=found.differences,
        error_sd=found.error_sd,
        enough=tasters_for(one_mark, found.error_sd, versions) if found.error_sd else None,
    )
