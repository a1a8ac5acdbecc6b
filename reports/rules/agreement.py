"""How well judges agree: reliability of a table's mean, concordance of a flight, each judge's severity and spread.

For the organiser and the head judge; small flights say little, so everything carries a 95 % interval, and none of it
ranks judges. Marks enter as numbers; a table is boxes × judges, None or NaN where a card is missing.
"""

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from math import inf
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from pandas import DataFrame, Series
from scipy import special, stats

Floats = NDArray[np.float64]
Table: TypeAlias = Sequence[Sequence[float | None]] | DataFrame

LEVEL = 0.95
_TAIL = (1 + LEVEL) / 2


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate with its 95 % interval."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Reliability:
    """Intraclass correlations of complete boxes; ``left_out``: boxes with a card missing.

    ``single`` forms: of one judge's mark; ``mean`` forms: of the table's mean. *one_way*: judges taken as drawn anew
    for each box, ICC(1,·); *absolute*: the same judges, whose severity counts as error, ICC(2,·); *consistent*: the
    same judges, severity set aside, ICC(3,·): what matters where all boxes of a flight met all its judges.
    """

    boxes: int
    judges: int
    left_out: int
    one_way_single: Interval
    absolute_single: Interval
    consistent_single: Interval
    one_way_mean: Interval
    absolute_mean: Interval
    consistent_mean: Interval


@dataclass(frozen=True, slots=True)
class Concordance:
    """Kendall's W with Friedman's statistic (chi-square with ``degrees`` degrees of freedom) and its p-value."""

    w: float
    chi_square: float
    degrees: int
    p: float


@dataclass(frozen=True, slots=True)
class JudgeSummary:
    """One judge beside the others at their tables; None where the cards do not suffice.

    ``severity``: mean difference from the mean of the others for the same boxes, in marks; below nought is harder.
    ``spread``: standard deviation of the judge's marks within flights. ``agreement``: correlation with the mean of the
    others within flights; it cannot reach 1, as that mean is itself uncertain.
    """

    cards: int
    severity: Interval | None
    spread: Interval | None
    agreement: Interval | None


@dataclass(frozen=True, slots=True)
class _Squares:
    """Two-way analysis of variance of a complete table: sums of squares of boxes, judges and the rest."""

    boxes: int
    judges: int
    of_boxes: float
    of_judges: float
    of_rest: float


def reliability(table: Table) -> Reliability | None:
    """Intraclass correlations of a table of marks; None below two complete boxes or two judges, or if no mark differs.

    With mean squares R of boxes, C of judges, E of the rest, W within boxes, n boxes and k judges:
    ICC(1,1) = (R − W) ÷ (R + (k − 1) W), ICC(2,1) = (R − E) ÷ (R + (k − 1) E + k (C − E) ÷ n),
    ICC(3,1) = (R − E) ÷ (R + (k − 1) E); of the mean: (R − W) ÷ R, (R − E) ÷ (R + (C − E) ÷ n), (R − E) ÷ R.
    They may come out negative (judges agree less than by chance), of the mean even −inf (all boxes' means are equal).

    Missing data: boxes with a card missing are left out and counted.

    Sources: Shrout and Fleiss (1979); intervals: McGraw and Wong (1996), from memory. Tested against the worked example
    of Shrout and Fleiss and against pingouin.
    """
    marks = _complete(table)
    if marks is None or np.ptp(marks) == 0:
        return None
    found = _squares(marks)
    n, k = found.boxes, found.judges
    r, c, e = found.of_boxes / (n - 1), found.of_judges / (k - 1), found.of_rest / ((n - 1) * (k - 1))
    w = (found.of_judges + found.of_rest) / (n * (k - 1))
    one_way = _single(r, w, n - 1, n * (k - 1), k)
    consistent = _single(r, e, n - 1, (n - 1) * (k - 1), k)
    absolute = _absolute(r, c, e, n, k)
    return Reliability(
        n,
        k,
        len(table) - n,
        one_way,
        absolute,
        consistent,
        *(_of_mean(single, k) for single in (one_way, absolute, consistent)),
    )


