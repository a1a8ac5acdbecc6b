"""The search for a design: its parts do what they say, and its results are as even as promised."""

import random
from collections import Counter
from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

from contest.rules.draw.criterion import key_of
from contest.rules.draw.cyclic import cyclic_seats
from contest.rules.draw.design import Layout, seat_teams
from contest.rules.draw.exchange import Exchange
from contest.rules.draw.matching import assign, find_shortage
from contest.rules.draw.serving import serve
from contest.rules.draw.trades import Trades
from contest.rules.generator import Generator


def layout(teams, tables, categories, barred=(), skip=0.0, rng=None, most=None):
    entered = tuple(
        tuple(t for t in range(teams) if not skip or rng.random() >= skip) or (0,) for _ in range(categories)
    )
    return Layout(teams, tables, entered, (tuple(range(tables)),) * categories, most, frozenset(barred))


def sums(seats, teams):
    """Repeats, pairs' shared categories squared and summed, by plain counting."""
    visits = Counter((team, table) for seat in seats for team, table in seat.items())
    shared = Counter(
        (a, b) for seat in seats for a, b in combinations(range(teams), 2) if a in seat and seat.get(b) == seat[a]
    )
    return sum(n * (n - 1) // 2 for n in visits.values()), sum(n * n for n in shared.values())


@pytest.mark.parametrize("seed", range(60))
def test_a_shortage_is_found_exactly_where_a_maximum_matching_falls_short(seed):
    # reference: scipy.sparse.csgraph.maximum_bipartite_matching, a column per place
    rng = random.Random(seed)
    teams, tables, most = rng.randint(1, 12), rng.randint(1, 5), rng.randint(1, 4)
    allowed = {team: [t for t in range(tables) if rng.random() < 0.4] for team in range(teams)}
    graph = np.zeros((teams, tables * most), dtype=int)
    for team, at in allowed.items():
        for table in at:
            graph[team, table * most : (table + 1) * most] = 1
    matched = maximum_bipartite_matching(csr_array(graph), perm_type="column")
    shortage = find_shortage(allowed, most)
    assert (shortage is None) == bool((matched >= 0).all())
    if shortage:
        assert len(shortage.teams) > most * len(shortage.tables)
        assert {t for team in shortage.teams for t in allowed[team]} == set(shortage.tables)


@pytest.mark.parametrize("seed", range(60))
def test_an_assignment_is_as_even_and_then_as_cheap_as_can_be(seed):
    # reference: scipy.optimize.linear_sum_assignment with a column per place, places dearer the fuller the table
    rng = random.Random(seed)
    teams, tables = rng.randint(1, 12), rng.randint(1, 5)
    most = rng.choice([None, teams])
    costs = [[rng.choice([0, 0, 0, 1, 2, None]) for _ in range(tables)] for _ in range(teams)]
    if any(all(c is None for c in row) for row in costs):
        costs = [[0 if c is None else c for c in row] for row in costs]
    seat = assign(range(teams), range(tables), lambda a, b: costs[a][b], most)
    load = Counter(seat.values())
    even, cheap = sum(n * n for n in load.values()), sum(costs[a][b] for a, b in seat.items())
    matrix = np.array(
        [
            [10**9 if row[t] is None else 1000 * (2 * k + 1) + row[t] for t in range(tables) for k in range(teams)]
            for row in costs
        ]
    )
    rows, columns = linear_sum_assignment(matrix)
    assert 1000 * even + cheap == matrix[rows, columns].sum()


@pytest.mark.parametrize("seed", range(6))
def test_an_exchange_changes_the_sum_by_what_it_foretold(seed):
    rng = random.Random(seed)
    asked = layout(11, 3, 3, barred=[(0, 0), (5, 2)], skip=0.2, rng=rng)
    seats = seat_teams(asked, Generator(b"start"))
    search = Exchange(11, 3, seats, asked.open_tables, asked.barred, repeat=50)
    now = search.weighted(search.score())
    loads = [sorted(Counter(seat.values()).values()) for seat in search.seats()]
    for _ in range(80):
        category = search.categories[rng.randrange(3)]
        change = search._changes(category)
        a, b = rng.choice(np.argwhere(change < 1 << 40).tolist())
        search._exchange(category, a, b)
        now += int(change[a, b])
        repeats, shared = sums(search.seats(), 11)
        assert search.score()[:2] == (repeats, shared)
        assert search.weighted(search.score()) == now
        assert not any(seat.get(0) == 0 or seat.get(5) == 2 for seat in search.seats())
        assert [sorted(Counter(seat.values()).values()) for seat in search.seats()] == loads


def test_trades_leave_every_team_its_tables_and_every_table_its_load():
    seats = cyclic_seats(13, 3, 4, Generator(b"start"))
    heard = []
    trades = Trades(13, seats)
    trades.run(2000, Generator(b"trades"), lambda shared, copy: heard.append((shared, copy())))
    assert heard[-1][0] < sums(seats, 13)[1]
    for shared, after in heard[:40]:
        assert sums(after, 13) == (sums(seats, 13)[0], shared)
        for team in range(13):
            assert sorted(seat[team] for seat in after) == sorted(seat[team] for seat in seats)
        for old, new in zip(seats, after, strict=True):
            assert Counter(old.values()) == Counter(new.values())


@pytest.mark.parametrize("shape", [(12, 4, 4), (14, 4, 3), (7, 2, 4), (5, 3, 5), (6, 6, 2)])
def test_cyclic_arrays_are_even_and_have_the_least_repeats(shape):
    teams, tables, categories = shape
    seats = cyclic_seats(*shape, Generator(b"array"))
    for seat in seats:
        load = Counter(seat.values())
        assert max(load.values()) - min(load[t] for t in range(tables)) <= 1
    each, more = divmod(categories, tables)
    least = more * (each + 1) * each // 2 + (tables - more) * each * (each - 1) // 2
    assert sums(seats, teams)[0] == teams * least


def test_the_key_ranks_loads_above_repeats_above_pairs():
    even = [{0: 0, 1: 0, 2: 1, 3: 1}, {0: 0, 1: 0, 2: 1, 3: 1}]
    fresh = [{0: 0, 1: 0, 2: 1, 3: 1}, {0: 1, 1: 1, 2: 0, 3: 0}]
    mixed = [{0: 0, 1: 0, 2: 1, 3: 1}, {0: 1, 1: 0, 2: 0, 3: 1}]
    uneven = [{0: 0, 1: 0, 2: 1, 3: 1}, {0: 1, 1: 1, 2: 0, 3: 1}]
    assert key_of(4, 2, even)[:3] == (16, 4, 8)
    assert key_of(4, 2, fresh)[:3] == (16, 0, 8)
    assert key_of(4, 2, mixed)[:3] == (16, 2, 4)
    assert key_of(4, 2, fresh) < key_of(4, 2, mixed) < key_of(4, 2, even) < key_of(4, 2, uneven)


@pytest.mark.parametrize(
    ("shape", "repeats", "shared_most"),
    [((24, 4, 4), 0, 2), ((36, 6, 4), 0, 2), ((12, 2, 4), 24, 4), ((7, 2, 4), 14, 4), ((13, 3, 4), 13, 3)],
)
def test_known_shapes_reach_the_least_repeats_and_the_known_concurrence(shape, repeats, shared_most):
    seats = seat_teams(layout(*shape), Generator(b"known"))
    assert sums(seats, shape[0])[0] == repeats
    shared = Counter(
        pair for seat in seats for pair in combinations(range(shape[0]), 2) if seat[pair[0]] == seat[pair[1]]
    )
    assert max(shared.values()) <= shared_most


def test_forty_eight_teams_at_eight_tables_without_meeting_twice():
    # exists: the affine plane of order 8 less two parallel lines, its tables the points of one of them
    seats = seat_teams(layout(48, 8, 4), Generator(b"48"))
    assert sums(seats, 48) == (0, 4 * 8 * 15)


@pytest.mark.parametrize("skip", [0.15, 0.3])
def test_skipped_categories_cost_no_repeats_and_no_evenness(skip):
    for seed in range(2):
        asked = layout(36, 6, 4, skip=skip, rng=random.Random(seed))
        seats = seat_teams(asked, Generator(b"%d" % seed))
        assert sums(seats, 36)[0] == 0
        for seat, entered in zip(seats, asked.entered, strict=True):
            load = Counter(seat.values())
            assert sorted(seat) == list(entered)
            assert max(load.values()) - min(load[t] for t in range(6)) <= 1


def test_twenty_random_conflicts_are_kept_without_repeats():
    for seed in range(2):
        rng = random.Random(seed)
        barred = rng.sample([(team, rng.randrange(6)) for team in range(36)], 20)
        seats = seat_teams(layout(36, 6, 4, barred=barred), Generator(b"%d" % seed))
        assert sums(seats, 36)[0] == 0
        assert not {(team, table) for seat in seats for team, table in seat.items()} & set(barred)
        assert all(sorted(Counter(seat.values()).values()) == [6] * 6 for seat in seats)


def test_progress_goes_up_to_one():
    heard = []
    seat_teams(layout(8, 2, 2), Generator(b"x"), heard.append)
    assert heard == sorted(heard)
    assert heard[-1] == 1


def test_positions_are_a_permutation_at_each_table_and_spread_over_the_day():
    seats = seat_teams(layout(36, 6, 4), Generator(b"x"))
    served = serve(36, seats, Generator(b"positions"))
    for seat, places in zip(seats, served, strict=True):
        for table in range(6):
            assert sorted(places[team] for team, at in seat.items() if at == table) == [1, 2, 3, 4, 5, 6]
    totals = [sum(places[team] for places in served) for team in range(36)]
    # four draws from 1 … 6 add up to 14 on average; by chance two thirds of the sums fall outside 13 to 15
    assert all(12 <= total <= 16 for total in totals)
    assert sum(13 <= total <= 15 for total in totals) >= 30
    assert sum(len({places[team] for places in served}) >= 3 for team in range(36)) >= 34
