"""Plates and orders of a tasting at home: balance, numbers, and that the plan can be drawn again."""

from collections import Counter
from itertools import pairwise

import pytest

from contest.rules.draw.boxnumbers import upside_down
from reports.rules.sensory.tasting import TastingError, TastingRequest, drawn_again, plan, plan_text, williams

SEED = "5" * 64


def orders(request: TastingRequest, seed: str = SEED) -> Counter[tuple[int, ...]]:
    found: dict[tuple[int, int], list[int]] = {}
    for plate in plan(request, seed):
        found.setdefault((plate.round, plate.taster), []).append(plate.version)
    return Counter(map(tuple, found.values()))


def test_the_six_orders_of_the_triangle_come_equally_often():
    """ISO 4120: AAB, ABA, BAA, BBA, BAB, ABB equally often."""
    six = {(1, 1, 2), (1, 2, 1), (2, 1, 1), (2, 2, 1), (2, 1, 2), (1, 2, 2)}
    assert orders(TastingRequest("triangle", 2, 6)) == dict.fromkeys(six, 1)
    assert orders(TastingRequest("triangle", 2, 12)) == dict.fromkeys(six, 2)
    assert orders(TastingRequest("triangle", 2, 3, rounds=4)) == dict.fromkeys(six, 2)


@pytest.mark.parametrize("seed", ["a", "b", "c", "d"])
def test_an_evening_of_four_has_each_version_the_odd_one_twice(seed):
    found = orders(TastingRequest("triangle", 2, 4), seed)
    assert len(found) == 4
    assert sum(number for order, number in found.items() if order.count(1) == 1) == 2


@pytest.mark.parametrize(("versions", "sequences"), [(2, 2), (3, 6), (4, 4), (5, 10), (6, 6)])
def test_a_williams_design_balances_places_and_neighbours(versions, sequences):
    """Williams (1949): each version equally often at each place, and equally often right behind each other one."""
    whole = [order for square in williams(versions) for order in square]
    assert len(whole) == sequences
    places = Counter((place, version) for order in whole for place, version in enumerate(order))
    behind = Counter((one, other) for order in whole for one, other in pairwise(order))
    assert set(places.values()) == {sequences // versions}
    assert len(places) == versions**2
    assert len(behind) == versions * (versions - 1)
    assert len(set(behind.values())) == 1


def test_a_whole_design_of_tasters_keeps_that_balance():
    found = orders(TastingRequest("score", 3, 6))
    behind = Counter(pair for order in found.elements() for pair in pairwise(order))
    assert set(behind.values()) == {2}
    assert orders(TastingRequest("preference", 2, 4)) == {(1, 2): 2, (2, 1): 2}


def test_every_plate_has_a_number_of_its_own():
    """ISO 4120:2021, 5.5: three-digit numbers chosen at random, different for each assessor."""
    plates = plan(TastingRequest("triangle", 2, 24, rounds=4), SEED)
    numbers = [plate.number for plate in plates]
    assert len(numbers) == len(set(numbers)) == 24 * 4 * 3
    assert all(len(number) == 3 and upside_down(number) in (None, number) for number in numbers)


def test_a_number_tells_neither_version_nor_place():
    """Over many evenings both versions' numbers are as high: means of 2,000 numbers each, the standard error of whose
    difference is 260 ÷ √1000 = 8.2; five of them are 41."""
    by_version: dict[int, list[int]] = {1: [], 2: []}
    for seed in range(500):
        for plate in plan(TastingRequest("preference", 2, 4), f"seed {seed}"):
            by_version[plate.version].append(int(plate.number))
    one, other = (sum(found) / len(found) for found in by_version.values())
    assert len(by_version[1]) == 2000
    assert abs(one - other) < 41


def test_the_plan_is_drawn_again_from_its_text():
    request = TastingRequest("score", 3, 5)
    text = plan_text(request, SEED, plan(request, SEED), ["cherry", "hickory", "pecan wood"])
    assert text.startswith(f"algorithm\tfairbox-tasting-1\nseed\t{SEED}\nquestion\tscore\ntasters\t5\nrounds\t1\n")
    assert drawn_again(text)
    lines = text.splitlines()
    first, second = (line.split("\t") for line in lines[8:10])
    first[4], second[4] = "1" if first[4] != "1" else "2", "3"
    assert not drawn_again("\n".join([*lines[:8], "\t".join(first), "\t".join(second), *lines[10:], ""]))
    with pytest.raises(TastingError, match="its head lacks a line"):
        drawn_again("round-1\t482\t1\t1\t1\n")


@pytest.mark.parametrize(
    ("request_", "says"),
    [
        (TastingRequest("score", 1, 3), "name at least two"),
        (TastingRequest("triangle", 3, 3), "leave two, or ask how the versions score"),
        (TastingRequest("score", 7, 3), "at most 6"),
        (TastingRequest("score", 2, 0), "1 to 24 tasters"),
        (TastingRequest("preference", 2, 3, rounds=2), "a taster counts once"),
        (TastingRequest("triangle", 2, 3, rounds=5), "1 to 4 rounds"),
    ],
)
def test_what_cannot_be_tasted_is_refused_with_how_to_mend_it(request_, says):
    with pytest.raises(TastingError, match=says):
        plan(request_, SEED)
