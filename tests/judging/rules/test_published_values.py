"""Values published elsewhere, each with its source beside it."""

import random
from decimal import Decimal
from fractions import Fraction
from math import isclose, sqrt

import pytest
from scipy import stats

from contest.rules.ruleset import shipped
from judging.rules.drops import critical_square, cutter
from judging.rules.rows import Texts
from judging.rules.tally import tally
from tests.judging.rules.helpers import box, marks, one_criterion, result, results

# Tietjen-Moore data. Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1 (Grubbs' test).
TIETJEN_MOORE = "199.31 199.53 200.19 200.82 201.92 201.95 202.18 245.57"
# Source: Iglewicz and Hoaglin (1993), How to Detect and Handle Outliers; citation and data from memory.
IGLEWICZ_HOAGLIN = "2.1 2.6 2.4 2.5 2.3 2.1 2.3 2.6 8.2 8.3"
# Copper in flour, 24 values. Source: MASS `chem` (Venables and Ripley, Modern Applied Statistics with S).
CHEM = (
    "2.90 3.10 3.40 3.40 3.70 3.70 2.80 2.50 2.40 2.40 2.70 2.20 "
    "5.28 3.37 3.03 3.03 28.95 3.77 3.40 2.20 3.50 3.60 3.70 3.70"
)


def dropped(text, **drop):
    """The values that a rule drops from a data set with two decimals, in order, each with its figure."""
    values = sorted(marks(text))
    rules = one_criterion(cards=len(values), count=len(values) - 1, **drop)
    rows = [(int(value * 100), (value,), f"{seat:02}") for seat, value in enumerate(values)]
    _, gone = cutter(rules, Texts(100))(rows)
    return [(row[1][0], Fraction(reason.value)) for row, reason in gone]


def test_nist_grubbs():
    # The e-Handbook: mean 206.43375, G 2.46876461, two-sided critical value at .05 for eight values 2.12665.
    (first, *more) = dropped(TIETJEN_MOORE, rule="grubbs")
    assert first[0] == Decimal("245.57")
    assert isclose(sqrt(first[1]), 2.46876461, abs_tol=5e-9)
    assert isclose(sqrt(critical_square(8, Decimal("0.05"))), 2.12665, abs_tol=5e-6)
    assert more == []
    # One-sided .05, two-sided .10: 2.03165200.
    assert isclose(sqrt(critical_square(8, Decimal("0.1"))), 2.031652, abs_tol=5e-7)


# Recomputed from the e-Handbook's formula.
@pytest.mark.parametrize(
    ("n", "one_sided", "two_sided"), [(5, 1.6714, 1.7150), (6, 1.8221, 1.8871), (7, 1.9381, 2.0200)]
)
def test_grubbs_critical_values(n, one_sided, two_sided):
    assert isclose(sqrt(critical_square(n, Decimal("0.1"))), one_sided, abs_tol=5e-5)
    assert isclose(sqrt(critical_square(n, Decimal("0.05"))), two_sided, abs_tol=5e-5)


@pytest.mark.parametrize("n", [3, 4, 6, 10, 30, 100])
@pytest.mark.parametrize("alpha", ["0.2", "0.05", "0.001"])
def test_grubbs_critical_square_has_twelve_digits_of_the_library_value(n, alpha):
    # Reference library: scipy.stats.t, here by its survival function's inverse.
    t = stats.t.isf(float(alpha) / (2 * n), n - 2)
    square = (n - 1) ** 2 / n * t**2 / (n - 2 + t**2)
    found = critical_square(n, Decimal(alpha))
    assert isclose(float(found), square, rel_tol=2e-11)
    assert len(str(Decimal(found.numerator) / Decimal(found.denominator)).replace(".", "").rstrip("0")) <= 12


