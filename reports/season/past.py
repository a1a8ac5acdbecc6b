"""A team's results from contests elsewhere: one keyed by hand, or many from a table that is shown before it is kept."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify

from contest.models import Team
from contest.rules.say import number_text
from contest.selectors.people import fold
from contest.services.imports import Preview, Row, lay_out
from contest.tablefile import Rows
from reports.models import PastResult

#: Column → headings that are understood besides its own name, folded.
COLUMNS: dict[str, frozenset[str]] = {
    "contest": frozenset({"contest name", "event"}),
    "date": frozenset({"day"}),
    "category": frozenset({"meat"}),
    "place": frozenset({"rank"}),
    "field": frozenset({"of", "teams", "boxes"}),
    "total": frozenset({"points", "score"}),
    "possible": frozenset({"most possible", "maximum", "max"}),
    "table": frozenset(),
    "marks": frozenset({"cards"}),
}
HINTS = (
    "The contest's name.",
    "As 2026-06-13: year, month, day.",
    "For example chicken, ribs, pork or brisket.",
    "The place of your box, a whole number; empty where it was not ranked.",
    "How many boxes were ranked in the category; may stay empty.",
    "Your box's points; may stay empty.",
    "The most points that a box could get there; may stay empty, but boxes are compared across contests by it.",
    "The table that judged the box, if you know it.",
    "Each judge's marks in the order of the score sheet, judges parted by a stroke: 8 9 8 / 7 8 8.",
)
MUST = ("contest", "date", "category")
MOST_CARDS, MOST_MARKS = 12, 8


def category_key(name: str) -> str:
    """The key under which a typed category stands: `Pork Ribs` → `pork-ribs`. ValidationError where none is left."""
    key = slugify(name)[:30].strip("-_").replace("_", "-")
    if not re.match(r"[a-z]", key):
        raise ValidationError(f"Category “{name}”: begin it with a letter, for example Ribs.")
    return key


def parse_marks(text: str) -> list[list[str]]:
    """`8 9 8 / 7 8 8` as cards of marks. Raises ValidationError that names the card."""
    cards = []
    for number, part in enumerate((each for each in text.split("/") if each.strip()), start=1):
        marks = part.replace(",", ".").split()
        if len(marks) > MOST_MARKS or not all(re.fullmatch(r"\d{1,3}(\.\d{1,4})?", mark) for mark in marks):
            raise ValidationError(f"Marks, judge {number}: “{part.strip()}” are no marks; type them as 8 9 8 / 7 8 8.")
        cards.append(marks)
    if len(cards) > MOST_CARDS:
        raise ValidationError(f"Marks of {len(cards)} judges: at most {MOST_CARDS}.")
    if len({len(card) for card in cards}) > 1:
        raise ValidationError("The judges have different numbers of marks: each needs one for every criterion.")
    return cards


def marks_text(marks: Sequence[Sequence[str]]) -> str:
    return " / ".join(" ".join(card) for card in marks)


def parse_points(name: str, text: str) -> str:
    """A total as exact text, a decimal comma read as a point. Raises ValidationError."""
    given = text.replace(" ", "")
    if "," in given and "." not in given:
        given = given.replace(",", ".")
    try:
        number = Decimal(given)
    except InvalidOperation:
        number = None
    if number is None or not number.is_finite() or not 0 <= number < 10**6 or len(given) > 20:
        raise ValidationError(f"{name.capitalize()} “{text}”: type points as a number, for example 168.5.")
    return number_text(number)


@transaction.atomic
def keep_result(*, team: Team, row: PastResult | None = None, **fields: Any) -> PastResult:
    """One result typed in, or its change; `fields` are the model's. Raises ValidationError."""
    row = row or PastResult(team=team)
    if row.imported_id is not None:
        raise ValidationError("This result comes from a results package and stands as it is.")
    for name, value in fields.items():
        setattr(row, name, value)
    row.key = category_key(row.category)
    check_sense(row)
    row.full_clean()
    row.save()
    return row


def check_sense(row: PastResult) -> None:
    """What cannot be: a place beyond the field, more points than possible, nothing at all."""
    if row.place and row.field and row.place > row.field:
        raise ValidationError({"place": f"Place {row.place} of a field of {row.field}: one of the two is wrong."})
    if row.total and row.possible and Fraction(row.total) > Fraction(row.possible):
        raise ValidationError({"total": f"{row.total} points where {row.possible} are possible: one is wrong."})
    if row.place is None and not row.total and not row.marks:
        raise ValidationError("Type at least the place, the points or the marks.")


def delete_result(*, row: PastResult) -> None:
    row.delete()


# Many from a table


