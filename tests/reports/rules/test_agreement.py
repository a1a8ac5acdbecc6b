"""Agreement: published values, scipy, and simulated coverage of the intervals."""

import numpy as np
import pytest
from pandas import DataFrame, concat
from scipy import stats

from reports.rules.agreement import concordance, judges, pooled_reliability, reliability

# Source: Shrout and Fleiss (1979), Intraclass correlations, table 2: six targets, four judges.
SHROUT_FLEISS = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
# Source: pingouin's data set `icc`: eight wines, four judges; its values recomputed with pingouin 0.7.
WINES = [[1, 2, 0, 1], [1, 3, 3, 2], [3, 8, 1, 4], [6, 4, 3, 3], [6, 5, 5, 6], [7, 5, 6, 2], [8, 7, 7, 9], [9, 9, 9, 8]]

FORMS = ("one_way_single", "absolute_single", "consistent_single", "one_way_mean", "absolute_mean", "consistent_mean")


@pytest.mark.parametrize(
    ("table", "values", "intervals"),
    [
        (
            SHROUT_FLEISS,
            (0.165742, 0.289764, 0.714841, 0.442797, 0.620051, 0.909316),
            # pingouin 0.7, to two decimals
            ((-0.13, 0.72), (0.02, 0.76), (0.34, 0.95), (-0.88, 0.91), (0.07, 0.93), (0.68, 0.99)),
        ),
        (
            WINES,
            (0.727521, 0.727689, 0.729487, 0.914384, 0.914450, 0.915159),
            ((0.43, 0.93), (0.43, 0.93), (0.43, 0.93), (0.75, 0.98), (0.75, 0.98), (0.75, 0.98)),
        ),
    ],
    ids=["Shrout and Fleiss", "wines"],
)
def test_published_intraclass_correlations(table, values, intervals):
    found = reliability(table)
    got = [getattr(found, form) for form in FORMS]
    assert [each.estimate for each in got] == pytest.approx(values, abs=6e-7)
    assert [(round(each.low, 2), round(each.high, 2)) for each in got] == list(intervals)
    assert (found.boxes, found.judges, found.left_out) == (len(table), 4, 0)


def test_boxes_with_a_card_missing_are_left_out_and_counted():
    found = reliability([*SHROUT_FLEISS, [5, None, 6, 7], [None] * 4])
    assert found.left_out == 2
    assert found.consistent_mean.estimate == pytest.approx(0.909316, abs=6e-7)


def test_a_severe_judge_lowers_absolute_agreement_only():
    severe = [[a, b - 3, c, d] for a, b, c, d in WINES]
    before, after = reliability(WINES), reliability(severe)
    assert after.consistent_mean.estimate == pytest.approx(before.consistent_mean.estimate)
    assert after.absolute_mean.estimate < before.absolute_mean.estimate - 0.02


@pytest.mark.parametrize("table", [[], [[1, 2]], [[1], [2]], [[5, 5], [5, 5]], [[1, None], [None, 2]]])
def test_too_little_for_a_reliability(table):
    assert reliability(table) is None


def test_full_agreement_is_one():
    found = reliability([[7, 7, 7], [8, 8, 8], [5, 5, 5]])
    assert {getattr(found, form).estimate for form in FORMS} == {1.0}
    assert {getattr(found, form).low for form in FORMS} == {1.0}


def test_judges_who_cancel_out_make_a_mean_that_tells_nothing():
    found = reliability([[6, 8], [8, 6]])
    assert found.consistent_single.estimate == pytest.approx(-1.0)
    assert found.consistent_mean.estimate == float("-inf")


def test_one_pooled_flight_is_that_flights_reliability():
    found, single = pooled_reliability([WINES]), reliability(WINES).consistent_mean
    assert found.estimate == pytest.approx(0.915159, abs=6e-7)
    assert (found.low, found.high) == (pytest.approx(single.low), pytest.approx(single.high))
    assert pooled_reliability([]) is None
    assert pooled_reliability([[[1, 2]], [[3]]]) is None


