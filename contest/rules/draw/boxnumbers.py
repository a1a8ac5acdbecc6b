"""Blind box numbers that tell nothing and mislead nobody.

A box number has three digits, 100 to 999, drawn at random (ISO 4120:2021, 5.5 asks for three-digit numbers
chosen at random). Left out are:

- the team numbers of the contest, and every number an earlier draw of it used;
- numbers that read upside down as another number: with the digits 0 1 6 8 9 only, a label turned over still
  reads, so 618 would turn into 819 and 160 into 091. Those that read the same both ways (101, 609, 986) stay;
- within one category, numbers that two swapped digits turn into one another (482 and 842, 284, 428).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from contest.rules.generator import Generator

_TURNED = str.maketrans("01689", "01986")
_ATTEMPTS = 20


class PoolTooSmall(ValueError):
    """There are not enough box numbers; the message says how many are needed and how many there are."""


def upside_down(number: str) -> str | None:
    """What a turned-over label reads, or None where it does not read as a number."""
    return number[::-1].translate(_TURNED) if set(number) <= set("01689") else None


def swaps(number: str) -> set[str]:
    """The other numbers that differ by two digits that changed places."""
    a, b, c = tuple(number)
    return {b + a + c, c + b + a, a + c + b} - {number}


def pool(*, teams: Collection[int], excluded: Collection[str]) -> list[str]:
    """All usable numbers, ascending."""
    taken = {str(team) for team in teams} | set(excluded)
    numbers = (str(n) for n in range(100, 1000))
    return [n for n in numbers if n not in taken and upside_down(n) in (None, n)]


def check_pool(boxes: Mapping[str, int], *, teams: Collection[int], excluded: Collection[str]) -> None:
    """Raise PoolTooSmall where the numbers cannot go round. `boxes`: category → boxes."""
    usable = pool(teams=teams, excluded=excluded)
    needed = sum(boxes.values())
    if needed > len(usable):
        raise PoolTooSmall(
            f"{needed} boxes need a number each and {len(usable)} three-digit numbers are left"
            f" ({len(excluded)} used by earlier draws); draw fewer boxes in one contest"
        )
    apart = _most_apart(usable)
    for key, count in boxes.items():
        if count > apart:
            raise PoolTooSmall(
                f"{key}: {count} boxes in one category and {apart} three-digit numbers that no two swapped"
                " digits confuse; split the category"
            )


def draw_numbers(
    boxes: Mapping[str, int], *, teams: Collection[int], excluded: Collection[str], generator: Generator
) -> dict[str, list[str]]:
    """Category → its box numbers in random order; all different over the contest.

    Raises PoolTooSmall.
    """
    check_pool(boxes, teams=teams, excluded=excluded)
    usable = pool(teams=teams, excluded=excluded)
    for _ in range(_ATTEMPTS):  # a nearly exhausted pool may need another order
        numbers = _deal(boxes, generator.shuffled(usable))
        if numbers is not None:
            return numbers
    raise PoolTooSmall(
        f"{sum(boxes.values())} boxes and {len(usable)} three-digit numbers left: too few to keep swapped"
        " digits apart; draw fewer boxes in one contest"
    )


def _deal(boxes: Mapping[str, int], shuffled: Sequence[str]) -> dict[str, list[str]] | None:
    left = list(shuffled)
    dealt: dict[str, list[str]] = {}
    for key, count in boxes.items():
        chosen: list[str] = []
        barred: set[str] = set()
        passed_over: list[str] = []
        for number in left:
            if len(chosen) < count and number not in barred:
                chosen.append(number)
                barred |= swaps(number)
            else:
                passed_over.append(number)
        if len(chosen) < count:
            return None
        dealt[key], left = chosen, passed_over
    return dealt


def _most_apart(usable: Sequence[str]) -> int:
    """The most numbers of which no two differ by a swap.

    Numbers fall into families with the same digits. Three different digits have six orders; a swap leads
    from the three even orders to the three odd ones or back, so the larger side is the most. With two equal
    digits every order is a swap of every other: one. With three equal digits there is one number.
    """
    families: dict[str, list[str]] = {}
    for number in usable:
        families.setdefault("".join(sorted(number)), []).append(number)
    most = 0
    for digits, members in families.items():
        if len(set(digits)) < 3:
            most += 1
            continue
        low, middle, high = tuple(digits)
        even = {low + middle + high, middle + high + low, high + low + middle}
        on_even_side = sum(member in even for member in members)
        most += max(on_even_side, len(members) - on_even_side)
    return most