def pooled_reliability(tables: Iterable[Table]) -> Interval | None:
    """ICC(3,k) over many flights: how reliable the mean of a table of judges is within a flight, on the whole.

    The mean squares are pooled over the flights by their degrees of freedom, so differences between flights do not
    count as agreement. Where tables differ in size, it is for their mean size (weighted by boxes − 1) and the interval
    is approximate. None where there is nothing to pool.
    """
    many = [table for table in (_complete(each) for each in tables) if table is not None]
    squares = [_squares(marks) for marks in many]
    between = sum(each.boxes - 1 for each in squares)
    rest = sum((each.boxes - 1) * (each.judges - 1) for each in squares)
    if not squares or not (e := sum(each.of_rest for each in squares) / rest):
        return None
    k = sum((each.boxes - 1) * each.judges for each in squares) / between
    r = sum(each.of_boxes for each in squares) / between
    return _of_mean(_single(r, e, between, rest, k), k)


def _complete(table: Table) -> Floats | None:
    marks = DataFrame(table, dtype=np.float64).dropna().to_numpy()
    return marks if min(marks.shape) >= 2 else None


def _squares(marks: Floats) -> _Squares:
    n, k = marks.shape
    centred = marks - marks.mean()
    rows, columns = centred.mean(axis=1), centred.mean(axis=0)
    rest = centred - rows[:, None] - columns
    return _Squares(n, k, k * float(rows @ rows), n * float(columns @ columns), float((rest**2).sum()))


def _single(r: float, error: float, between: int, within: int, k: float) -> Interval:
    """(R − error) ÷ (R + (k − 1) error), with the exact interval from F = R ÷ error."""
    if error == 0:
        return Interval(1.0, 1.0, 1.0)
    f = r / error
    low = f / float(special.fdtri(between, within, _TAIL))
    high = f * float(special.fdtri(within, between, _TAIL))
    return Interval(*((value - 1) / (value + k - 1) for value in (f, low, high)))


def _absolute(r: float, c: float, e: float, n: int, k: int) -> Interval:
    if e == 0 and c == 0:
        return Interval(1.0, 1.0, 1.0)
    whole = r + (k - 1) * e + k * (c - e) / n
    if whole <= 1e-12 * e:
        return Interval(-inf, -inf, 1.0)
    estimate = (r - e) / whole
    if estimate >= 1:
        return Interval(estimate, estimate, estimate)
    share = k * estimate / (n * (1 - estimate))
    rest = 1 + share * (n - 1)
    # Satterthwaite's degrees of freedom for the mixture of C and E.
    parts = (share * c) ** 2 / (k - 1) + (rest * e) ** 2 / ((n - 1) * (k - 1))
    degrees = (share * c + rest * e) ** 2 / parts
    below, above = float(special.fdtri(n - 1, degrees, _TAIL)), float(special.fdtri(degrees, n - 1, _TAIL))
    mixed = k * c + (k * n - k - n) * e
    low = n * (r - below * e) / (below * mixed + n * r)
    return Interval(estimate, low, n * (above * r - e) / (mixed + n * above * r))


def _of_mean(single: Interval, k: float) -> Interval:
    """Spearman and Brown: what k judges' mean has when one has this."""

    def of_mean(value: float) -> float:
        below = 1 + (k - 1) * value
        return k * value / below if below > 1e-12 else -inf

    return Interval(of_mean(single.estimate), of_mean(single.low), of_mean(single.high))