def test_a_strong_flight_beside_a_weak_one_is_not_agreement():
    strong = [[mark + 20 for mark in row] for row in WINES]
    assert pooled_reliability([WINES, strong]).estimate == pytest.approx(0.915159, abs=6e-7)


def test_the_pooled_interval_covers():
    # Simulated flights of seven boxes and six judges, boxes' spread 0.8, error 1.2: reliability .64 ÷ (.64 + 1.44 ÷ 6).
    rng, true, covered = np.random.default_rng(2), 0.64 / (0.64 + 0.24), 0
    for _ in range(400):
        tables = []
        for _ in range(5):
            boxes, seats = rng.normal(0, 0.8, (7, 1)), rng.normal(0, 1, (1, 6))
            tables.append((7 + boxes + seats + rng.normal(0, 1.2, (7, 6))).tolist())
        found = pooled_reliability(tables)
        covered += found.low <= true <= found.high
    assert 0.92 <= covered / 400 <= 0.98


# Source: Hollander and Wolfe (1973), p. 140, rounding first base: 22 players, three ways (R's friedman.test example;
# data from memory, values recomputed).
FIRST_BASE = [
    5.40, 5.50, 5.55, 5.85, 5.70, 5.75, 5.20, 5.60, 5.50, 5.55, 5.50, 5.40, 5.90, 5.85, 5.70, 5.45, 5.55, 5.60,
    5.40, 5.40, 5.35, 5.45, 5.50, 5.35, 5.25, 5.15, 5.00, 5.85, 5.80, 5.70, 5.25, 5.20, 5.10, 5.65, 5.55, 5.45,
    5.60, 5.35, 5.45, 5.05, 5.00, 4.95, 5.50, 5.50, 5.40, 5.45, 5.55, 5.50, 5.55, 5.55, 5.35, 5.45, 5.50, 5.55,
    5.50, 5.45, 5.25, 5.65, 5.60, 5.40, 5.70, 5.65, 5.55, 6.30, 6.30, 6.25,
]  # fmt: skip
# Source: Conover, Practical Nonparametric Statistics, lawn grasses ranked by twelve home owners; from memory.
GRASSES = [
    [4, 3, 2, 1], [4, 2, 3, 1], [3, 1.5, 1.5, 4], [3, 1, 2, 4], [4, 2, 1, 3], [2, 2, 2, 4], [1, 3, 2, 4],
    [2, 4, 1, 3], [3.5, 1, 2, 3.5], [4, 1, 3, 2], [4, 2, 3, 1], [3.5, 1, 2, 3.5],
]  # fmt: skip


@pytest.mark.parametrize(
    ("blocks", "chi_square", "p", "w"),
    [
        (np.reshape(FIRST_BASE, (22, 3)), 11.143, 0.003805, 0.2532468),
        (np.array(GRASSES), 8.097345, 0.0440421, 0.2249263),
    ],
    ids=["Hollander and Wolfe", "Conover"],
)
def test_published_concordance_with_ties(blocks, chi_square, p, w):
    found = concordance(blocks.T.tolist())  # a block is what a judge is
    assert found.chi_square == pytest.approx(chi_square, abs=5e-4)
    assert found.p == pytest.approx(p, abs=5e-7)
    assert found.w == pytest.approx(w, abs=5e-8)
    assert found.degrees == blocks.shape[1] - 1


@pytest.mark.parametrize("seed", range(5))
def test_concordance_against_scipy(seed):
    marks = np.random.default_rng(seed).integers(5, 10, (7, 6))
    theirs = stats.friedmanchisquare(*marks)
    found = concordance(marks.tolist())
    assert (found.chi_square, found.p) == (pytest.approx(theirs.statistic), pytest.approx(theirs.pvalue))


def test_concordance_at_its_ends_and_where_there_is_none():
    assert concordance([[1, 5], [2, 6], [3, 9]]).w == pytest.approx(1.0)
    assert concordance([[1, 3], [2, 2], [3, 1]]).w == pytest.approx(0.0)
    assert concordance([[7, 8], [7, 8]]) is None
    assert concordance([[7, 8]]) is None


