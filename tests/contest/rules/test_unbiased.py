"""No team is favoured: over many seeds tables and company come as if at random.

A table takes a fixed number of teams, so Pearson's X² of teams × tables in a category is a little too large:
X²·(T−1)/T follows χ² with (T−1)(J−1) degrees of freedom. For pairs at one table, with k boxes a table and
p = (k−1)/(T−1), X²·[T(T−3)/2]/[pairs·(1−p)] follows χ² with T(T−3)/2. Seeds are fixed; the limit is 1e-4 a test.
The searching is cut short so that many draws fit; it is the relabelling that makes draws fair, whatever the search.
"""

import dataclasses
from collections import Counter
from itertools import combinations

import pytest
from scipy.stats import chi2

from contest.rules import draw
from contest.rules.draw import design
from contest.rules.generator import Generator
from tests.contest.rules.requests import full

TEAMS, TABLES, CATEGORIES, DRAWS = 12, 3, 3, 240
LIMIT = 1e-4


@pytest.fixture(autouse=True)
def _short_search(monkeypatch):
    monkeypatch.setattr(design, "ARRAYS", 2)
    monkeypatch.setattr(design, "MOST_EXCHANGES", 10)
    monkeypatch.setattr(design, "MOST_TRADES", 40)
    monkeypatch.setattr(design, "TRADE_WORK", 160)
    monkeypatch.setattr(design, "SMALL", 0)


class InOrder(Generator):
    """Shuffles nothing: every label stays what it is."""

    def shuffled(self, items):
        return list(items)


def draws(**more):
    request = full(TEAMS, TABLES, CATEGORIES, **more)
    return [draw.draw_from_seed(request, f"unbiased {n}").placed for n in range(DRAWS)]


def table_chances(results, category):
    """p-value of teams × tables in one category."""
    seen = Counter((p.team, p.table) for placed in results for p in placed if p.category == category)
    expected = len(results) / TABLES
    x2 = sum(
        (seen[team, table] - expected) ** 2 / expected for team in range(1, TEAMS + 1) for table in range(1, TABLES + 1)
    )
    return chi2.sf(x2 * (TEAMS - 1) / TEAMS, (TEAMS - 1) * (TABLES - 1))


def pair_chances(results, category):
    """p-value of pairs of teams at one table in one category."""
    seen = Counter()
    for placed in results:
        at = {p.team: p.table for p in placed if p.category == category}
        seen.update(pair for pair in combinations(range(1, TEAMS + 1), 2) if at[pair[0]] == at[pair[1]])
    p = (TEAMS // TABLES - 1) / (TEAMS - 1)
    pairs, degrees = TEAMS * (TEAMS - 1) // 2, TEAMS * (TEAMS - 3) // 2
    expected = len(results) * p
    x2 = sum((seen[pair] - expected) ** 2 / expected for pair in combinations(range(1, TEAMS + 1), 2))
    return chi2.sf(x2 * degrees / (pairs * (1 - p)), degrees)


def position_chances(results):
    """p-value of teams × first and last serving positions, over all categories."""
    seen = Counter((p.team, p.position) for placed in results for p in placed)
    size = TEAMS // TABLES
    expected = len(results) * CATEGORIES / size
    x2 = sum(
        (seen[team, place] - expected) ** 2 / expected for team in range(1, TEAMS + 1) for place in range(1, size + 1)
    )
    # positions are spread over a team's day, so counts vary less than a multinomial's: the test is conservative
    return chi2.sf(x2 * (TEAMS - 1) / TEAMS, (TEAMS - 1) * (size - 1))


def box_chances(results):
    """p-value of teams × rank of their box number in the first category."""
    seen = Counter()
    for placed in results:
        first = [p for p in placed if p.category == "c1"]
        seen.update((p.team, rank) for rank, p in enumerate(sorted(first, key=lambda p: p.box)))
    expected = len(results) / TEAMS
    x2 = sum((seen[t, rank] - expected) ** 2 / expected for t in range(1, TEAMS + 1) for rank in range(TEAMS))
    return chi2.sf(x2 * (TEAMS - 1) / TEAMS, (TEAMS - 1) ** 2)


def test_no_team_is_favoured():
    results = draws()
    chances = {
        **{f"tables {c}": table_chances(results, c) for c in ("c1", "c2", "c3")},
        **{f"pairs {c}": pair_chances(results, c) for c in ("c1", "c2", "c3")},
        "positions": position_chances(results),
        "boxes": box_chances(results),
    }
    assert {name: chance for name, chance in chances.items() if chance < LIMIT} == {}


def test_without_relabelling_the_same_tests_fail_by_far(monkeypatch):
    fork = Generator.fork
    monkeypatch.setattr(Generator, "fork", lambda one, label: InOrder(b"") if label == "labels" else fork(one, label))
    assert pair_chances(draws(), "c1") < 1e-100
    # where not everybody enters everything, the search starts from a matching in the order of the labels
    request = full(TEAMS, TABLES, CATEGORIES)
    skipped = dataclasses.replace(request, entries={**request.entries, "c3": tuple(range(1, TEAMS))})
    results = [draw.draw_from_seed(skipped, f"unbiased {n}").placed for n in range(DRAWS // 3)]
    assert table_chances(results, "c1") < 1e-20


def test_a_conflict_leaves_the_others_equal():
    """With team 1 barred from table 1, the other teams stay exchangeable: the same chance of every table."""
    request = full(TEAMS, TABLES, CATEGORIES, forbidden=frozenset({(1, 1)}))
    seen = Counter(
        (p.team, p.table)
        for n in range(DRAWS)
        for p in draw.draw_from_seed(request, f"conflict {n}").placed
        if p.category == "c2"
    )
    assert seen[1, 1] == 0
    x2 = 0.0
    for table in (1, 2, 3):
        counts = [seen[team, table] for team in range(2, TEAMS + 1)]
        mean = sum(counts) / len(counts)
        x2 += sum((n - mean) ** 2 / mean for n in counts)
    assert chi2.sf(x2, (TEAMS - 2) * (TABLES - 1)) > LIMIT


def test_the_full_search_is_as_fair(monkeypatch):
    monkeypatch.undo()
    request = full(6, 2, 2)
    together = Counter()
    for n in range(40):
        at = {p.team: p.table for p in draw.draw_from_seed(request, f"full {n}").placed if p.category == "c1"}
        together.update(pair for pair in combinations(range(1, 7), 2) if at[pair[0]] == at[pair[1]])
    expected, p = 40 * 0.4, 0.4
    x2 = sum((together[pair] - expected) ** 2 / expected for pair in combinations(range(1, 7), 2))
    assert chi2.sf(x2 * 9 / (15 * (1 - p)), 9) > LIMIT
