"""Questions about marks that look like slips, each with the sheet it is about."""

from dataclasses import dataclass
from decimal import Decimal

from django.urls import reverse

from contest.models import Category, Contest, Seat, Table
from contest.selectors.rules import category_rules
from judging.models import Reading
from judging.rules.doubtful import doubts
from judging.selectors.flights import Flight, Sheet, flights
from judging.selectors.marks import marks_by_reading

_ORDER = ("swapped", "apart", "equal")


@dataclass(frozen=True, slots=True)
class DoubtfulMarks:
    """One question: about a score sheet, its boxes, in words, with the address where the sheet is opened."""

    kind: str
    category: Category
    table: Table
    seat: Seat
    boxes: tuple[str, ...]
    text: str
    url: str


def doubtful(contest: Contest) -> list[DoubtfulMarks]:
    """Every question about the marks that stand: likely slips before cards that are only even."""
    marks = _marks_by_card(contest)
    questions = [question for flight in flights(contest) for question in _of_flight(contest, flight, marks)]
    return sorted(questions, key=lambda question: _ORDER.index(question.kind))


def _of_flight(contest: Contest, flight: Flight, marks: "dict[tuple[int, int], _Given]") -> list[DoubtfulMarks]:
    criteria = category_rules(flight.category).criteria
    seats = {sheet.seat.letter: sheet.seat for sheet in flight.sheets}
    judged = [
        box
        for box in flight.boxes
        if box.pk in flight.judged and not (box.pk in flight.rulings and flight.rulings[box.pk].out)
    ]
    cards = {
        (box.number, letter): tuple(given.marks[each.key] for each in criteria)
        for box in judged
        for letter, seat in seats.items()
        if (given := marks.get((box.pk, seat.pk)))
        and all(each.key in given.marks for each in criteria)
        and not (box.pk in flight.rulings and flight.rulings[box.pk].is_dismissed(seat.pk, given.reading))
    }
    found = doubts(
        cards,
        boxes=[box.number for box in judged],
        seats=list(seats),
        criteria=[each.name.lower() for each in criteria],
    )
    return [
        DoubtfulMarks(
            kind=doubt.kind,
            category=flight.category,
            table=flight.table,
            seat=seats[doubt.seat],
            boxes=doubt.boxes,
            text=f"{flight.category.name}, table {flight.table.number}, seat {doubt.seat}: {doubt.text}",
            url=sheet_url(contest, flight.category, flight.table, seats[doubt.seat]),
        )
        for doubt in found
    ]


def sheet_url(contest: Contest, category: Category, table: Table, seat: Seat) -> str:
    return reverse("judging:sheet", args=[contest.slug, category.key, table.number, seat.letter])


def again_url(contest: Contest, sheet: Sheet) -> str:
    """Where a sheet is keyed a second time."""
    return reverse("judging:again", args=[contest.slug, sheet.category.key, sheet.table.number, sheet.seat.letter])


@dataclass(slots=True)
class _Given:
    reading: int
    marks: dict[str, Decimal]


def _marks_by_card(contest: Contest) -> dict[tuple[int, int], _Given]:
    """(box, seat) → marks of the standing reading."""
    standing = Reading.objects.filter(standing=True, card__box__contest=contest, card__box__draw__standing=True)
    marks = marks_by_reading(standing)
    rows = standing.values_list("id", "card__box_id", "card__seat_id")
    return {(box, seat): _Given(reading, marks[reading]) for reading, box, seat in rows if reading in marks}
