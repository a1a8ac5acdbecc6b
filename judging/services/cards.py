"""Handing in a score sheet: all of it or nothing, and nothing is ever overwritten."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db import transaction

from contest.models import Category, Contest, Seat
from contest.refusals import Refused
from contest.rules.ruleset import RuleSet
from contest.rules.say import number_text
from contest.selectors.rules import category_rules
from contest.services.log import write_log
from judging.models import Card, Mark, Reading
from judging.rules.scale import MarkError, parse_mark
from judging.selectors.cards import Line, sheet_lines
from judging.selectors.flights import is_vacant

AFTER_DISMISSAL = "marked anew after the card was dismissed"


class SheetRefused(Refused):
    """A sheet that cannot be handed in as it is; nothing of it was stored.

    `cells` maps (box number, criterion key) to what is wrong with a mark, `lines` a box number to what is wrong
    with its card, `reason` says what is wrong with the reason; the message speaks of the sheet as a whole.
    `stale` names the boxes whose newer marks the message has just shown.
    """

    def __init__(
        self,
        message: str,
        *,
        cells: Mapping[tuple[str, str], str] | None = None,
        lines: Mapping[str, str] | None = None,
        reason: str = "",
        stale: Iterable[str] = (),
    ) -> None:
        self.cells, self.lines, self.reason = dict(cells or {}), dict(lines or {}), reason
        self.stale = frozenset(stale)
        super().__init__(message)


@dataclass(frozen=True)
class HandedIn:
    """What became of a sheet: box numbers in serving order."""

    first: tuple[str, ...] = ()
    corrected: tuple[str, ...] = ()
    unchanged: tuple[str, ...] = ()


@dataclass
class _Sorted:
    first: list[tuple[Line, dict[str, Decimal]]] = field(default_factory=list)
    corrected: list[tuple[Line, dict[str, Decimal]]] = field(default_factory=list)
    unchanged: list[Line] = field(default_factory=list)


@transaction.atomic
def hand_in_sheet(
    *,
    contest: Contest,
    category: Category,
    seat: Seat,
    marks: Mapping[str, Mapping[str, Decimal | str]],
    by: str,
    reason: str = "",
    expected_versions: Mapping[str, str] | None = None,
) -> HandedIn:
    """Store the cards of one score sheet: box number → criterion key → mark.

    Boxes that `marks` does not name stay as they are. A card without marks gets its first reading; a card whose
    marks differ gets a correction, which needs a reason; a card whose marks are the same is left alone, so that
    handing the same sheet in twice does no harm. With `expected_versions` (box number → the version that the
    page showed), a card that was changed meanwhile is refused with both values.
    Raises SheetRefused, with nothing stored, for whatever cannot stand.
    """
    contest = Contest.objects.select_for_update(no_key=True).get(pk=contest.pk)
    refuse_closed(contest)
    _refuse_seat(contest, category, seat)
    lines = {line.box.number: line for line in sheet_lines(contest, category, seat)}
    _refuse_boxes(lines, marks, category, seat)
    parsed, cells = read_marks(marks, category_rules(category))
    if cells:
        raise SheetRefused(f"{_counted(cells)} cannot stand. Nothing was handed in yet.", cells=cells)
    found = _sort(lines, parsed)
    _refuse_stale(found, expected_versions)
    reason = " ".join(reason.split())[:300]
    if not reason and any(line.stands for line, _ in found.corrected):
        numbers = ", ".join(line.box.number for line, _ in found.corrected if line.stands)
        raise SheetRefused(
            f"Marks that were handed in change for {numbers}: say why.",
            reason="Say why the marks change, for example: misread 3 as 8.",
        )
    _store(contest, category, seat, found, by, reason)
    order = list(lines)
    return HandedIn(
        first=tuple(sorted((line.box.number for line, _ in found.first), key=order.index)),
        corrected=tuple(sorted((line.box.number for line, _ in found.corrected), key=order.index)),
        unchanged=tuple(sorted((line.box.number for line in found.unchanged), key=order.index)),
    )


def refuse_closed(contest: Contest) -> None:
    if contest.state == Contest.State.PREPARING:
        raise SheetRefused("The boxes are not drawn yet: no marks can be handed in.")
    if contest.marks_locked_at is not None and contest.is_sealed:
        raise SheetRefused("The marks are locked: unlock them on the tally page, with a reason, then hand in again.")
    if contest.marks_locked_at is not None:
        raise SheetRefused(
            "The tally is closed: unlock the marks on the tally page, with a reason, correct them, then revise it."
        )


def _refuse_seat(contest: Contest, category: Category, seat: Seat) -> None:
    if category.contest_id != contest.pk or seat.table.contest_id != contest.pk:
        raise SheetRefused("This category or seat belongs to another contest.")
    if category.is_cancelled:
        raise SheetRefused(f"{category.name} was cancelled: no marks are taken.")
    if is_vacant(category, seat):
        raise SheetRefused(
            f"Seat {seat.letter} of table {seat.table.number} is vacant in {category.name.lower()}: no card is "
            "expected. Check the letter on the sheet, or seat a judge there first."
        )


def _refuse_boxes(lines: Mapping[str, Line], marks: Mapping[str, object], category: Category, seat: Seat) -> None:
    wrong = {
        number: f"{number} is not a box of {category.name.lower()} at table {seat.table.number}"
        for number in marks
        if number not in lines
    }
    wrong |= {
        number: f"{number}: {lines[number].why_not}" for number in marks if number in lines and lines[number].why_not
    }
    if wrong:
        raise SheetRefused("; ".join(wrong.values()) + ".", lines=wrong)


def read_marks(
    marks: Mapping[str, Mapping[str, Decimal | str]], rules: RuleSet
) -> tuple[dict[str, dict[str, Decimal]], dict[tuple[str, str], str]]:
    """Every mark as the scale knows it, and what is wrong with each cell that cannot stand."""
    keys = [criterion.key for criterion in rules.criteria]
    parsed: dict[str, dict[str, Decimal]] = {}
    cells: dict[tuple[str, str], str] = {}
    for number, given in marks.items():
        for key in given:
            if key not in keys:
                cells[number, key] = f"there is no criterion {key} on this sheet"
        for key in keys:
            value = given.get(key, "")
            text = value if isinstance(value, str) else number_text(value)
            try:
                parsed.setdefault(number, {})[key] = parse_mark(text, rules, key)
            except MarkError as error:
                cells[number, key] = str(error)
    return parsed, cells


def _counted(cells: Mapping[tuple[str, str], str]) -> str:
    return f"{len(cells)} marks" if len(cells) > 1 else "One mark"


def _sort(lines: Mapping[str, Line], parsed: Mapping[str, dict[str, Decimal]]) -> _Sorted:
    found = _Sorted()
    for number, given in parsed.items():
        line = lines[number]
        if line.reading is None:
            found.first.append((line, given))
        elif line.dismissed or line.marks != given:
            found.corrected.append((line, given))
        else:
            found.unchanged.append(line)
    return found


def _refuse_stale(found: _Sorted, expected: Mapping[str, str] | None) -> None:
    if expected is None:
        return
    stale = {}
    for line, given in [*found.first, *found.corrected]:
        number = line.box.number
        if expected.get(number, "0") != line.version:
            stale[number] = _both_values(line, given)
    if stale:
        raise SheetRefused(
            "Somebody else handed in marks of this sheet while it lay here. Look at the paper again: "
            + "; ".join(stale.values())
            + ".",
            lines=stale,
            stale=stale,
        )


def _both_values(line: Line, given: Mapping[str, Decimal]) -> str:
    number, here = line.box.number, marks_text(given)
    if line.reading is None:
        return f"{number}: no marks stand any more, here {here}"
    if line.dismissed:
        return f"{number}: {marks_text(line.marks, given)} was dismissed, here {here}"
    return f"{number}: {marks_text(line.marks, given)} by {line.reading.by or 'somebody'}, here {here}"


def marks_text(marks: Mapping[str, Decimal], order: Mapping[str, object] | None = None) -> str:
    """ "8 9 7": marks in the order of the sheet, which `order` has when `marks` does not."""
    return " ".join(number_text(marks[key]) for key in (order or marks) if key in marks)


def _store(contest: Contest, category: Category, seat: Seat, found: _Sorted, by: str, reason: str) -> None:
    new = [*found.first, *found.corrected]
    if not new:
        return
    boxes = [line.box for line, _ in new]
    Card.objects.bulk_create((Card(box=box, seat=seat) for box in boxes), ignore_conflicts=True)
    cards = {card.box_id: card for card in Card.objects.filter(seat=seat, box__in=boxes)}
    Reading.objects.filter(card__in=cards.values(), standing=True).update(standing=False)
    first = {line.box.pk for line, _ in found.first}
    for line, given in sorted(new, key=lambda each: each[0].box.position):
        is_first = line.box.pk in first
        store_reading(
            contest=contest,
            category=category,
            seat=seat,
            card=cards[line.box.pk],
            number=line.box.number,
            kind=Reading.Kind.FIRST if is_first else Reading.Kind.CORRECTION,
            marks=given,
            by=by,
            reason="" if is_first else reason or AFTER_DISMISSAL,
        )


LOGGED = {
    Reading.Kind.FIRST: "card handed in",
    Reading.Kind.CORRECTION: "card corrected",
    Reading.Kind.CONFLICT: "card in conflict",
}


def store_reading(
    *,
    contest: Contest,
    category: Category,
    seat: Seat,
    card: Card,
    number: str,
    kind: Reading.Kind,
    marks: Mapping[str, Decimal],
    by: str,
    **more: Any,
) -> Reading:
    """One reading of the card of box `number` with its marks and its row in the log; `more` are its other fields.

    Whoever calls has checked the marks, and has taken the standing from the reading before where this one stands.
    """
    reading = Reading.objects.create(card=card, kind=kind, by=by[:120], **more)
    Mark.objects.bulk_create(Mark(reading=reading, criterion=key, value=mark) for key, mark in marks.items())
    write_log(
        contest=contest,
        chain="cards",
        what=LOGGED[kind],
        facts={
            "category": category.key,
            "box": number,
            "seat": f"{seat.table.number}{seat.letter}",
            "marks": {key: number_text(mark) for key, mark in marks.items()},
        },
        by=by,
    )
    return reading