@pytest.mark.parametrize("n", range(3, 13))
def test_three_standard_deviations_can_never_fire_below_eleven(n):
    # Algebra: the largest |z| of n values is (n − 1)/√n, reached by one value apart from n − 1 equal ones.
    values = [0] * (n - 1) + [1]
    mean = Fraction(1, n)
    square = (1 - mean) ** 2 / (sum((value - mean) ** 2 for value in values) / (n - 1))
    assert square == Fraction((n - 1) ** 2, n)
    assert (square > 9) == (n >= 11)
    # And the engine's Grubbs limit stays below this bound, so the rule can fire at any n from 3 on.
    assert critical_square(n, Decimal("0.05")) < square
    alone = result(one_criterion(cards=n, rule="grubbs", count=1), [1] * (n - 1) + [9])
    assert [each.seat for each in alone.dropped] == [str(n)]


def test_largest_z_of_five_and_six():
    # The same algebra: 1.7889 and 2.0412.
    assert isclose(4 / sqrt(5), 1.7889, abs_tol=5e-5)
    six = result(one_criterion(cards=6, rule="grubbs", count=1), [8, 8, 8, 8, 8, 1])
    (dropped_card,) = six.dropped
    assert (dropped_card.rule, dropped_card.value) == ("grubbs", "25/6")
    assert isclose(sqrt(Fraction(dropped_card.value)), 2.0412, abs_tol=5e-5)
    assert isclose(sqrt(Fraction(dropped_card.limit)), 1.8871, abs_tol=5e-5)


def test_modified_z_of_iglewicz_and_hoaglin():
    # Median 2.45, MAD .15, scores 25.86 and 26.31, both above 3.5; ordinary z-scores reach only 1.91.
    found = dropped(IGLEWICZ_HOAGLIN, rule="median_distance")
    assert found[0] == (Decimal("8.3"), Fraction("26.3055"))
    assert [value for value, _ in found] == [Decimal("8.3"), Decimal("8.2")]
    # 8.2 before 8.3 went: 0.6745 × 5.75 ÷ .15.
    assert isclose(0.6745 * 5.75 / 0.15, 25.86, abs_tol=5e-3)
    # Grubbs' test, masked by the pair, drops neither.
    assert dropped(IGLEWICZ_HOAGLIN, rule="grubbs") == []


def test_modified_z_of_the_nist_data():
    # Recomputed with general libraries: 245.57 has 29.9627; the next in size, −1.396, stays.
    ((value, score),) = dropped(TIETJEN_MOORE, rule="median_distance")
    assert value == Decimal("245.57")
    assert isclose(score, 29.9627, abs_tol=5e-5)


def test_median_and_mad_of_chem():
    # R: median 3.385, MAD .526323 (with R's constant 1.4826, so .355 without).
    (first, *_) = dropped(CHEM, rule="median_distance")
    assert first[0] == Decimal("28.95")
    assert isclose(0.355 * 1.4826, 0.526323, abs_tol=5e-7)
    assert first[1] == Fraction("48.5735")  # 0.6745 × (28.95 − 3.385) ÷ 0.355


def test_modified_z_uses_the_mean_distance_when_mad_is_0():
    # Iglewicz and Hoaglin (1993), as the design restates them: with MAD 0, 0.7979·|x − median| ÷ MeanAD. Of 30, 30,
    # 30, 30, 31, 1 the median is 30, the distances 0, 0, 0, 0, 1, 29 and their mean 5: the 1 has 0.7979 × 29 ÷ 5.
    cards = [30, 30, 30, 30, 31, 1]
    (card,) = result(one_criterion(rule="median_distance", count=1, limit="3.5"), cards).dropped
    assert (card.seat, card.why) == ("6", "median_distance:4.62782:3.5")
    # Of the five left MAD is 0 again, and the 31 has 0.7979 × 1 ÷ (1 ÷ 5): where two may go, it goes as well.
    two = result(one_criterion(rule="median_distance", count=2, limit="3.5"), cards).dropped
    assert [gone.why for gone in two] == ["median_distance:4.62782:3.5", "median_distance:3.9895:3.5"]