def check_results(team: Team, rows: Rows, today: date) -> Preview:
    """Every row with its problems; changes nothing."""
    laid_out, notes = lay_out(rows, COLUMNS, lambda cells: list(COLUMNS), "contest")
    kept = PastResult.objects.filter(team=team).values_list("date", "contest_name", "key")
    there = {(day, fold(name), key) for day, name, key in kept}
    seen: dict[tuple[Any, ...], int] = {}
    for row in laid_out:
        result = _understood(team, row, today)
        if result is None:
            continue
        slot = (result.date, fold(result.contest_name), result.key)
        if slot in there:
            row.problems.append("This category of this contest is among your past results already.")
        elif slot in seen:
            row.problems.append(f"The same contest, date and category as row {seen[slot]}: delete one of them.")
        else:
            seen[slot] = row.number
    return Preview(list(COLUMNS), laid_out, [*rows.notes, *notes])


def _understood(team: Team, row: Row, today: date) -> PastResult | None:
    """The row as a result, None where it has problems, which are noted on it."""
    if row.problems:
        return None
    given = row.given
    row.problems += [f"No {name}: fill it in." for name in MUST if not given[name]]
    result = PastResult(team=team, contest_name=given["contest"], category=given["category"], table=given["table"])
    readers: dict[str, Any] = {
        "date": lambda text: _date(text, today),
        "place": lambda text: _whole("place", text),
        "field": lambda text: _whole("field", text),
        "total": lambda text: parse_points("total", text),
        "possible": lambda text: parse_points("possible", text),
        "marks": parse_marks,
    }
    for name, reader in readers.items():
        if given[name]:
            try:
                setattr(result, name, reader(given[name]))
            except ValidationError as error:
                row.problems += error.messages
    if row.problems:
        return None
    try:
        result.key = category_key(result.category)
        check_sense(result)
        result.clean_fields()
    except ValidationError as error:
        row.problems += error.messages
    return None if row.problems else result


def _date(text: str, today: date) -> date:
    try:
        found = date.fromisoformat(text.partition("T")[0])
    except ValueError:
        raise ValidationError(f"Date “{text}”: type it as {today.isoformat()}: year, month, day.") from None
    if found > today:
        raise ValidationError(f"Date {found.isoformat()} is still to come.")
    if found.year < 1950:
        raise ValidationError(f"Date {found.isoformat()}: look at the year again.")
    return found


def _whole(name: str, text: str) -> int:
    if not re.fullmatch(r"\d{1,4}", text, re.ASCII) or int(text) < 1:
        raise ValidationError(f"{name.capitalize()} “{text}”: type a whole number from 1 to 9999.")
    return int(text)


class Changed(Exception):
    """What may be imported is no longer what was shown; carries the new preview."""

    def __init__(self, preview: Preview) -> None:
        super().__init__("the list changed since it was shown")
        self.preview = preview


@transaction.atomic
def import_results(*, team: Team, rows: Rows, shown: Sequence[int], today: date) -> int:
    """Keep the good rows, `shown` by their row numbers; all of them or, raising Changed, none."""
    Team.objects.select_for_update().get(pk=team.pk)
    preview = check_results(team, rows, today)
    if preview.good_numbers != list(shown):
        raise Changed(preview)
    for row in preview.good:
        result = _understood(team, row, today)
        if result is not None:
            result.save()
    return len(preview.good)


# Reading


@dataclass(frozen=True, slots=True)
class PastBox:
    """One box of the team at a contest elsewhere. Totals are exact text, "" where not known.

    `contest` names the contest among all boxes: its uid where it came as a package, else date and name.
    `has_field`: the other boxes' cards are here too, so that the hardness of its table can be fitted; without them it
    cannot be told apart from how good the box was. `number`: of the result among all that are kept.
    """

    contest: str
    contest_name: str
    date: date
    key: str
    category: str
    place: int | None
    field: int | None
    total: str
    possible: str
    table: str
    marks: list[list[str]] = field(default_factory=list)
    has_field: bool = False
    number: int = 0
    box: str = ""
    dropped: str = ""


def past_boxes(team: Team) -> list[PastBox]:
    """The team's boxes at contests elsewhere, oldest first."""
    rows = PastResult.objects.filter(team=team).select_related("imported").defer("imported__boxes", "imported__pending")
    return [
        PastBox(
            contest=str(row.imported.uid) if row.imported else f"{row.date.isoformat()} {fold(row.contest_name)}",
            contest_name=row.contest_name,
            date=row.date,
            key=row.key,
            category=row.category,
            place=row.place,
            field=row.field,
            total=row.total,
            possible=row.possible,
            table=row.table,
            marks=row.marks,
            has_field=row.imported is not None,
            number=row.pk,
            box=row.box,
            dropped=row.dropped,
        )
        for row in rows.order_by("date", "contest_name", "key")
    ]
