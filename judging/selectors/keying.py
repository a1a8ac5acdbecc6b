"""Which sheets are keyed a second time, and where two readings of one card differ. No team is loaded here.

The lines for the second keyer are made without loading a mark: blindness to the first keying is kept here.
"""

from collections import defaultdict
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

from contest.models import Category, Contest, ContestRole, Draw, Seat, Table
from contest.present import present
from contest.rules.say import number_text
from contest.selectors import boxes as box_selectors
from contest.selectors.rules import category_rules
from judging.models import Reading, Resolution
from judging.rules.keying import KeyingErrors, in_sample
from judging.selectors import rulings as ruling_selectors
from judging.selectors.cards import Line
from judging.selectors.flights import Flight, Sheet, flights
from judging.selectors.marks import marks_by_reading

OTHERS = (Reading.Kind.SECOND, Reading.Kind.CONFLICT)
Slot = tuple[int, int]  # (box, seat)


class Row(NamedTuple):
    """A reading without its marks."""

    box: int
    seat: int
    id: int
    kind: str
    standing: bool
    by: str
    on_paper: bool
    chosen: str | None


@dataclass(frozen=True)
class History:
    """The readings of one card in the order in which they were made."""

    rows: list[Row]
    dismissed: frozenset[int | None] = frozenset()

    @property
    def standing(self) -> Row | None:
        dismissed = self.dismissed
        return next(
            (row for row in self.rows if row.standing and not ruling_selectors.is_dismissed(row.id, dismissed)), None
        )

    def against(self, other: Row) -> Row | None:
        """The reading that stood when `other` was made; None where it was dismissed since, or another stands for
        a card that was marked anew: the paper is another, then."""
        before = [row for row in self.rows if row.kind not in OTHERS and row.id < other.id]
        found = before[-1] if before else None
        later = any(gone is None or (found is not None and gone >= found.id) for gone in self.dismissed)
        return None if later else found

    @property
    def second(self) -> Row | None:
        """The second keying of the paper that stands now."""
        found = [row for row in self.rows if row.kind == Reading.Kind.SECOND and self.against(row) is not None]
        return found[-1] if found else None

    @property
    def is_due(self) -> bool:
        """Whether marks that somebody keyed from paper stand, and no second keying of them is there."""
        return self.standing is not None and self.standing.on_paper and self.second is None


@dataclass(frozen=True)
class SecondSheet:
    """A score sheet that is keyed twice: who keyed it first, and the box numbers still to be keyed again."""

    sheet: Sheet
    keyed_by: frozenset[str]
    due: tuple[str, ...]
    started: bool

    @property
    def done(self) -> bool:
        return self.sheet.done and not self.due

    @property
    def waits(self) -> bool:
        """Whether it can be keyed again now."""
        return self.sheet.done and bool(self.due)


@dataclass(frozen=True)
class Difference:
    """Two readings of one card that are not alike, each as (criterion, mark, whether it differs) in sheet order."""

    reading: int
    kind: str
    category: Category
    table: Table
    seat: Seat
    box: str
    standing_by: str
    other_by: str
    standing: tuple[tuple[str, str, bool], ...]
    other: tuple[tuple[str, str, bool], ...]

    @property
    def other_is_empty(self) -> bool:
        return not any(mark for _, mark, _ in self.other)

    @property
    def label(self) -> str:
        return f"{self.table.number}{self.seat.letter}"


def histories(contest: Contest, *, seat: Seat | None = None, with_others: bool = False) -> dict[Slot, History]:
    """The readings of the standing draw's cards by slot; `with_others` only of cards that were read twice."""
    readings = Reading.objects.filter(card__box__contest=contest, card__box__draw__standing=True)
    if seat is not None:
        readings = readings.filter(card__seat=seat)
    if with_others:
        cards = set(readings.filter(kind__in=OTHERS).values_list("card_id", flat=True))
        if not cards:
            return {}
        readings = readings.filter(card__readings__kind__in=OTHERS).distinct()
    ruled = ruling_selectors.in_force(contest)
    found: dict[Slot, list[Row]] = defaultdict(list)
    for box, place, pk, kind, standing, by, device, key, chosen in readings.order_by("id").values_list(
        "card__box_id",
        "card__seat_id",
        "id",
        "kind",
        "standing",
        "by",
        "device",
        "client_key",
        "resolution__chosen",
    ):
        found[box, place].append(Row(box, place, pk, kind, standing, by, not device and not key, chosen))
    return {
        slot: History(rows, frozenset(ruled[slot[0]].dismissed.get(slot[1], ())) if slot[0] in ruled else frozenset())
        for slot, rows in found.items()
    }


def is_keyed_twice(contest: Contest, commitment: str, sheet: Sheet) -> bool:
    """Whether the contest's choice, and in a sample the draw, asks for a second keying of this sheet."""
    if contest.keying == Contest.Keying.ALL:
        return True
    if contest.keying == Contest.Keying.SAMPLE:
        return in_sample(commitment, sheet.category.key, sheet.table.number, sheet.seat.letter)
    return False


def second_sheets(contest: Contest, found: list[Flight] | None = None) -> list[SecondSheet]:
    """Every sheet that is to be keyed twice, by category, table and seat; none where sheets are keyed once."""
    if contest.keying == Contest.Keying.SINGLE or not contest.is_drawn:
        return []
    commitment = Draw.objects.filter(contest=contest, standing=True).values_list("commitment", flat=True).first()
    read = histories(contest)
    return [
        _second(flight, sheet, read)
        for flight in (flights(contest) if found is None else found)
        for sheet in flight.sheets
        if sheet.expected and is_keyed_twice(contest, commitment or "", sheet)
    ]