def concordance(table: Table) -> Concordance | None:
    """Kendall's W of a flight: 1 where all judges rank the boxes alike, 0 where their ranks cancel out.

    W = 12 S ÷ (m² (n³ − n) − m Σ (t³ − t)) for n boxes and m judges, S the sum of squares of the boxes' rank sums about
    their mean, t the sizes of a judge's ties; equal marks share their mean rank. Friedman's chi-square is m (n − 1) W;
    below about six boxes its p-value is rough.

    Missing data: boxes with a card missing are left out. None below two boxes or judges, or if every judge ties all.

    Sources: Kendall and Babington Smith (1939), Friedman (1937), from memory. Tested against Hollander and Wolfe's and
    Conover's examples and scipy.
    """
    marks = _complete(table)
    if marks is None:
        return None
    n, m = marks.shape
    ranks = np.apply_along_axis(stats.rankdata, 0, marks)
    sums = ranks.sum(axis=1)
    ties = sum(int((sizes**3 - sizes).sum()) for sizes in (np.unique(row, return_counts=True)[1] for row in marks.T))
    most = m * m * (n**3 - n) - m * ties
    if most == 0:
        return None
    w = float(12 * ((sums - sums.mean()) ** 2).sum() / most)
    chi_square = m * (n - 1) * w
    return Concordance(w, chi_square, n - 1, float(special.chdtrc(n - 1, chi_square)))


def judges(cards: DataFrame) -> dict[Hashable, JudgeSummary]:
    """Every judge's summary, from all cards of the contests to be seen together.

    `cards`: a row for each, with the columns `flight`, `box`, `judge` and `mark`.

    Severity: Student's interval over the differences, box by box. Spread: chi-square. Agreement: Fisher's z. Marks are
    centred within flights, so that a judge of strong flights does not look mild.

    Missing data: a box that a judge marked alone says nothing of severity or agreement. Raises ValueError where a
    judge has two marks for a box.

    Sources: textbook intervals. Tested against scipy's and by simulated coverage.
    """
    twice = cards[cards.duplicated(["flight", "box", "judge"])]
    if not twice.empty:
        card = twice.iloc[0]
        raise ValueError(f"two marks of judge {card.judge} for box {card.box} of {card.flight}; keep one")
    marks = cards.groupby(["flight", "box"])["mark"]
    number = marks.transform("size")
    others = (marks.transform("sum") - cards["mark"]) / (number - 1)
    beside = cards.assign(others=others.where(number > 1))
    return {judge: _summary(own) for judge, own in beside.groupby("judge", sort=False)}


def _summary(own: DataFrame) -> JudgeSummary:
    """`own`: the judge's cards, each with the mean of the `others` at its box, NaN where there are none."""
    met = own.dropna(subset="others")
    return JudgeSummary(
        len(own),
        _mean(met["mark"] - met["others"]),
        _deviation(*_centred(own)),
        _correlation(*_centred(met)),
    )


def _centred(cards: DataFrame) -> tuple[DataFrame, int]:
    """Marks and others' means about their means in each flight, and the degrees of freedom that leaves."""
    flights = cards.groupby("flight")[["mark", "others"]]
    return cards[["mark", "others"]] - flights.transform("mean"), len(cards) - flights.ngroups


def _mean(values: Series) -> Interval | None:
    if len(values) < 2:
        return None
    half = float(special.stdtrit(len(values) - 1, _TAIL)) * float(values.std(ddof=1)) / len(values) ** 0.5
    mean = float(values.mean())
    return Interval(mean, mean - half, mean + half)


def _deviation(centred: DataFrame, degrees: int) -> Interval | None:
    if degrees < 1:
        return None
    squares = float((centred["mark"] ** 2).sum())
    bounds = (degrees, float(special.chdtri(degrees, 1 - _TAIL)), float(special.chdtri(degrees, _TAIL)))
    return Interval(*((squares / bound) ** 0.5 for bound in bounds))


def _correlation(centred: DataFrame, degrees: int) -> Interval | None:
    if degrees < 3:
        return None
    own, others = float(centred["mark"] @ centred["mark"]), float(centred["others"] @ centred["others"])
    if own < 1e-18 or others < 1e-18:
        return None
    r = max(-1.0, min(1.0, float(centred["mark"] @ centred["others"]) / (own * others) ** 0.5))
    if abs(r) > 1 - 1e-12:
        return Interval(r, r, r)
    z, half = np.arctanh(r), float(special.ndtri(_TAIL)) / (degrees - 2) ** 0.5
    return Interval(r, float(np.tanh(z - half)), float(np.tanh(z + half)))
