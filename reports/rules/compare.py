"""What differed between a team's better boxes and its poorer ones. Nothing here says what caused what.

Means are compared by Welch's interval for a difference of means, shares by Newcombe's hybrid score interval (R. G.
Newcombe, Statistics in Medicine 17, 1998, 873–890, method 10), both at 95 %.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import sqrt
from statistics import NormalDist, fmean, variance
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pandas import Series

FEWEST = 6  # boxes: below, a third is a single box
LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Logged:
    """One box: how well it did (`score`, any unit, higher is better) and what was noted at its cook."""

    score: float
    figures: Mapping[str, float] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Difference:
    """Best third less worst third of one thing that was noted.

    For a figure `best` and `worst` are means and `value` is ""; for a word they are the shares of boxes in which the
    field `name` was `value`. `low` and `high` bound `difference` at 95 %, both None where the boxes cannot tell.
    """

    name: str
    value: str
    best: float
    worst: float
    of_best: int
    of_worst: int
    low: float | None
    high: float | None

    @property
    def difference(self) -> float:
        return self.best - self.worst

    @property
    def is_clear(self) -> bool:
        """The interval leaves out no difference at all."""
        return self.low is not None and self.high is not None and (self.low > 0 or self.high < 0)


@dataclass(frozen=True, slots=True)
class Comparison:
    """`third` boxes on either side of all `boxes`, and what was compared, the clear differences first."""

    boxes: int
    third: int
    differences: tuple[Difference, ...]


def compare(boxes: Sequence[Logged]) -> Comparison | None:
    """Best third against worst third; None with fewer than six boxes.

    Boxes that did equally well are never parted: where the third's edge falls among them, all of them stay out, so a
    third may hold fewer than a third of the boxes, and with none left on a side there is nothing to compare.
    """
    if len(boxes) < FEWEST:
        return None
    from pandas import DataFrame, Series  # imports slowly, as scipy below: only whoever compares waits for it

    third = len(boxes) // 3
    ordered = sorted(boxes, key=lambda box: box.score, reverse=True)
    scores = Series([box.score for box in ordered])
    # The last rank that equals share: beyond the third's edge, and all of them are out.
    best = scores.rank(ascending=False, method="max") <= third
    worst = scores.rank(method="max") <= third
    figures, words = DataFrame([box.figures for box in ordered]), DataFrame([box.words for box in ordered])
    found = [
        *(each for name in figures for each in _figure(name, figures.loc[best, name], figures.loc[worst, name])),
        *(each for name in words for each in _shares(name, words.loc[best, name], words.loc[worst, name])),
    ]
    found.sort(key=lambda each: (not each.is_clear, each.low is None))
    return Comparison(len(boxes), third, tuple(found))


def _figure(name: str, best: "Series", worst: "Series") -> Iterator[Difference]:
    ours, theirs = best.dropna().tolist(), worst.dropna().tolist()
    if ours and theirs:
        low, high = welch_interval(ours, theirs)
        yield Difference(name, "", fmean(ours), fmean(theirs), len(ours), len(theirs), low, high)


def _shares(name: str, best: "Series", worst: "Series") -> Iterator[Difference]:
    ours, theirs = best.dropna().tolist(), worst.dropna().tolist()
    for value in sorted({*ours, *theirs}) if ours and theirs else []:
        one, other = ours.count(value), theirs.count(value)
        low, high = newcombe_interval(one, len(ours), other, len(theirs))
        shares = one / len(ours), other / len(theirs)
        yield Difference(name, value, *shares, len(ours), len(theirs), low, high)


def welch_interval(one: Sequence[float], other: Sequence[float]) -> tuple[float | None, float | None]:
    """95 % bounds of mean(one) − mean(other) with unequal variances; (None, None) where either side has fewer than
    two values or nothing varies."""
    if len(one) < 2 or len(other) < 2:
        return None, None
    parts = variance(one) / len(one), variance(other) / len(other)
    if sum(parts) == 0:
        return None, None
    from scipy.stats import t  # imports slowly; only whoever compares waits for it

    freedom = sum(parts) ** 2 / (parts[0] ** 2 / (len(one) - 1) + parts[1] ** 2 / (len(other) - 1))
    reach = float(t.ppf((1 + LEVEL) / 2, freedom)) * sqrt(sum(parts))
    middle = fmean(one) - fmean(other)
    return middle - reach, middle + reach


def wilson_interval(count: int, of: int) -> tuple[float, float]:
    """95 % bounds of a share `count`/`of` by Wilson's score; `of` at least 1."""
    z = NormalDist().inv_cdf((1 + LEVEL) / 2)
    share, square = count / of, z * z
    middle = (share + square / (2 * of)) / (1 + square / of)
    reach = z / (1 + square / of) * sqrt(share * (1 - share) / of + square / (4 * of * of))
    return max(0.0, middle - reach), min(1.0, middle + reach)


def newcombe_interval(one: int, of_one: int, other: int, of_other: int) -> tuple[float, float]:
    """95 % bounds of one/of_one − other/of_other: Newcombe's hybrid of two Wilson intervals."""
    share, other_share = one / of_one, other / of_other
    low, high = wilson_interval(one, of_one)
    other_low, other_high = wilson_interval(other, of_other)
    difference = share - other_share
    below = sqrt((share - low) ** 2 + (other_high - other_share) ** 2)
    above = sqrt((high - share) ** 2 + (other_share - other_low) ** 2)
    return difference - below, difference + above