def _second(flight: Flight, sheet: Sheet, read: dict[Slot, History]) -> SecondSheet:
    own = {box.number: read.get((box.pk, sheet.seat.pk)) for box in flight.boxes if box.number in sheet.expected}
    kept = [history for history in own.values() if history is not None]
    return SecondSheet(
        sheet,
        keyed_by=frozenset(row.by for history in kept for row in history.rows if row.kind not in OTHERS),
        due=tuple(number for number, history in own.items() if history is not None and history.is_due),
        started=any(history.second for history in kept),
    )


def others_may_key(contest: Contest, keyed_by: frozenset[str]) -> bool:
    """Whether an account that did not key the sheet first could key it a second time."""
    rows = ContestRole.objects.filter(contest=contest).select_related("account")
    return any(str(row.account) not in keyed_by for row in rows if row.tally or row.organiser)


def find_second(contest: Contest, category: Category, seat: Seat) -> SecondSheet | None:
    """The sheet as one that is keyed twice; None where it is keyed once."""
    return next(
        (
            each
            for each in second_sheets(contest)
            if (each.sheet.category.pk, each.sheet.seat.pk) == (category.pk, seat.pk)
        ),
        None,
    )


def why_not_again(contest: Contest, second: SecondSheet | None, by: str) -> str:
    """Why `by` cannot key this sheet a second time now; empty where nothing is in the way."""
    if second is None:
        return "This sheet is keyed once: the contest does not ask for a second keying of it."
    if not second.sheet.done:
        return "The first keying of this sheet is not complete."
    if not second.due:
        return "This sheet is keyed twice already."
    if by in second.keyed_by and others_may_key(contest, second.keyed_by):
        return "You keyed this sheet first: a second pair of eyes keys it again. Hand the paper to another clerk."
    return ""


def next_for(contest: Contest, sheets: list[SecondSheet], by: str) -> SecondSheet | None:
    """The first of `sheets` that `by` may key a second time now."""
    return next((each for each in sheets if each.waits and not why_not_again(contest, each, by)), None)


def blind_lines(contest: Contest, category: Category, seat: Seat, due: tuple[str, ...]) -> list[Line]:
    """The lines of a sheet for its second keying: box numbers and rulings, never a mark of the first."""
    judged = box_selectors.to_judge(contest)
    ruled = ruling_selectors.in_force(contest)
    boxes = box_selectors.standing_boxes(contest).filter(category=category, table=seat.table_id).order_by("position")
    lines = []
    for position, box in enumerate((box for box in boxes if box.pk in judged), start=1):
        line = Line(box, position, why_not="" if box.number in due else "not keyed again")
        lines.append(replace(line, words=list(ruled[box.pk].words)) if box.pk in ruled else line)
    return lines


def differences(contest: Contest, found: list[Flight] | None = None) -> list[Difference]:
    """Second keyings and conflicts that differ from the marks that stand, not looked up yet, in the sheets' order."""
    read = histories(contest, with_others=True)
    open_rows = {
        slot: [row for row in history.rows if row.kind in OTHERS and not row.chosen and history.against(row)]
        for slot, history in read.items()
        if history.standing is not None
    }
    if not any(open_rows.values()):
        return []
    wanted = [row.id for rows in open_rows.values() for row in rows]
    marks = marks_by_reading([*wanted, *(history.standing.id for history in read.values() if history.standing)])
    return [
        made
        for flight in (flights(contest) if found is None else found)
        for box in flight.boxes
        for sheet in flight.sheets
        if box.number in sheet.expected
        for row in open_rows.get((box.pk, sheet.seat.pk), ())
        if (made := _difference(sheet, box.number, row, present(read[box.pk, sheet.seat.pk].standing), marks))
    ]


def _difference(
    sheet: Sheet, box: str, other: Row, standing: Row, marks: dict[int, dict[str, Decimal]]
) -> Difference | None:
    here, there = marks.get(standing.id, {}), marks.get(other.id, {})
    if here == there:
        return None
    criteria = category_rules(sheet.category).criteria

    def said(own: dict[str, Decimal]) -> tuple[tuple[str, str, bool], ...]:
        return tuple(
            (
                each.name,
                number_text(own[each.key]) if each.key in own else "",
                here.get(each.key) != there.get(each.key),
            )
            for each in criteria
        )

    return Difference(
        reading=other.id,
        kind=other.kind,
        category=sheet.category,
        table=sheet.table,
        seat=sheet.seat,
        box=box,
        standing_by=standing.by,
        other_by=other.by,
        standing=said(here),
        other=said(there),
    )


def keying_errors(contest: Contest) -> KeyingErrors:
    """What second keyings found so far: mark by mark against the first keying that it was blind to."""
    pairs = [
        (row, base, history)
        for history in histories(contest, with_others=True).values()
        for row in history.rows
        if row.kind == Reading.Kind.SECOND and (base := history.against(row)) is not None
    ]
    standing = {history.standing.id for _, _, history in pairs if history.standing}
    marks = marks_by_reading([*{row.id for row, _, _ in pairs} | {base.id for _, base, _ in pairs} | standing])
    compared = differed = first = second = 0
    for row, base, history in pairs:
        there, here = marks.get(row.id, {}), marks.get(base.id, {})
        compared += len(here)
        apart = sum(there.get(key) != mark for key, mark in here.items())
        differed += apart
        now = history.standing
        # Put right on the sheet itself before anybody compared: the first keying was wrong all the same.
        mended = now is not None and now.id != base.id and marks.get(now.id) == there
        if row.chosen == Resolution.Chosen.OTHER or (not row.chosen and mended):
            first += apart
        elif row.chosen == Resolution.Chosen.STANDING:
            second += apart
    return KeyingErrors(compared, differed, first, second)
