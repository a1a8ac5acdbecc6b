"""Which cards of a box do not count, and why, as codes with their figures.

Every rule takes rows in card order (weighted mark, marks in sheet order, seat) and returns the rows kept, in order,
and the rows gone with a reason each. A new rule is one function here and one row of RULES, beside its row in
contest.rules.ruleset.parts.DROPS; judging.rules.workings puts its reason into words.
"""

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal, localcontext
from fractions import Fraction
from functools import cache
from itertools import zip_longest
from math import atan, cos, gamma, pi, sqrt

from contest.rules.ruleset import RuleSet
from contest.rules.say import number_text, total_text
from judging.rules.rows import Cut, Cutter, Reason, Row, Texts


def cutter(rules: RuleSet, text: Texts) -> Cutter:
    """Return the rule set's drop as a function of a box's rows. ``text`` writes weighted marks exactly."""
    return RULES[rules.drop.rule](rules, text)


def _kept_below(rules: RuleSet) -> int:
    """Return the number of cards below which a box keeps them all."""
    return rules.per_entry if rules.drop.when_short == "keep" else 0


def _none(rules: RuleSet, text: Texts) -> Cutter:
    return lambda rows: (rows, ())


def _lowest(rules: RuleSet, text: Texts) -> Cutter:
    count, fewest, kept_below, reasons = rules.drop.count, rules.fewest, _kept_below(rules), _Reasons("lowest", text)

    def drop(rows: Sequence[Row]) -> Cut:
        number = len(rows)
        if number < kept_below:
            return rows, ()
        lows = min(count, number - fewest)
        kept = rows[lows:]
        nearest = kept[0][0]
        return kept, [(row, reasons[row[0], nearest]) for row in rows[:lows]]

    return drop


def _highest(rules: RuleSet, text: Texts) -> Cutter:
    count, fewest, kept_below, reasons = rules.drop.count, rules.fewest, _kept_below(rules), _Reasons("highest", text)

    def drop(rows: Sequence[Row]) -> Cut:
        if len(rows) < kept_below:
            return rows, ()
        left = len(rows) - min(count, len(rows) - fewest)
        kept = rows[:left]
        nearest = kept[-1][0]
        return kept, [(row, reasons[row[0], nearest]) for row in reversed(rows[left:])]

    return drop


def _highest_and_lowest(rules: RuleSet, text: Texts) -> Cutter:
    count, fewest, kept_below = rules.drop.count, rules.fewest, _kept_below(rules)
    low_reasons, high_reasons = _Reasons("lowest", text), _Reasons("highest", text)

    def drop(rows: Sequence[Row]) -> Cut:
        if len(rows) < kept_below:
            return rows, ()
        # In turn, the lowest first: where the room is odd, the front gives one more.
        takes = min(2 * count, len(rows) - fewest)
        lows, left = (takes + 1) // 2, len(rows) - takes // 2
        kept = rows[lows:left]
        least, most = kept[0][0], kept[-1][0]
        low = [(row, low_reasons[row[0], least]) for row in rows[:lows]]
        high = [(row, high_reasons[row[0], most]) for row in reversed(rows[left:])]
        return kept, [gone for pair in zip_longest(low, high) for gone in pair if gone is not None]

    return drop


class _Reasons(dict[tuple[int, int], Reason]):
    """From a dropped card's points and those of the nearest card that counts to the reason, each made once."""

    def __init__(self, end: str, text: Texts) -> None:
        super().__init__()
        self.end, self.text = end, text

    def __missing__(self, key: tuple[int, int]) -> Reason:
        points, nearest = key
        reason = self[key] = Reason(self.end, self.text[points], self.text[nearest])
        return reason


def _one_by_one(rules: RuleSet, find: Callable[[Sequence[Row]], tuple[int, Reason] | None]) -> Cutter:
    """Drop the card that ``find`` names, by its place, again and again while it names one and may."""

    kept_below = _kept_below(rules)

    def drop(rows: Sequence[Row]) -> Cut:
        if len(rows) < kept_below:
            return rows, ()
        kept, gone = list(rows), []
        for _ in range(min(rules.drop.count, len(rows) - rules.fewest)):
            extreme = find(kept)
            if extreme is None:
                break
            gone.append((kept.pop(extreme[0]), extreme[1]))
        return kept, gone

    return drop


def _grubbs(rules: RuleSet, text: Texts) -> Cutter:
    """Grubbs' test for one outlier, two-sided, repeated.

    G = max|x − mean| ÷ s; with d = n·x − Σx, G² = d²·(n − 1) ÷ Σd², a ratio of integers. Source:
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1.
    """
    alpha = rules.drop.alpha

    def find(rows: Sequence[Row]) -> tuple[int, Reason] | None:
        n = len(rows)
        total = sum(row[0] for row in rows)
        away = [abs(n * row[0] - total) for row in rows]
        spread = sum(distance * distance for distance in away)
        if n < 3 or spread == 0:
            return None
        at = away.index(max(away))
        square, limit = Fraction(away[at] ** 2 * (n - 1), spread), critical_square(n, alpha)
        if square <= limit:
            return None
        return at, Reason("grubbs", total_text(square), total_text(limit))

    return _one_by_one(rules, find)