def test_modified_z_drops_none_of_equal_cards():
    assert result(one_criterion(rule="median_distance", count=2), [30] * 6).dropped == ()


# Simulated anew with general libraries (numpy): 15.3 % with fine marks, 7.4 % with marks rounded to whole ones.
@pytest.mark.parametrize(("places", "share"), [(100, 0.152), (1, 0.074)])
def test_median_distance_drops_as_often_as_the_form_says(places, share):
    draw = random.Random(f"panels {places}")
    scale = {"lowest": 2 * places, "highest": 12 * places, "step": 1}
    rules = one_criterion(rule="median_distance", count=1, scale=scale)
    panels = [[round(draw.gauss(7, 0.9) * places) for _ in range(6)] for _ in range(20_000)]
    answer = tally({"ribs": rules}, [box(str(at), panel) for at, panel in enumerate(panels)])
    hit = sum(bool(each.dropped) for each in answer.categories["ribs"]) / len(panels)
    assert abs(hit - share) < 0.008  # three standard errors of 20 000 panels


HALVES = {"lowest": 0, "highest": 20, "step": "0.5"}


def test_diving_seven_judges_two_dropped_at_each_end():
    # A restatement of World Aquatics' rules (rule number from memory): 22.0, and 66.0 at difficulty 3.0.
    cards = marks("7.5 7.0 7.5 7.0 7.5 8.0 6.5")
    drop = {"rule": "highest_and_lowest", "count": 2, "cards": 7, "scale": HALVES}
    assert result(one_criterion(**drop), cards).total == 22
    assert result(one_criterion(**drop, weight="3.0"), cards).total == 66


def test_diving_five_judges_one_dropped_at_each_end():
    # A teaching example: 18.5, and 42.55 at difficulty 2.3.
    cards = marks("6.0 5.5 6.5 7.0 6.0")
    drop = {"rule": "highest_and_lowest", "count": 1, "cards": 5, "scale": HALVES}
    assert result(one_criterion(**drop), cards).total == Fraction("18.5")
    assert result(one_criterion(**drop, weight="2.3"), cards).total == Fraction("42.55")


def test_ski_jumping_style_marks():
    # Five judges, 20 at most, one dropped at each end: 60 of 60.
    rules = one_criterion(rule="highest_and_lowest", count=1, cards=5, scale=HALVES)
    assert result(rules, [20] * 5).total == 60


def test_standard_competition_ranking():
    # 9 8 8 7 rank 1 2 2 4; reference library: scipy.stats.rankdata, method "min".
    found = results(one_criterion(cards=1), *(box(str(100 + at), [mark]) for at, mark in enumerate([9, 8, 8, 7])))
    ranks = [found[str(100 + at)].rank for at in range(4)]
    assert ranks == [1, 2, 2, 4]
    assert ranks == list(stats.rankdata([-9, -8, -8, -7], method="min"))


def test_uneven_weights():
    # Our own invented weights .6875 / 1.9125 / 1.15 sum to 3.75: 75 points a card at 20, 375 at best.
    rules = shipped()["uneven-weights"]
    best = result(rules, [(20, 20, 20)] * 6)
    assert best.total == 375
    assert best.plan.text[best.kept[0][0]] == "75"
    lower = result(rules, [(20, 20, 20)] * 5 + [(20, Decimal("19.5"), 20)])
    assert lower.dropped[0].why == "lowest:74.04375:75"
    assert lower.total == 375
    # Level on all counted marks, separated by the dropped card.
    pair = results(rules, box("101", [(20, 20, 20)] * 5 + [(20, Decimal("19.5"), 20)]), box("102", [(20, 20, 20)] * 6))
    assert (pair["102"].rank, pair["101"].rank) == (1, 2)
    assert pair["101"].decided_by == pair["102"].decided_by == "dropped_cards"
