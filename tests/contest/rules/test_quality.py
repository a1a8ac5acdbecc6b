"""Quality figures against published efficiencies, in designs that have nothing to do with a draw."""

from itertools import combinations, product
from math import comb

import pytest

from contest.rules.draw import Placed, draw_from_seed
from contest.rules.draw.leastrepeats import least_repeats
from contest.rules.draw.quality import bound_a, bound_b, efficiency, quality_of
from tests.contest.rules.requests import full


def developed(base, v):
    """A cyclic block design from a difference set."""
    return [((x + shift) % v, shift) for shift in range(v) for x in base]


# E = v(k − 1)/(k(v − 1)): any textbook; difference sets of the projective planes of order 2, 3 and 4
@pytest.mark.parametrize(
    ("base", "v", "expected"),
    [((0, 1, 3), 7, 7 / 9), ((0, 1, 3, 9), 13, 13 / 16), ((0, 1, 4, 14, 16), 21, 21 / 25)],
)
def test_balanced_incomplete_block_designs(base, v, expected):
    assert efficiency(developed(base, v)) == pytest.approx(expected, abs=1e-12)


def lattice(s, classes):
    """The first so many parallel classes of lines in s × s points, s a prime: (point, block) pairs."""
    units = []
    for x, y in product(range(s), repeat=2):
        lines = [("x", x), *[(slope, (y + slope * x) % s) for slope in range(s)]]
        units += [((x, y), line) for line in lines[:classes]]
    return units


# E = (k + 1)(r − 1)/((k + 1)(r − 1) + r): Cochran and Cox, Experimental Designs, square lattices
@pytest.mark.parametrize(
    ("s", "r", "expected"),
    [
        (3, 2, 2 / 3),
        (3, 3, 8 / 11),
        (3, 4, 3 / 4),
        (5, 2, 3 / 4),
        (5, 3, 4 / 5),
        (5, 4, 9 / 11),
        (5, 5, 24 / 29),
        (5, 6, 5 / 6),
        (7, 2, 4 / 5),
        (7, 4, 6 / 7),
        (7, 8, 7 / 8),
    ],
)
def test_square_lattices(s, r, expected):
    assert efficiency(lattice(s, r)) == pytest.approx(expected, abs=1e-12)


def test_the_simple_and_triple_lattice_of_thirty_six():
    units = []
    for x, y in product(range(6), repeat=2):
        units += [((x, y), ("row", x)), ((x, y), ("column", y)), ((x, y), ("latin", (x + y) % 6))]
    assert efficiency(units) == pytest.approx(14 / 17, abs=1e-12)


def sylvester_units():
    """A design for 36 treatments in four replicates of six blocks of six, from the Sylvester graph.

    Treatments are the cells of a six by six array: rows are Sylvester's six totals, columns the six points. Two
    cells are neighbours if the duad of their columns lies in the syntheme that their rows share. Replicates: the
    rows, the columns, and for each of two columns its six cells, each with its five neighbours.
    """
    totals = synthematic_totals()
    cells = list(product(range(6), repeat=2))
    units = [(cell, ("row", cell[0])) for cell in cells] + [(cell, ("column", cell[1])) for cell in cells]
    for row, column in cells:
        if column < 2:
            block = (column, row)
            units.append(((row, column), block))
            for other in set(range(6)) - {column}:
                duad = frozenset((column, other))
                neighbours = [
                    (r, other) for r in set(range(6)) - {row} if any(duad in s for s in totals[row] & totals[r])
                ]
                assert len(neighbours) == 1
                units.append((neighbours[0], block))
    return units


def synthematic_totals():
    """Sylvester's six totals: sets of five synthemes (three disjoint duads of six points) that hold every duad."""
    duads = [frozenset(pair) for pair in combinations(range(6), 2)]
    synthemes = [frozenset(s) for s in combinations(duads, 3) if len(frozenset().union(*s)) == 6]
    return [frozenset(t) for t in combinations(synthemes, 5) if len(frozenset().union(*t)) == 15]


def test_the_sylvester_design_of_four_replicates():
    # Bailey, Cameron, Soicher and Williams 2020, JABES, doi 10.1007/s13253-020-00388-1: 0.8380
    units = sylvester_units()
    assert len(units) == 144
    assert efficiency(units) == pytest.approx(0.8380, abs=5e-5)


def test_blocks_that_do_not_connect_the_treatments_have_no_efficiency():
    assert efficiency([("a", 1), ("b", 1), ("c", 2), ("d", 2)]) is None