def test_a_frame_counts_as_the_same_table():
    rows = [*WINES, [None, 9, 9, 9]]
    assert reliability(DataFrame(rows)) == reliability(rows)
    assert reliability(rows).left_out == 1


def cards(*rows):
    return DataFrame(rows, columns=["flight", "box", "judge", "mark"])


def flight(name, table):
    return cards(
        *(
            (name, box, f"judge {seat}", mark)
            for box, row in enumerate(table)
            for seat, mark in enumerate(row)
            if mark is not None
        )
    )


def test_a_judges_figures_by_scipy():
    marks = np.array(WINES, dtype=float)
    found = judges(flight("ribs 1", WINES))["judge 1"]
    others = marks[:, [0, 2, 3]].mean(axis=1)
    severity = stats.ttest_1samp(marks[:, 1] - others, 0)
    interval = severity.confidence_interval(0.95)
    assert found.cards == 8
    assert found.severity.estimate == pytest.approx((marks[:, 1] - others).mean())
    assert (found.severity.low, found.severity.high) == (pytest.approx(interval.low), pytest.approx(interval.high))
    agreement = stats.pearsonr(marks[:, 1], others)
    interval = agreement.confidence_interval(0.95)
    assert found.agreement.estimate == pytest.approx(agreement.statistic)
    assert (found.agreement.low, found.agreement.high) == (pytest.approx(interval.low), pytest.approx(interval.high))
    assert found.spread.estimate == pytest.approx(marks[:, 1].std(ddof=1))
    # By the table of chi-square with 7 degrees of freedom: 16.01 and 1.690.
    squares = ((marks[:, 1] - marks[:, 1].mean()) ** 2).sum()
    assert (found.spread.low, found.spread.high) == (
        pytest.approx((squares / 16.01) ** 0.5, rel=1e-3),
        pytest.approx((squares / 1.690) ** 0.5, rel=1e-3),
    )


def test_flights_are_centred_before_they_are_pooled():
    strong = [[mark + 20 for mark in row] for row in WINES]
    one, both = (
        judges(flight(1, WINES))["judge 0"],
        judges(concat([flight(1, WINES), flight(2, strong)], ignore_index=True))["judge 0"],
    )
    assert both.agreement.estimate == pytest.approx(one.agreement.estimate)
    assert both.spread.estimate == pytest.approx(one.spread.estimate)
    assert both.severity.estimate == pytest.approx(one.severity.estimate)
    assert both.severity.high - both.severity.low < one.severity.high - one.severity.low


def test_severity_intervals_cover():
    # Severities −0.6, 0, 0.6 and 0: against the others' mean they are 4 ÷ 3 of their distance from the mean of all.
    rng, covered, told = np.random.default_rng(3), 0, 0
    shifts = np.array([-0.6, 0.0, 0.6, 0.0])
    for _ in range(150):
        marks = 7 + rng.normal(0, 1, (8, 1)) + shifts + rng.normal(0, 0.9, (8, 4))
        found = judges(flight("a", marks.tolist()))
        for seat, shift in enumerate(shifts):
            severity = found[f"judge {seat}"].severity
            told += 1
            covered += severity.low <= shift * 4 / 3 <= severity.high
    assert 0.92 <= covered / told <= 0.98


def test_cards_that_do_not_suffice_give_nothing():
    alone = judges(cards(("a", 1, "Birch", 7), ("a", 2, "Birch", 8)))["Birch"]
    assert (alone.cards, alone.severity, alone.agreement) == (2, None, None)
    assert alone.spread.estimate == pytest.approx(0.5**0.5)
    assert judges(cards(("a", 1, "Birch", 7)))["Birch"].spread is None
    assert judges(cards()) == {}
    with pytest.raises(ValueError, match="two marks of judge Birch for box 1 of a; keep one"):
        judges(cards(("a", 1, "Birch", 7), ("a", 1, "Birch", 8)))