@cache
def critical_square(n: int, alpha: Decimal) -> Fraction:
    """Return the square of Grubbs' two-sided critical value for n ≥ 3 values, at 12 significant digits.

    (n − 1)² ÷ n · t² ÷ (n − 2 + t²), with t the alpha ÷ 2n point of Student's t with n − 2 degrees of
    freedom. Source: NIST/SEMATECH e-Handbook, 1.3.5.17.1.
    """
    from scipy.special import stdtrit  # the quantile behind scipy.stats.t, without the second that one takes

    freedom, both_tails = n - 2, Fraction(alpha) / n
    rough = -float(stdtrit(freedom, float(both_tails) / 2))
    with localcontext(prec=_DIGITS):
        sine, _ = _sine_and_cosine(_quantile_angle(freedom, both_tails, atan(rough / sqrt(freedom))))
        square = sine * sine * (n - 1) ** 2 / n
        # First to forty digits: for four cards the square is a fraction, whose half must stay exactly a half.
        return Fraction(f"{Decimal(f'{square:.40e}'):.11e}")


_DIGITS = 60
_PI = Decimal("3.14159265358979323846264338327950288419716939937510582097494")


def _quantile_angle(freedom: int, both_tails: Fraction, angle: float) -> Decimal:
    """Return arctan(t / sqrt(freedom)) where both tails of Student's t beyond t hold ``both_tails``.

    Binary fractions are too coarse to round the twelfth digit, so Newton's method takes the rough ``angle`` on.
    """
    inside = 1 - Decimal(both_tails.numerator) / both_tails.denominator
    slope = 2 / sqrt(pi) * gamma((freedom + 1) / 2) / gamma(freedom / 2)
    exact = Decimal(angle)
    for _ in range(20):
        step = (_between(freedom, exact) - inside) / Decimal(slope * cos(exact) ** (freedom - 1))
        exact -= step
        if abs(step) < Decimal("1e-45"):
            break
    return exact


def _between(freedom: int, angle: Decimal) -> Decimal:
    """Return the chance that Student's t lies within ± sqrt(freedom) · tan(angle).

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4.
    """
    sine, cosine = _sine_and_cosine(angle)
    odd = freedom % 2
    term, total = cosine if odd else Decimal(1), Decimal(0)
    for power in range(odd, freedom - 1, 2):
        total += term
        term *= cosine * cosine * (power + 1) / (power + 2)
    return 2 / _PI * (angle + sine * total) if odd else sine * total


def _sine_and_cosine(angle: Decimal) -> tuple[Decimal, Decimal]:
    sums, term = [Decimal(0), Decimal(0)], Decimal(1)
    for power in range(_DIGITS):
        sums[power % 2] += term if power % 4 < 2 else -term
        term *= angle / (power + 1)
    return sums[1], sums[0]


def _median_distance(rules: RuleSet, text: Texts) -> Cutter:
    """The modified z-score of Iglewicz and Hoaglin (1993), repeated.

    0.6745·|x − median| ÷ MAD; where the median absolute deviation MAD is 0, 0.7979·|x − median| ÷ MeanAD, with MeanAD
    the mean absolute deviation about the median. Where both are 0 all cards are equal, and none goes. Distances are
    kept twofold and the MAD fourfold, so that halves of even counts stay whole.
    """
    limit = Fraction(rules.drop.limit)
    limit_text = number_text(rules.drop.limit)

    def find(rows: Sequence[Row]) -> tuple[int, Reason] | None:
        centre = _twice_median([row[0] for row in rows])
        away = [abs(2 * row[0] - centre) for row in rows]
        furthest = max(away)
        if furthest == 0:
            return None
        median = _twice_median(sorted(away))
        score = (
            Fraction(6745 * 2 * furthest, 10000 * median)
            if median
            else Fraction(7979 * furthest * len(rows), 10000 * sum(away))
        )
        if score <= limit:
            return None
        return away.index(furthest), Reason("median_distance", total_text(score), limit_text)

    return _one_by_one(rules, find)


def _twice_median(ordered: Sequence[int]) -> int:
    half = len(ordered) // 2
    return ordered[half] + ordered[-half - 1]


RULES: Mapping[str, Callable[[RuleSet, Texts], Cutter]] = {
    "none": _none,
    "lowest": _lowest,
    "highest": _highest,
    "highest_and_lowest": _highest_and_lowest,
    "grubbs": _grubbs,
    "median_distance": _median_distance,
}
