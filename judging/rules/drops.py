"""Which cards of a box do not count, and why, in words.

Every rule takes the box's rows in card order (weighted mark, marks in sheet order, seat) and the most cards
that may go, and gives back the rows kept, in order, and the rows gone with a reason each. A new rule is one
function and one row of RULES, beside its row in contest.rules.ruleset_parts.DROPS.
"""

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import cache
from math import sqrt

from contest.rules.say import counted, number_text, ordinal, rounded_text
from judging.rules.totals import Plan, Row

Cut = tuple[Sequence[Row], Sequence[tuple[Row, str]]]


def cut(rows: Sequence[Row], plan: Plan) -> Cut:
    """Apply the rule set's drop to a box's rows, which stand in card order."""
    drop, rules = plan.rules.drop, plan.rules
    if drop.when_short == "keep" and len(rows) < rules.per_entry:
        return rows, ()
    return RULES[drop.rule](rows, len(rows) - rules.fewest, plan)


def _none(rows: Sequence[Row], room: int, plan: Plan) -> Cut:
    return rows, ()


def _lowest(rows: Sequence[Row], room: int, plan: Plan) -> Cut:
    return _ends(rows, min(plan.rules.drop.count, room), 0, plan)


def _highest(rows: Sequence[Row], room: int, plan: Plan) -> Cut:
    return _ends(rows, 0, min(plan.rules.drop.count, room), plan)


def _highest_and_lowest(rows: Sequence[Row], room: int, plan: Plan) -> Cut:
    # In turn, the lowest first: where the room is odd, the front gives one more.
    takes = min(2 * plan.rules.drop.count, room)
    return _ends(rows, (takes + 1) // 2, takes // 2, plan)


def _ends(rows: Sequence[Row], lows: int, highs: int, plan: Plan) -> Cut:
    stop = len(rows) - highs
    gone = [(rows[at], _end_reason("lowest", rows, at, at, lows, plan)) for at in range(lows)]
    for place in range(highs):
        at = len(rows) - 1 - place
        gone.append((rows[at], _end_reason("highest", rows, at, place, stop - 1, plan)))
    return rows[lows:stop], gone


def _end_reason(end: str, rows: Sequence[Row], at: int, place: int, beside: int, plan: Plan) -> str:
    """``beside`` is the place of the kept card next to the dropped ones."""
    points = rows[at][0]
    key = (end, len(rows), place, points, rows[beside][0] == points)
    reason = plan.reasons.get(key)
    if reason is None:
        which = end if place == 0 else f"{ordinal(place + 1)} {end}"
        reason = f"the {which} of {counted(len(rows), 'card')}, {plan.text[points]}"
        if key[4]:
            side = "first" if end == "lowest" else "last"
            reason += f"; of equal cards the {side} by marks, then seat, goes"
        plan.reasons[key] = reason
    return reason


def _grubbs(rows: Sequence[Row], room: int, plan: Plan) -> Cut:
    """Grubbs' test for one outlier, two-sided, repeated.

    G = max|x − mean| ÷ s; with d = n·x − Σx, G² = d²·(n − 1) ÷ Σd², a ratio of integers. Source:
    NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1.
    """
    kept, gone = list(rows), []
    alpha = plan.rules.drop.alpha
    for _ in range(min(plan.rules.drop.count, room)):
        n = len(kept)
        if n < 3:
            break
        total = sum(row[0] for row in kept)
        away = [abs(n * row[0] - total) for row in kept]
        spread = sum(distance * distance for distance in away)
        at = away.index(max(away))
        square = Fraction(away[at] ** 2 * (n - 1), spread) if spread else Fraction(0)
        limit = critical_square(n, alpha)
        if square <= limit:
            break
        g, most = _roots(square, limit)
        mean = rounded_text(Fraction(total, n * plan.unit))
        reason = (
            f"{plan.text[kept[at][0]]} is {g} standard deviations from the mean of {counted(n, 'card')}, "
            f"{mean}; Grubbs' test at {number_text(alpha)} allows {most}"
        )
        gone.append((kept.pop(at), reason))
    return kept, gone


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


def _median_distance(rows: Sequence[Row], room: int, plan: Plan) -> Cut:
    """Modified z-score, 0.6745·|x − median| ÷ MAD, after Iglewicz and Hoaglin (1993), repeated.

    Distances are held twofold and the MAD fourfold, so that halves of even counts stay whole.
    """
    kept, gone = list(rows), []
    limit = Fraction(plan.rules.drop.limit)
    for _ in range(min(plan.rules.drop.count, room)):
        centre = _twice_median([row[0] for row in kept])
        away = [abs(2 * row[0] - centre) for row in kept]
        spread = _twice_median(sorted(away))
        at = away.index(max(away))
        if spread == 0 or (score := Fraction(6745 * 2 * away[at], 10000 * spread)) <= limit:
            break
        distance, median = (rounded_text(Fraction(each, 2 * plan.unit)) for each in (away[at], centre))
        reason = (
            f"{plan.text[kept[at][0]]} is {distance} from the median of {counted(len(kept), 'card')}, "
            f"{median}: modified z-score {rounded_text(score)}, above {number_text(plan.rules.drop.limit)}"
        )
        gone.append((kept.pop(at), reason))
    return kept, gone


def _twice_median(ordered: Sequence[int]) -> int:
    half = len(ordered) // 2
    return ordered[half] + ordered[-half - 1]


RULES: Mapping[str, Callable[[Sequence[Row], int, Plan], Cut]] = {
    "none": _none,
    "lowest": _lowest,
    "highest": _highest,
    "highest_and_lowest": _highest_and_lowest,
    "grubbs": _grubbs,
    "median_distance": _median_distance,
}
