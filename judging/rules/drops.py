"""Which cards of a box do not count, and why, in words.

Every rule takes rows in card order (weighted mark, marks in sheet order, seat) and answers with the rows kept, in
order, and the rows gone with a reason each. A new rule is one function here and one row of RULES, beside its row in
contest.rules.ruleset.parts.DROPS.
"""

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import cache
from itertools import zip_longest
from math import sqrt

from contest.rules.ruleset import RuleSet
from contest.rules.say import counted, number_text, ordinal, rounded_text
from judging.rules.rows import Cut, Cutter, Row, Texts


def cutter(rules: RuleSet, text: Texts) -> Cutter:
    """The rule set's drop as a function of a box's rows. ``text`` puts weighted marks into words."""
    return RULES[rules.drop.rule](rules, text)


def _kept_below(rules: RuleSet) -> int:
    """A box with fewer cards than this keeps them all."""
    return rules.per_entry if rules.drop.when_short == "keep" else 0


def _none(rules: RuleSet, text: Texts) -> Cutter:
    return lambda rows: (rows, ())


def _lowest(rules: RuleSet, text: Texts) -> Cutter:
    count, fewest, kept_below, reasons = rules.drop.count, rules.fewest, _kept_below(rules), _Reasons(text)

    def drop(rows: Sequence[Row]) -> Cut:
        number = len(rows)
        if number < kept_below:
            return rows, ()
        lows = min(count, number - fewest)
        return rows[lows:], reasons.lowest(rows, lows)

    return drop


def _highest(rules: RuleSet, text: Texts) -> Cutter:
    count, fewest, kept_below, reasons = rules.drop.count, rules.fewest, _kept_below(rules), _Reasons(text)

    def drop(rows: Sequence[Row]) -> Cut:
        if len(rows) < kept_below:
            return rows, ()
        highs = min(count, len(rows) - fewest)
        return rows[: len(rows) - highs], reasons.highest(rows, highs)

    return drop


def _highest_and_lowest(rules: RuleSet, text: Texts) -> Cutter:
    count, fewest, kept_below, reasons = rules.drop.count, rules.fewest, _kept_below(rules), _Reasons(text)

    def drop(rows: Sequence[Row]) -> Cut:
        if len(rows) < kept_below:
            return rows, ()
        # In turn, the lowest first: where the room is odd, the front gives one more.
        takes = min(2 * count, len(rows) - fewest)
        lows, highs = (takes + 1) // 2, takes // 2
        pairs = zip_longest(reasons.lowest(rows, lows), reasons.highest(rows, highs))
        return rows[lows : len(rows) - highs], [gone for pair in pairs for gone in pair if gone is not None]

    return drop


class _Reasons(dict[tuple[int, int, int, bool], str]):
    """Why a card at an end goes, by number of cards, place (-1 the highest), points, and whether a kept card beside
    it has the same points; each sentence is made once."""

    def __init__(self, text: Texts) -> None:
        super().__init__()
        self.text = text

    def lowest(self, rows: Sequence[Row], lows: int) -> list[tuple[Row, str]]:
        """The first rows as gone, each with its reason."""
        number, beside = len(rows), rows[lows][0]
        gone: list[tuple[Row, str]] = []
        for place in range(lows):
            row = rows[place]
            points = row[0]
            gone.append((row, self[number, place, points, points == beside]))
        return gone

    def highest(self, rows: Sequence[Row], highs: int) -> list[tuple[Row, str]]:
        """The last rows as gone, the highest first."""
        number, beside = len(rows), rows[-1 - highs][0]
        gone: list[tuple[Row, str]] = []
        for place in range(-1, -1 - highs, -1):
            row = rows[place]
            points = row[0]
            gone.append((row, self[number, place, points, points == beside]))
        return gone

    def __missing__(self, key: tuple[int, int, int, bool]) -> str:
        number, place, points, level = key
        end, nth, side = ("lowest", place + 1, "first") if place >= 0 else ("highest", -place, "last")
        which = end if nth == 1 else f"{ordinal(nth)} {end}"
        reason = f"the {which} of {counted(number, 'card')}, {self.text[points]}"
        if level:
            reason += f"; of equal cards the {side} by marks, then seat, goes"
        self[key] = reason
        return reason