def test_complete_blocks_lose_nothing_and_a_single_treatment_is_no_comparison():
    assert efficiency(product("abcd", range(3))) == pytest.approx(1)
    assert efficiency([("a", 1)]) == 1


def test_efficiency_with_unequal_replication_is_the_ratio_of_average_variances():
    # a in both blocks, b and c in one each: var(a−b) = var(a−c) = 2, var(b−c) = 4 by hand; without blocks
    # 1.5, 1.5 and 2
    assert efficiency([("a", 1), ("b", 1), ("a", 2), ("c", 2)]) == pytest.approx(5 / 8)


# Bounds: recomputed from (T−1)/[(T−J) + (J−1)/(1−d)], d = (J/c−1)/(J−1)
@pytest.mark.parametrize(
    ("teams", "tables", "categories", "expected"),
    [(24, 4, 4, 1), (36, 6, 4, 0.984375), (48, 8, 4, 0.975779), (60, 10, 4, 0.970395), (36, 6, 6, 1)],
)
def test_bound_with_table_effects_all_day(teams, tables, categories, expected):
    loads = [categories * teams // tables] * tables
    assert bound_a(loads, teams, categories) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("teams", "tables", "categories", "expected"),
    [
        (24, 4, 4, 0.8364),
        (36, 6, 4, 0.8303),
        (48, 8, 4, 0.8274),
        (60, 10, 4, 0.8198),
        (36, 6, 6, 0.8448),
    ],
)
def test_bound_with_table_effects_per_category_without_repeats(teams, tables, categories, expected):
    loads = [[teams // tables] * tables] * categories
    assert bound_b(loads, teams, repeats=False) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize(("v", "s", "r"), [(12, 2, 4), (16, 4, 3), (36, 6, 3), (25, 5, 4)])
def test_bound_for_resolvable_designs(v, s, r):
    # (v−1)(r−1)/[(v−1)(r−1) + r(s−1)]; a square lattice attains it
    expected = (v - 1) * (r - 1) / ((v - 1) * (r - 1) + r * (s - 1))
    assert bound_b([[v // s] * s] * r, v, repeats=True) == pytest.approx(expected, abs=1e-12)


def test_one_category_cannot_tell_tables_from_teams():
    assert bound_b([[4, 4]], 8, repeats=False) is None


@pytest.mark.parametrize("shape", [(12, 2, 4), (13, 3, 4), (20, 3, 4), (15, 4, 3), (10, 5, 2), (5, 7, 3), (9, 3, 3)])
def test_no_draw_exceeds_its_bounds(shape):
    for seed in ("a", "b"):
        quality = draw_from_seed(full(*shape), seed).quality
        for value, bound in ((quality.e_a, quality.e_a_bound), (quality.e_b, quality.e_b_bound)):
            if value is not None and bound is not None:
                assert value <= bound + 1e-9


def placed(rows):
    """Places from (category, table, team)."""
    return [Placed(category, str(100 + i), table, 1, team) for i, (category, table, team) in enumerate(rows)]


def test_repeats_and_concurrence_are_counted():
    rows = [("a", 1, 1), ("a", 1, 2), ("a", 2, 3), ("b", 1, 1), ("b", 1, 2), ("b", 2, 3), ("c", 1, 1), ("c", 2, 2)]
    quality = quality_of(placed(rows))
    assert quality.repeats == comb(3, 2) + comb(2, 2) + comb(2, 2)
    assert quality.largest_concurrence == 2
    assert quality.e_a_bound is None  # team 3 skipped a category


def test_least_repeats_of_a_bad_draw():
    rows = [(category, 1 + (team > 4), team) for category in "abcd" for team in range(1, 9)]
    assert quality_of(placed(rows)).repeats == 8 * 6
    assert least_repeats(placed(rows)) == 8 * 2  # two visits to each of two tables


def test_a_team_barred_from_one_of_four_tables_costs_two_repeats():
    quality = draw_from_seed(full(24, 4, 4, forbidden=frozenset({(7, 2)})), "x").quality
    assert (quality.repeats, quality.least_repeats) == (2, 2)


def test_the_sentence_is_plain():
    assert draw_from_seed(full(24, 4, 4), "x").quality.sentence == (
        "No team comes to one table twice, no two teams share a table more than twice, and tables that are easy or"
        " hard all day cost comparisons between teams nothing."
    )
    assert draw_from_seed(full(7, 2, 4), "x").quality.sentence.startswith(
        "Teams come back to a table 14 times in all (no draw could have fewer), "
    )
