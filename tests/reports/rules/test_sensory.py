"""The triangle test and the paired comparison, against the published tables' numbers and general libraries."""

from fractions import Fraction

import pytest
from scipy import stats

from reports.rules.sensory.counts import (
    answers_needed,
    at_least,
    fewest_answers,
    fewest_tastings,
    how_often,
    power,
    preference,
    preference_words,
    smallest,
    smallest_correct,
    smallest_preference,
    tastings_needed,
    triangle,
    triangle_words,
    tries_for,
)

LEVELS = (Fraction(5, 100), Fraction(1, 100), Fraction(1, 1000))


@pytest.mark.parametrize(
    ("tastings", "needed"),
    [
        (6, (5, 6, None)),
        (12, (8, 9, 10)),
        (18, (10, 12, 13)),
        (24, (13, 15, 16)),
        (30, (15, 17, 19)),
        (36, (18, 20, 22)),
        (48, (22, 25, 27)),
        (60, (27, 30, 33)),
    ],
)
def test_smallest_number_of_right_answers(tastings, needed):
    """ISO 4120's criterion, P(Bin(n, 1/3) ≥ x) ≤ α at α .05, .01, .001; values recomputed with scipy, the standard's
    own table not seen."""
    assert tuple(smallest_correct(tastings, alpha) for alpha in LEVELS) == needed


@pytest.mark.parametrize(
    ("answers", "needed"),
    [(7, (7, 7, None)), (10, (9, 10, 10)), (20, (15, 16, 18)), (30, (20, 22, 24)), (60, (37, 40, 43))],
)
def test_paired_comparison_one_sided(answers, needed):
    """ISO 5495's criterion at α .05, .01, .001; recomputed with scipy, the standard's own table not seen."""
    assert tuple(smallest(answers, Fraction(1, 2), alpha=alpha) for alpha in LEVELS) == needed


@pytest.mark.parametrize(("answers", "needed"), [(10, (9, 10, None)), (20, (15, 17, 18)), (30, (21, 23, 25))])
def test_paired_preference_two_sided(answers, needed):
    """ISO 5495's criterion, two-sided; recomputed with scipy, the standard's own table not seen."""
    assert tuple(smallest_preference(answers, alpha) for alpha in LEVELS) == needed


def test_p_values_are_scipys():
    for tastings, correct in ((3, 2), (12, 8), (30, 15), (96, 40)):
        expected = stats.binomtest(correct, tastings, 1 / 3, alternative="greater").pvalue
        assert float(triangle(tastings, correct).p) == pytest.approx(expected, rel=1e-12)
    for first, second in ((2, 1), (9, 1), (20, 20), (3, 12)):
        expected = stats.binomtest(first, first + second, 0.5).pvalue
        assert float(preference(first, second).p) == pytest.approx(expected, rel=1e-12)


def test_intervals_are_clopper_and_pearsons():
    found = preference(9, 1).share
    expected = stats.binomtest(9, 10, 0.5).proportion_ci(method="exact")
    assert (found.low, found.high) == (pytest.approx(expected.low), pytest.approx(expected.high))
    # A third of the answers right is what guessing gives: nobody need taste anything.
    assert triangle(12, 4).tasters.estimate == 0
    assert triangle(12, 12).tasters == triangle(12, 12).tasters.__class__(1.0, pytest.approx(0.603, abs=1e-3), 1.0)


def test_how_many_tastings_a_question_needs():
    """ISO 4120's table of assessors for a share of distinguishers of 50 % (α .05, β .20, .10, .05: 16, 20, 23) and of
    30 % (β .05: 66), the table's figures from memory; all recomputed here."""
    half, third = Fraction(2, 3), Fraction(3, 10) + Fraction(7, 30)
    assert tastings_needed() == tries_for(Fraction(1, 3), half) == 16
    for beta, tastings in ((Fraction(1, 10), 20), (Fraction(1, 20), 23)):
        assert power(tastings, Fraction(1, 3), half) >= 1 - beta > power(tastings - 1, Fraction(1, 3), half)
    assert power(66, Fraction(1, 3), third) >= Fraction(95, 100) > power(65, Fraction(1, 3), third)


def test_how_many_tasters_a_preference_needs():
    """Three in four at 80 %: 30, by summing the binomial distribution with scipy."""
    assert answers_needed() == 30
    for answers in (29, 30):
        found = stats.binom.sf(20, answers, 0.75) + stats.binom.cdf(answers - 21, answers, 0.75)
        assert float(power(answers, Fraction(1, 2), Fraction(3, 4), two_sided=True)) == pytest.approx(found)


def test_the_fewest_that_can_tell_at_all():
    """1/27 and 2/64 are the first below one in twenty: by hand."""
    assert (fewest_tastings(), fewest_answers()) == (3, 6)
    assert at_least(3, 3, Fraction(1, 3)) == Fraction(1, 27)


def test_words_say_what_is_known_and_what_is_not():
    assert triangle_words(triangle(3, 3))[0] == "They can tell the difference."
    assert triangle_words(triangle(3, 2))[:2] == [
        "Cannot tell: they may taste a difference or not.",
        "2 of 3 found the odd plate; 3 were needed. Guessing does as well 26 times in 100. "
        "That does not show that the versions taste alike.",
    ]
    two = triangle_words(triangle(2, 2))
    assert two[0] == "Cannot tell: two tastings are too few."
    assert "one time in 9" in two[1]
    assert "it takes 16 tastings" in two[2]
    assert preference_words(preference(1, 9), "cherry", "hickory")[0] == "They prefer hickory to cherry."
    assert preference_words(preference(2, 0), "cherry", "hickory")[0] == "Cannot tell: two tasters are too few."
    assert preference_words(preference(4, 4), "cherry", "hickory")[0] == "Cannot tell which they prefer."
    assert triangle_words(triangle(0, 0)) == ["Cannot tell: nobody answered."]
    assert how_often(Fraction(1, 32)) == "one time in 32"
    with pytest.raises(ValueError, match="4 of 3 answers"):
        triangle(3, 4)