def _one_by_one(rules: RuleSet, find: Callable[[Sequence[Row]], tuple[int, str] | None]) -> Cutter:
    """Drop what ``find`` names, its place and the reason, again and again while it names a card and may."""

    kept_below = _kept_below(rules)

    def drop(rows: Sequence[Row]) -> Cut:
        if len(rows) < kept_below:
            return rows, ()
        kept, gone = list(rows), []
        for _ in range(min(rules.drop.count, len(rows) - rules.fewest)):
            found = find(kept)
            if found is None:
                break
            gone.append((kept.pop(found[0]), found[1]))
        return kept, gone

    return drop


def _grubbs(rules: RuleSet, text: Texts) -> Cutter:
    """Grubbs' test for one outlier, two-sided, repeated.

    G = max|x − mean| ÷ s; with d = n·x − Σx, G² = d²·(n − 1) ÷ Σd², a ratio of integers. Source:
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1.
    """
    alpha = rules.drop.alpha

    def find(rows: Sequence[Row]) -> tuple[int, str] | None:
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
        g, most = _roots(square, limit)
        mean = rounded_text(Fraction(total, n * text.unit))
        return at, (
            f"{text[rows[at][0]]} is {g} standard deviations from the mean of {counted(n, 'card')}, {mean}; "
            f"Grubbs' test at {number_text(alpha)} allows {most}"
        )

    return _one_by_one(rules, find)


@cache
def critical_square(n: int, alpha: Decimal) -> Fraction:
    """The square of Grubbs' two-sided critical value for n ≥ 3 values, at 12 significant digits.

    (n − 1)² ÷ n · t² ÷ (n − 2 + t²), with t the alpha ÷ 2n point of Student's t with n − 2 degrees of
    freedom. Source: NIST/SEMATECH e-Handbook, 1.3.5.17.1.
    """
    from scipy.special import stdtrit  # the quantile behind scipy.stats.t, without the second that one takes

    t = float(stdtrit(n - 2, float(alpha) / (2 * n)))
    return Fraction(f"{(n - 1) ** 2 / n * t * t / (n - 2 + t * t):.11e}")


def _roots(square: Fraction, limit: Fraction) -> tuple[str, str]:
    """Both square roots, for reading, with as many decimals as it takes to tell them apart."""
    for places in (4, 8):
        texts = f"{sqrt(square):.{places}f}", f"{sqrt(limit):.{places}f}"
        if texts[0] != texts[1]:
            break
    return texts


def _median_distance(rules: RuleSet, text: Texts) -> Cutter:
    """Modified z-score, 0.6745·|x − median| ÷ MAD, after Iglewicz and Hoaglin (1993), repeated.

    Distances are held twofold and the MAD fourfold, so that halves of even counts stay whole.
    """
    limit = Fraction(rules.drop.limit)

    def find(rows: Sequence[Row]) -> tuple[int, str] | None:
        centre = _twice_median([row[0] for row in rows])
        away = [abs(2 * row[0] - centre) for row in rows]
        spread = _twice_median(sorted(away))
        at = away.index(max(away))
        if spread == 0 or (score := Fraction(6745 * 2 * away[at], 10000 * spread)) <= limit:
            return None
        distance, median = (rounded_text(Fraction(each, 2 * text.unit)) for each in (away[at], centre))
        return at, (
            f"{text[rows[at][0]]} is {distance} from the median of {counted(len(rows), 'card')}, {median}: "
            f"modified z-score {rounded_text(score)}, above {number_text(rules.drop.limit)}"
        )

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
