"""Best third against worst third, and the intervals beside each difference."""

import pytest
from scipy import stats

from reports.rules.compare import Logged, compare, newcombe_interval, welch_interval, wilson_interval


def test_wilson_interval_of_a_published_example():
    """Newcombe, Statistics in Medicine 17 (1998) 857–872, table I, method 3: 81 of 263, and 15 of 148; from memory."""
    assert wilson_interval(81, 263) == pytest.approx((0.2553, 0.3662), abs=5e-5)
    assert wilson_interval(15, 148) == pytest.approx((0.0624, 0.1605), abs=5e-5)


@pytest.mark.parametrize(("count", "of"), [(0, 3), (1, 3), (3, 3), (7, 11), (0, 20)])
def test_wilson_interval_against_scipy(count, of):
    reference = stats.binomtest(count, of).proportion_ci(method="wilson")
    assert wilson_interval(count, of) == pytest.approx((reference.low, reference.high), abs=1e-12)


@pytest.mark.parametrize(
    ("counts", "bounds"),
    [
        ((56, 70, 48, 80), (0.0524, 0.3339)),
        ((9, 10, 3, 10), (0.1705, 0.8090)),
        ((5, 56, 0, 29), (-0.0381, 0.1926)),
        ((10, 10, 0, 10), (0.6075, 1.0000)),
    ],
)
def test_newcombe_interval_of_published_examples(counts, bounds):
    """Newcombe, Statistics in Medicine 17 (1998) 873–890, table II, method 10; figures from memory."""
    assert newcombe_interval(*counts) == pytest.approx(bounds, abs=5e-5)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ([275.0, 280.0, 268.0], [250.0, 300.0, 262.0]),
        ([150.0, 149.0], [120.0, 160.0, 131.0, 115.0]),
        ([3.1, 2.9, 3.4, 3.3], [2.0, 2.0, 2.0, 2.1]),
    ],
)
def test_welch_interval_against_scipy(one, other):
    reference = stats.ttest_ind(one, other, equal_var=False).confidence_interval(0.95)
    assert welch_interval(one, other) == pytest.approx((reference.low, reference.high), rel=1e-12)


def test_no_interval_from_one_value_or_from_values_that_never_vary():
    assert welch_interval([275.0], [250.0, 260.0]) == (None, None)
    assert welch_interval([275.0, 275.0], [250.0, 250.0]) == (None, None)


def box(score, *, pit=None, wood=None):
    return Logged(score, {} if pit is None else {"pit": pit}, {} if wood is None else {"wood": wood})


def test_fewer_than_six_boxes_are_not_enough():
    assert compare([box(score) for score in range(5)]) is None


def test_the_best_third_is_compared_with_the_worst():
    """Nine boxes: 1 2 3 against 7 8 9; the three between are left out."""
    boxes = [
        box(8, pit=276, wood="oak"),
        box(1, pit=240, wood="hickory"),
        box(5, pit=999, wood="ash"),
        box(9, pit=280, wood="oak"),
        box(2, pit=250, wood="hickory"),
        box(7, pit=272, wood="oak"),
        box(3, pit=245, wood="oak"),
        box(4, pit=999, wood="ash"),
        box(6, pit=999, wood="ash"),
    ]
    found = compare(boxes)
    assert (found.boxes, found.third) == (9, 3)
    pit = next(each for each in found.differences if each.name == "pit")
    assert (pit.best, pit.worst, pit.of_best, pit.of_worst) == (276, 245, 3, 3)
    reference = stats.ttest_ind([276, 280, 272], [240, 250, 245], equal_var=False).confidence_interval(0.95)
    assert (pit.low, pit.high) == pytest.approx((reference.low, reference.high))
    assert pit.is_clear
    assert found.differences[0] == pit, "clear differences come first"
    oak = next(each for each in found.differences if each.value == "oak")
    assert (oak.best, oak.worst) == (1.0, pytest.approx(1 / 3))
    assert not oak.is_clear, "three of three against one of three can be luck"
    assert [each.value for each in found.differences if each.name == "wood"] == ["hickory", "oak"]


def test_what_was_noted_on_one_side_only_is_not_compared():
    boxes = [box(score, pit=250 if score < 3 else None) for score in range(9)]
    assert compare(boxes).differences == ()


def test_boxes_that_did_equally_well_are_never_parted():
    """Scores 1 1 1 2 3 4 5: of seven boxes two are a third; the three equal worst ones stay out together."""
    boxes = [box(score, pit=pit) for score, pit in zip([1, 1, 1, 2, 3, 4, 5], [1, 2, 3, 4, 5, 6, 7], strict=True)]
    assert compare(boxes).differences == ()
    assert compare([box(3, pit=1)] * 6).differences == ()
