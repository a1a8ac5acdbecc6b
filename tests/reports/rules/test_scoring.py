"""Scores of versions: Friedman's test against published examples and by counting, intervals against theory."""

from fractions import Fraction
from itertools import permutations, product
from math import sqrt

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestPower

from reports.rules.sensory.counts import SCATTER_TASTERS, beforehand, fewest_tasters
from reports.rules.sensory.scorewords import score_words
from reports.rules.sensory.scoring import critical, figures_of, friedman, scores, tasters_for

#: Hollander and Wolfe (1973), p. 140, rounding first base: 22 players × 3 ways (R's example of friedman.test).
FIRST_BASE = [
    (5.40, 5.50, 5.55), (5.85, 5.70, 5.75), (5.20, 5.60, 5.50), (5.55, 5.50, 5.40), (5.90, 5.85, 5.70),
    (5.45, 5.55, 5.60), (5.40, 5.40, 5.35), (5.45, 5.50, 5.35), (5.25, 5.15, 5.00), (5.85, 5.80, 5.70),
    (5.25, 5.20, 5.10), (5.65, 5.55, 5.45), (5.60, 5.35, 5.45), (5.05, 5.00, 4.95), (5.50, 5.50, 5.40),
    (5.45, 5.55, 5.50), (5.55, 5.55, 5.35), (5.45, 5.50, 5.55), (5.50, 5.45, 5.25), (5.65, 5.60, 5.40),
    (5.70, 5.65, 5.55), (6.30, 6.30, 6.25),
]  # fmt: skip
#: Conover, Practical Nonparametric Statistics: lawn grass, 12 homeowners × 4 grasses, ranks with ties.
GRASS = [
    (4, 3, 2, 1), (4, 2, 3, 1), (3, 1.5, 1.5, 4), (3, 1, 2, 4), (4, 2, 1, 3), (2, 2, 2, 4),
    (1, 3, 2, 4), (2, 4, 1, 3), (3.5, 1, 2, 3.5), (4, 1, 3, 2), (4, 2, 3, 1), (3.5, 1, 2, 3.5),
]  # fmt: skip


def test_published_examples():
    """Statistic and chi-square p of both as published; the exact p is smaller than the approximation there."""
    base = friedman(FIRST_BASE)
    assert base.statistic == pytest.approx(11.142857, abs=1e-6)
    assert stats.chi2.sf(base.statistic, base.degrees) == pytest.approx(0.003805, abs=1e-6)
    assert base.p == pytest.approx(0.00315, abs=5e-5)
    grass = friedman(GRASS)
    assert grass.statistic == pytest.approx(8.097345, abs=1e-6)
    assert stats.chi2.sf(grass.statistic, grass.degrees) == pytest.approx(0.0440421, abs=1e-7)
    assert grass.p == pytest.approx(0.0400572, abs=1e-7)


def test_the_statistic_is_scipys():
    rng = np.random.default_rng(3)
    for tasters, versions in ((5, 3), (9, 4), (20, 6)):
        table = rng.integers(1, 10, (tasters, versions)).astype(float)
        assert friedman(table).statistic == pytest.approx(stats.friedmanchisquare(*table.T).statistic)


def by_counting(table):
    """Every order of every row, one by one."""
    ranks = [stats.rankdata(row) for row in table]

    def parts(rows):
        return ((np.sum(rows, axis=0) - len(rows) * (len(rows[0]) + 1) / 2) ** 2).sum()

    observed = parts(ranks)
    every = list(product(*(permutations(row) for row in ranks)))
    return Fraction(sum(bool(parts(np.array(rows)) >= observed - 1e-9) for rows in every), len(every))


@pytest.mark.parametrize(
    "table",
    [
        [(1, 2, 3), (1, 3, 2), (2, 1, 3)],
        [(1, 1, 3), (2, 3, 1), (5, 5, 2), (1, 2, 3)],
        [(1, 2, 3, 4), (2, 1, 4, 3), (1, 1, 4, 4)],
        [(7, 6), (5, 5), (8, 6), (3, 4), (9, 7)],
    ],
)
def test_the_exact_p_is_what_counting_gives(table):
    assert friedman(table).exact == by_counting(table)


def test_exact_values_of_small_tables():
    """Tables of Friedman's statistic in textbooks (from memory): k = 3, n = 3: 6 at .028; n = 4: 8 at .0046."""
    assert friedman([(1, 2, 3)] * 3).exact == Fraction(1, 36)
    assert friedman([(1, 2, 3)] * 4).exact == Fraction(1, 216)
    # With two versions it is the sign test.
    assert friedman([(1, 2)] * 6).p == pytest.approx(stats.binomtest(6, 6).pvalue)
    assert friedman([(2, 1), *[(1, 2)] * 8]).p == pytest.approx(stats.binomtest(8, 9).pvalue)


def test_large_tables_are_simulated_and_agree_with_the_approximation():
    table = np.random.default_rng(8).normal(size=(24, 6)) + np.array([0.5, 0, 0, 0, 0, 0])
    found = friedman(table)
    assert found.exact is None
    assert found.p == pytest.approx(stats.chi2.sf(found.statistic, 5), abs=0.015)
    assert friedman(table).p == found.p  # the same marks give the same p


