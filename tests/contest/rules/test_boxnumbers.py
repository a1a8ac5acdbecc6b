from collections import Counter

import pytest

from contest.rules.draw.boxnumbers import PoolTooSmall, check_pool, draw_numbers, pool, swaps, upside_down
from contest.rules.generator import Generator

FOUR = {"chicken": 36, "ribs": 36, "pork": 36, "brisket": 36}


def draw(boxes=FOUR, teams=range(1, 37), excluded=(), seed=b"seed"):
    return draw_numbers(boxes, teams=teams, excluded=excluded, generator=Generator(seed))


@pytest.mark.parametrize(
    ("number", "turned"),
    [("618", "819"), ("160", "091"), ("101", "101"), ("986", "986"), ("906", "906"), ("482", None)],
)
def test_a_turned_over_label(number, turned):
    assert upside_down(number) == turned


def test_the_pool_leaves_out_what_reads_differently_upside_down():
    numbers = pool(teams=(), excluded=())
    # 900 numbers; of the 4·5·5 with the digits 0 1 6 8 9 only, the 4·3 that read the same both ways stay
    assert len(numbers) == 900 - 100 + 12
    assert {"101", "111", "181", "609", "619", "689", "808", "818", "888", "906", "916", "986"} <= set(numbers)
    assert not {"618", "819", "160", "110", "698"} & set(numbers)


def test_swapped_digits():
    assert swaps("482") == {"842", "284", "428"}
    assert swaps("224") == {"242", "422"}
    assert swaps("555") == set()


def test_numbers_are_unique_across_the_contest_and_none_is_a_teams_or_was_used_before():
    teams, excluded = range(100, 136), {"482", "733"}
    for seed in range(20):
        numbers = draw(teams=teams, excluded=excluded, seed=b"%d" % seed)
        everything = [number for flight in numbers.values() for number in flight]
        assert len(everything) == len(set(everything)) == 144
        assert not set(everything) & ({str(team) for team in teams} | excluded)
        assert all(len(number) == 3 and 100 <= int(number) <= 999 for number in everything)


def test_no_two_in_a_category_differ_by_a_swap():
    for seed in range(20):
        for flight in draw(seed=b"%d" % seed).values():
            assert not any(swaps(number) & set(flight) for number in flight)


def test_numbers_have_no_preferred_order_or_size():
    firsts = Counter(draw({"ribs": 12}, seed=b"%d" % seed)["ribs"][0][0] for seed in range(900))
    by_digit = Counter(number[0] for number in pool(teams=range(1, 37), excluded=()))
    expected = {digit: 900 * n / sum(by_digit.values()) for digit, n in by_digit.items()}
    chi_squared = sum((firsts[digit] - e) ** 2 / e for digit, e in expected.items())
    assert chi_squared < 31.8  # upper 1e-4 point at 8 degrees of freedom, scipy.stats.chi2.isf


def test_a_pool_that_is_too_small_names_both_counts():
    with pytest.raises(PoolTooSmall, match=r"900 boxes need a number each and 812 three-digit numbers are left"):
        check_pool({"ribs": 300, "pork": 300, "brisket": 300}, teams=(), excluded=())


def test_earlier_draws_shrink_the_pool():
    used = pool(teams=range(1, 25), excluded=())[:730]
    with pytest.raises(PoolTooSmall, match=r"96 boxes .* 82 three-digit numbers are left \(730 used by earlier"):
        draw({"a": 24, "b": 24, "c": 24, "d": 24}, teams=range(1, 25), excluded=used)


def test_one_category_too_large_to_keep_swapped_digits_apart():
    with pytest.raises(PoolTooSmall, match=r"ribs: 500 boxes in one category and \d+ three-digit numbers"):
        check_pool({"ribs": 500}, teams=(), excluded=())


def test_the_largest_category_that_is_promised_can_be_drawn():
    with pytest.raises(PoolTooSmall) as refused:
        check_pool({"ribs": 800}, teams=(), excluded=())
    most = int(str(refused.value).split(" and ")[1].split()[0])
    numbers = draw({"ribs": most}, teams=())["ribs"]
    assert len(set(numbers)) == most > 300
