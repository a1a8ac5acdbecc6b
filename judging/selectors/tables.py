"""What a table captain may know: boxes of the table, what was ticked, rulings and calls. No marks are loaded."""

import hashlib
import re
from dataclasses import dataclass, field

from contest.models import Box, Category, Contest, Seat, Sitting, Table
from contest.present import present
from contest.rules.say import ordinal
from contest.selectors import boxes as box_selectors
from judging.models import Arrival, Call, Collected, PortionsRound, Ruling
from judging.selectors import rulings as ruling_selectors


@dataclass(frozen=True)
class BoxLine:
    """A box as its captain sees it; `position` counts the judged boxes only, None for one that is not judged."""

    box: Box
    position: int | None
    here: bool
    words: tuple[str, ...]

    @property
    def place(self) -> str:
        return ordinal(self.position) if self.position else ""


@dataclass(frozen=True)
class SeatLine:
    seat: Seat
    vacant: bool
    collected: bool


@dataclass(frozen=True)
class Switch:
    """A category that the captain may turn to."""

    category: Category
    here: bool
    done: bool


@dataclass(frozen=True)
class TablePage:
    category: Category | None
    switches: list[Switch] = field(default_factory=list)
    boxes: list[BoxLine] = field(default_factory=list)
    seats: list[SeatLine] = field(default_factory=list)
    portions: bool = False

    @property
    def judged(self) -> list[BoxLine]:
        return [line for line in self.boxes if line.position]

    @property
    def here(self) -> int:
        return sum(line.here for line in self.judged)

    @property
    def collected(self) -> int:
        return sum(line.collected for line in self.seats)

    @property
    def expected_sheets(self) -> int:
        return sum(not line.vacant for line in self.seats)


def table_page(contest: Contest, table: Table, key: str = "") -> TablePage:
    """The captain's page for the category `key`, or for the first whose score sheets are not all in hand."""
    held = list(
        contest.categories.filter(cancelled_at__isnull=True, boxes__table=table, boxes__draw__standing=True).distinct()
    )
    seats = list(table.seats.order_by("letter"))
    vacant = set(Sitting.objects.filter(seat__table=table, vacant=True).values_list("seat_id", "category_id"))
    ticked = set(Collected.objects.filter(seat__table=table).values_list("seat_id", "category_id"))
    done = {each.pk: all((seat.pk, each.pk) in ticked | vacant for seat in seats) for each in held}
    category = next((each for each in held if each.key == key), None) or next(
        (each for each in held if not done[each.pk]), held[-1] if held else None
    )
    if category is None:
        return TablePage(None)
    return TablePage(
        category=category,
        switches=[Switch(each, each == category, done[each.pk]) for each in held],
        boxes=_box_lines(contest, table, category),
        seats=[SeatLine(seat, (seat.pk, category.pk) in vacant, (seat.pk, category.pk) in ticked) for seat in seats],
        portions=PortionsRound.objects.filter(table=table, category=category).exists(),
    )


def _box_lines(contest: Contest, table: Table, category: Category) -> list[BoxLine]:
    boxes = box_selectors.standing_boxes(contest).filter(category=category, table=table).order_by("position")
    judged = box_selectors.to_judge(contest)
    ruled = ruling_selectors.in_force(contest)
    arrived = set(Arrival.objects.filter(box__table=table, box__category=category).values_list("box_id", flat=True))
    lines, position = [], 0
    for box in boxes:
        position += box.pk in judged
        words = tuple(ruled[box.pk].words) if box.pk in ruled else ()
        lines.append(BoxLine(box, position if box.pk in judged else None, box.pk in arrived, words))
    return lines


def find_box(contest: Contest, text: str) -> Box | None:
    """The box of the standing draw that a typed number names."""
    number = re.sub(r"\D", "", text)
    return box_selectors.standing_boxes(contest).filter(number=number).first() if len(number) == 3 else None


def where_belongs(contest: Contest, table: Table, text: str) -> str:
    """The answer to "a number on a box": whose table it goes to, by number alone."""
    box = find_box(contest, text)
    if box is None:
        return f"There is no box {' '.join(text.split())[:20]}: call the desk."
    if box.category.is_cancelled or box.pk not in box_selectors.to_judge(contest):
        return f"{box.number} is not judged: call the desk."
    if box.table_id != table.pk:
        return f"{box.number} belongs to table {present(box.table).number} ({box.category.name.lower()})."
    return f"{box.number} belongs here: {box.category.name.lower()}."


@dataclass(frozen=True)
class TableNews:
    """What may change while a page of the table lies open: rulings by box, calls that wait or were answered."""

    ruled: list[tuple[str, str]]
    waiting: list[Call]
    answered: list[Call]
    boxes: list[tuple[str, str]]

    @property
    def version(self) -> str:
        """Changes when something does; made of what the page shows."""
        shown = [
            self.ruled,
            [(call.get_about_display(), _number(call), call.text) for call in self.waiting],
            [(call.get_about_display(), _number(call), call.answer) for call in self.answered],
            self.boxes,
        ]
        return hashlib.sha256(repr(shown).encode()).hexdigest()[:16]


def _number(call: Call) -> str:
    return call.box.number if call.box else ""


def table_news(contest: Contest, table: Table, category: Category) -> TableNews:
    """Rulings on the boxes of a flight with all their words, and the table's calls in this category."""
    boxes = list(
        box_selectors.standing_boxes(contest).filter(category=category, table=table).values_list("pk", "number")
    )
    judged = box_selectors.to_judge(contest)
    ruled = ruling_selectors.in_force(contest)
    calls = list(Call.objects.filter(table=table, category=category).select_related("box").order_by("id"))
    words = {number: ", ".join(ruled[pk].words) if pk in ruled else "" for pk, number in boxes}
    return TableNews(
        ruled=[(number, text) for number, text in words.items() if text],
        waiting=[call for call in calls if call.answered_at is None],
        answered=[call for call in calls if call.answered_at is not None][-3:],
        boxes=[(number, words[number] if pk in judged else "not judged") for pk, number in boxes],
    )


@dataclass(frozen=True)
class BoxPanel:
    """A box as the head judge rules on it: where it is served, and how far each seat's card is."""

    box: Box
    seats: list[Seat]
    cards: list[tuple[str, str]]
    rulings: list[Ruling]


def box_panel(contest: Contest, box: Box) -> BoxPanel:
    """Seats that are not vacant, and for each whether its card is in, missing, dismissed or lost. No marks."""
    vacant = set(Sitting.objects.filter(category=box.category, vacant=True).values_list("seat_id", flat=True))
    seats = [seat for seat in present(box.table).seats.order_by("letter") if seat.pk not in vacant]
    standing = dict(box.cards.filter(readings__standing=True).values_list("seat_id", "readings__id"))
    on_box = ruling_selectors.in_force(contest).get(box.pk)
    return BoxPanel(
        box=box,
        seats=seats,
        cards=[(seat.letter, _card_state(seat, standing.get(seat.pk), on_box)) for seat in seats],
        rulings=[each for each in ruling_selectors.standing_rulings(contest) if each.box_id == box.pk],
    )


def _card_state(seat: Seat, reading: int | None, on_box: ruling_selectors.BoxRulings | None) -> str:
    if on_box is not None and seat.pk in on_box.lost:
        return "lost"
    if reading is None:
        return "missing"
    return "dismissed" if on_box is not None and on_box.is_dismissed(seat.pk, reading) else "in"
