"""Seating at random: everybody once, experience even, nobody favoured, and the same from the same seed."""

from collections import Counter

from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from contest.rules.generator import Generator
from contest.rules.seating import seat_judges

seeds = st.binary(min_size=1, max_size=16)


@given(
    st.lists(st.integers(0, 200), max_size=60),
    st.dictionaries(st.integers(1, 12), st.integers(0, 8), max_size=8),
    seeds,
)
def test_each_judge_has_one_seat_and_each_seat_one_judge(experience, sizes, seed):
    seats = {table: "ABCDEFGH"[:size] for table, size in sizes.items()}
    seated = seat_judges(experience, seats, seed)
    assert len(set(seated.values())) == len(seated) == min(len(experience), sum(sizes.values()))
    assert all(letter in seats[table] for table, letter in seated)


@given(st.integers(1, 8), st.integers(1, 8), st.data())
def test_full_tables_differ_by_no_more_than_the_range_of_experience(tables, size, data):
    experience = data.draw(st.lists(st.integers(0, 200), min_size=tables * size, max_size=tables * size))
    seated = seat_judges(experience, dict.fromkeys(range(1, tables + 1), "ABCDEFGH"[:size]), data.draw(seeds))
    sums = Counter()
    for (table, _), judge in seated.items():
        sums[table] += experience[judge]
    assert max(sums[table] for table in range(1, tables + 1)) - min(
        sums[table] for table in range(1, tables + 1)
    ) <= max(experience) - min(experience)


@given(st.integers(0, 30), st.integers(1, 6), seeds)
def test_too_few_judges_leave_the_last_letters_empty_and_tables_equally_full(judges, tables, seed):
    seated = seat_judges([0] * judges, dict.fromkeys(range(1, tables + 1), "ABCDE"), seed)
    counts = Counter(table for table, _ in seated)
    assert (
        max(counts[table] for table in range(1, tables + 1)) - min(counts[table] for table in range(1, tables + 1)) <= 1
    )
    for table in range(1, tables + 1):
        assert {letter for at, letter in seated if at == table} == set("ABCDE"[: counts[table]])


@given(st.lists(st.integers(0, 50), min_size=4, max_size=24), seeds)
def test_the_same_seed_seats_the_same(experience, seed):
    seats = {1: "ABCDEF", 2: "ABCDEF"}
    assert seat_judges(experience, seats, seed) == seat_judges(experience, dict(reversed(seats.items())), seed)


def test_a_snake_by_hand():
    """Eight judges of 8, 7 … 1 contests at two tables: dealt 8 | 7 6 | 5 4 | 3 2 | 1, so 18 against 18."""
    for seed in (b"a", b"b", b"c"):
        seated = seat_judges([8, 7, 6, 5, 4, 3, 2, 1], {1: "ABCD", 2: "ABCD"}, seed)
        tables = {frozenset(8 - judge for (at, _), judge in seated.items() if at == table) for table in (1, 2)}
        assert tables == {frozenset({8, 5, 4, 1}), frozenset({7, 6, 3, 2})}


def test_the_documented_steps_lead_to_the_same_seats():
    """The four steps of the module's text, followed with the generator alone."""
    experience, seats = [3, 0, 12, 3, 7, 0, 1], {2: "ABC", 5: "ABC"}
    generator = Generator(b"worked")
    order = generator.shuffled(range(7))[:6]
    order = sorted(order, key=lambda judge: experience[judge], reverse=True)
    first, second = generator.shuffled([2, 5])
    dealt = {first: [order[0], order[3], order[4]], second: [order[1], order[2], order[5]]}
    expected = {}
    for table in (2, 5):
        expected |= dict(zip([(table, letter) for letter in "ABC"], generator.shuffled(dealt[table]), strict=True))
    assert seat_judges(experience, seats, b"worked") == expected


def counts_by_seat(experience, judges, seeds=3000):
    """How often each of `judges` got each seat of two tables of two, or none."""
    places = [(1, "A"), (1, "B"), (2, "A"), (2, "B"), None]
    found = {judge: Counter() for judge in judges}
    for number in range(seeds):
        by_judge = {
            judge: place for place, judge in seat_judges(experience, {1: "AB", 2: "AB"}, b"%d" % number).items()
        }
        for judge in judges:
            found[judge][by_judge.get(judge)] += 1
    return [[found[judge][place] for place in places] for judge in judges]


def test_all_judges_are_exchangeable_over_seeds():
    """Pearson's X² of judge × seat against the uniform law, five alike for four seats; limit at 1e-4 (from scipy)."""
    table = counts_by_seat([2] * 5, range(5))
    statistic = sum((count - 600) ** 2 / 600 for row in table for count in row)
    # Each judge has one seat and each seat one judge: the sum is (5 / 4) times a chi-square of 16 degrees of freedom.
    assert statistic * 4 / 5 < chi2.isf(1e-4, 16)


def test_experience_favours_no_table_and_no_seat():
    """The most experienced judge of four is as often at one table, and in one seat, as in another."""
    (row,) = counts_by_seat([40, 3, 1, 0], [0])
    assert row[4] == 0
    assert sum((count - 750) ** 2 / 750 for count in row[:4]) < chi2.isf(1e-4, 3)
