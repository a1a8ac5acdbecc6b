"""Marks that look like slips of the pen or the key: questions for whoever holds the paper, never changes.

The limits are this tool's own choice, set so that an ordinary flight raises few questions; no source gives them.
All comparisons are exact.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from contest.rules.say import listed, number_text

#: Marks away from the median of the rest of the table.
APART = Decimal(3)
#: Gain in closeness, per criterion over the two boxes, that makes a swap likely.
SWAP_GAIN = Decimal(2)
#: Fewer others than this make no median to be far from.
FEWEST_OTHERS = 2

Marks = Sequence[Decimal]


@dataclass(frozen=True, slots=True)
class Doubt:
    """One question about one score sheet: `kind` is "apart", "swapped" or "equal"."""

    kind: str
    seat: str
    boxes: tuple[str, ...]
    text: str


def doubts(
    cards: Mapping[tuple[str, str], Marks],
    *,
    boxes: Sequence[str],
    seats: Sequence[str],
    criteria: Sequence[str],
    apart: Decimal = APART,
) -> list[Doubt]:
    """The questions about one flight, by seat.

    ``cards`` maps (box, seat) to marks in the order of ``criteria``; missing cards are left out. ``boxes`` stand in
    serving order. A mark is in doubt ``apart`` or more from the median of the same box's other marks; two boxes
    served one after the other look swapped when exchanging the seat's two cards halves their distance from the
    rest of the table and gains two marks a criterion or more; a card of equal marks throughout is named once a
    sheet, with all the boxes it happens to.

    >>> rest = {("482", seat): (Decimal(8), Decimal(7)) for seat in "BCD"}
    >>> [doubt.text for doubt in doubts({("482", "A"): (Decimal(8), Decimal(4)), **rest},
    ...     boxes=["482"], seats="ABCD", criteria=["taste", "tenderness"])]
    ['482: 4 for tenderness, the rest of the table gives 7']
    """
    found: list[Doubt] = []
    for seat in seats:
        own = {box: cards[box, seat] for box in boxes if (box, seat) in cards}
        middles = {box: _medians(cards, box, seat, seats) for box in own}
        swapped = list(_swapped(seat, own, middles))
        paired = {box for doubt in swapped for box in doubt.boxes}
        for box in own:
            if box not in paired:
                found += _apart(seat, box, own[box], middles[box], criteria, apart)
        found += swapped
        found += _equal(seat, own)
    return found


def _medians(cards: Mapping[tuple[str, str], Marks], box: str, seat: str, seats: Sequence[str]) -> list[Decimal] | None:
    """The median of each criterion over the other seats, None where too few of them marked the box.

    The mean of the two middle marks halves a decimal: exact.
    """
    others = [cards[box, other] for other in seats if other != seat and (box, other) in cards]
    if len(others) < FEWEST_OTHERS:
        return None
    return [_median(column) for column in zip(*others, strict=True)]


def _median(marks: Iterable[Decimal]) -> Decimal:
    ordered = sorted(marks)
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2


def _apart(
    seat: str, box: str, marks: Marks, middle: Marks | None, criteria: Sequence[str], apart: Decimal
) -> Iterable[Doubt]:
    for name, mark, rest in zip(criteria, marks, middle or (), strict=False):
        if abs(mark - rest) >= apart:
            text = f"{box}: {number_text(mark)} for {name}, the rest of the table gives {number_text(rest)}"
            yield Doubt("apart", seat, (box,), text)


def _swapped(seat: str, own: Mapping[str, Marks], middles: Mapping[str, Marks | None]) -> Iterable[Doubt]:
    for one, other in pairwise(own):
        first, second = middles[one], middles[other]
        if first is None or second is None:
            continue
        now = _distance(own[one], first) + _distance(own[other], second)
        exchanged = _distance(own[other], first) + _distance(own[one], second)
        if now - exchanged >= SWAP_GAIN * len(own[one]) and exchanged * 2 <= now:
            text = f"{one} and {other} look swapped: each card fits the other box better"
            yield Doubt("swapped", seat, (one, other), text)


def _distance(marks: Marks, middle: Marks) -> Decimal:
    return sum((abs(mark - rest) for mark, rest in zip(marks, middle, strict=True)), Decimal(0))


def _equal(seat: str, own: Mapping[str, Marks]) -> Iterable[Doubt]:
    equal = [box for box, marks in own.items() if len(marks) > 1 and len(set(marks)) == 1]
    if equal:
        which = listed([f"{box} ({number_text(own[box][0])})" for box in equal])
        yield Doubt("equal", seat, tuple(equal), f"equal marks throughout for {which}")
