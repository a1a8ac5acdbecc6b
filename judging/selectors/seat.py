"""What a judge's phone may know: the boxes of the seat and whether each is handed in. No mark is loaded."""

from typing import Any

from contest.models import Category, Contest, Seat
from contest.rules.say import number_text
from contest.selectors.rules import category_rules
from judging.models import PortionsRound
from judging.rules.scale import allowed
from judging.selectors.flights import Flight, Sheet, flights

#: The criterion that is marked for every box before portions go round.
FIRST_LOOK = "appearance"

OPEN, IN, CLOSED, ANEW = "open", "in", "closed", "anew"


def seat_label(seat: Seat) -> str:
    """ "3B": table and seat."""
    return f"{seat.table.number}{seat.letter}"


def seat_state(contest: Contest, seat: Seat) -> dict[str, Any]:
    """The state of a seat as JSON for the page and for the phone: categories in the order of the day, boxes as served.

    A box is `open`, `in`, `closed` (no card is expected of this seat) or `anew` (dismissed: to be marked again, the
    how-manieth time in `times`). Why a box is closed stays with the desk and the head judge.
    """
    rounds = set(PortionsRound.objects.filter(table=seat.table_id).values_list("category_id", flat=True))
    return {
        "contest": contest.name,
        "uid": contest.uid.hex,
        "seat": seat_label(seat),
        "practice": contest.kind == Contest.Kind.PRACTICE,  # a taster at home: no clerk, no captain, plates for boxes
        "locked": contest.marks_locked_at is not None,
        "categories": [
            _category(flight, sheet, flight.category.pk in rounds)
            for flight in flights(contest, table=seat.table)
            for sheet in flight.sheets
            if sheet.seat == seat
        ],
    }


def _category(flight: Flight, sheet: Sheet, portions: bool) -> dict[str, Any]:
    return {
        "key": flight.category.key,
        "name": flight.category.name,
        "portions": portions,
        "vacant": sheet.vacant,
        "criteria": criteria(flight.category),
        "boxes": [_box(flight, sheet, box.pk, box.number) for box in flight.boxes],
    }


def _box(flight: Flight, sheet: Sheet, pk: int, number: str) -> dict[str, Any]:
    if number not in sheet.expected:
        return {"number": number, "state": CLOSED}
    if number not in sheet.missing:
        return {"number": number, "state": IN}
    times = len(flight.rulings[pk].dismissed.get(sheet.seat.pk, ())) if pk in flight.rulings else 0
    return {"number": number, "state": ANEW, "times": times} if times else {"number": number, "state": OPEN}


def criteria(category: Category) -> list[dict[str, Any]]:
    """The criteria in sheet order, each with its marks and their words, the highest first."""
    rules = category_rules(category)
    words = dict(rules.scale.words)
    return [
        {
            "key": each.key,
            "name": each.name,
            "first": each.key == FIRST_LOOK,
            "marks": [[number_text(mark), words.get(mark, "")] for mark in reversed(allowed(rules, each.key))],
        }
        for each in rules.criteria
    ]