def test_nothing_to_test():
    assert friedman([(1, 2, 3)]) is None
    assert friedman([(4, 4), (7, 7)]) is None
    assert (fewest_tasters(2), fewest_tasters(3), fewest_tasters(4)) == (6, 3, 2)  # 2/2⁶, 6/6³, 24/24² by hand


def test_the_interval_of_two_versions_is_the_paired_t_interval():
    """For a complete table the model's difference is that of paired t (scipy)."""
    table = [(30, 28), (27, 27.5), (33, 29), (31, 28), (29, 26), (30, 27)]
    (found,) = scores(table).differences
    one, other = np.array(table).T
    paired = stats.ttest_rel(one, other).confidence_interval(0.95)
    assert found.estimate == pytest.approx(2.4166667)
    assert (found.low, found.high) == (pytest.approx(paired.low, rel=1e-5), pytest.approx(paired.high, rel=1e-5))


def test_intervals_of_several_versions_are_tukeys():
    """Two-way layout: the residual of the analysis of variance, Tukey's range from scipy."""
    table = np.array([(8, 6, 7), (7, 5, 7), (9, 6, 8), (6, 5, 5), (8, 7, 6)], float) * 4
    rest = table - table.mean(axis=0) - table.mean(axis=1, keepdims=True) + table.mean()
    error = sqrt((rest**2).sum() / 8)
    reach = stats.studentized_range.ppf(0.95, 3, 8) * error / sqrt(5)
    found = scores(table.tolist())
    assert found.error_sd == pytest.approx(error, rel=1e-4)
    assert [each.estimate for each in found.differences] == pytest.approx([7.2, 4.0, -3.2])
    assert [each.high - each.low for each in found.differences] == pytest.approx([2 * reach] * 3, rel=1e-4)
    assert critical(2, 5) == pytest.approx(2.570582, abs=1e-6)  # Student's t table, .975, 5 degrees


def test_how_many_tasters():
    """statsmodels' power of the paired t test, rounded up: 17.71 and, where the ranks ask for less, 9.08."""
    assert tasters_for(2.0, 2.0, 2) == 18
    assert tasters_for(4.5, 3.0, 2) == 10
    expected = TTestPower().solve_power(effect_size=4.5 / (3 * sqrt(2)), alpha=0.05, power=0.8)
    assert 9 < expected < 10
    assert {versions: tasters_for(1.0, 1.0, versions) for versions in range(2, 7)} == SCATTER_TASTERS
    assert tasters_for(50.0, 1.0, 2) == 6  # the fewest by ranks
    assert tasters_for(0.01, 5.0, 2) is None


def test_tasters_without_all_cards_are_left_out():
    found = scores([(30, 28), (31, None), (29, 28), (None, None)])
    assert (found.tasters, found.left_out) == (2, 2)
    assert found.plain_means == (29.5, 28.0)


def words_of(found, names, one_mark):
    return score_words(figures_of(found, len(names), one_mark), names, one_mark)


def test_words_claim_only_what_both_views_show():
    three = words_of(scores([(30, 28.5), (27, 25), (33, 26)]), ["cherry", "hickory"], 4.5)
    assert three[0] == "Cannot tell: the versions may score alike or not."
    assert three[1] == "Cherry 3.5 points above hickory, from −4.1 to 11.1 (95 % interval)."
    assert three[2].startswith("Three tasters are too few: even if all agreed on the order, chance alone does that one")
    clear = scores([(30, 26), (27, 25), (33, 28), (31, 28), (29, 26), (30, 27), (30, 26)])
    assert words_of(clear, ["cherry", "hickory"], 4.5)[0] == "Cherry scored higher than hickory."
    apart = words_of(scores([(30, 28), (27, 27.5), (33, 29), (31, 28), (29, 26), (30, 27)]), ["a", "b"], 4.5)
    assert apart[0].startswith("Cannot tell")
    assert apart[3] == (
        "The interval parts them, the order of the marks alone does not: nothing is claimed before both do."
    )
    assert apart[-1].endswith("are enough, and there were six: a smaller one takes more.")
    few = words_of(scores([(30, 20), (20, 30), (33, 26)]), ["a", "b"], 4.5)
    assert few[-1].endswith("; there were three.")
    assert "it takes" in few[-1]
    assert words_of(scores([]), ["a", "b"], 4.5) == ["Cannot tell: nobody marked every version."]
    assert "One taster is too few" in " ".join(words_of(scores([(3, 2)]), ["a", "b"], 4.5))
    flat = " ".join(words_of(scores([(5, 5)] * 7), ["a", "b"], 4.5))
    assert "No taster marked one version higher than another." in flat


def test_what_it_will_take_is_said_beforehand():
    assert beforehand("score", 3, 2) == [
        "Six tasters are the least that can tell two versions apart. Three tasters cannot tell, however they mark.",
        "A difference as large as the scatter of one card needs 18 tasters to be found.",
    ]
    assert beforehand("triangle", 3, 2)[0] == "3 of 3 must find the odd plate: guessing does that one time in 27."
    assert beforehand("triangle", 12, 2)[0] == "8 of 12 must find the odd plate: guessing does that one time in 53."
    assert beforehand("preference", 2, 2) == [
        "Six tasters are the least that can tell; 2 will answer, and the result will be “cannot tell”.",
        "A preference of three in four needs 30 tasters to be found.",
    ]
    assert beforehand("preference", 8, 2)[0] == (
        "8 of 8 must prefer the same version: chance alone does that one time in 128."
    )
