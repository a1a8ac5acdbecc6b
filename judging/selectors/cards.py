"""Which cards are expected, in, and missing. Nothing here loads a team, a pairing or a turn-in."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from contest.models import Box, Category, Contest, Seat
from contest.present import present
from contest.selectors import boxes as box_selectors
from judging.models import Card, Reading
from judging.selectors import rulings as ruling_selectors
from judging.selectors.marks import marks_by_reading
from judging.selectors.rulings import BoxRulings


@dataclass
class Line:
    """One card of a score sheet: a box as a seat sees it.

    `version` changes with every reading and with a dismissal: whoever hands in an older one has not seen the
    newest marks. `why_not` says why no marks are taken for it, empty where they are; `optional` marks are taken
    and not missed, since the box is disqualified. `earlier`: the marks of every reading of `history`.
    """

    box: Box
    position: int | None
    why_not: str = ""
    optional: bool = False
    reading: Reading | None = None
    marks: dict[str, Decimal] = field(default_factory=dict)
    dismissed: bool = False
    version: str = "0"
    words: list[str] = field(default_factory=list)
    history: list[Reading] = field(default_factory=list)
    earlier: dict[int, dict[str, Decimal]] = field(default_factory=dict)

    @property
    def stands(self) -> bool:
        """Whether marks stand for this card."""
        return self.reading is not None and not self.dismissed


def sheet_lines(contest: Contest, category: Category, seat: Seat) -> list[Line]:
    """The lines of a score sheet in serving order, numbered over the boxes that are judged."""
    boxes = list(
        box_selectors.standing_boxes(contest).filter(category=category, table=seat.table_id).order_by("position")
    )
    judged = box_selectors.to_judge(contest)
    ruled = ruling_selectors.in_force(contest)
    cards = {card.box_id: card for card in Card.objects.filter(seat=seat, box__in=boxes).prefetch_related("readings")}
    marks = marks_by_reading(Reading.objects.filter(card__seat=seat, card__box__in=boxes))
    lines, position = [], 0
    for box in boxes:
        position += box.pk in judged
        line = Line(box, position if box.pk in judged else None)
        if box.pk not in judged:
            line.why_not = "not judged"
        if box.pk in ruled:
            _apply(ruled[box.pk], seat, line)
        if box.pk in cards:
            _read(cards[box.pk], ruled.get(box.pk), seat, line, marks)
        lines.append(line)
    return lines


def _apply(on_box: BoxRulings, seat: Seat, line: Line) -> None:
    line.words = list(on_box.words)
    line.optional = on_box.out
    if not line.why_not and seat.pk in on_box.lost:
        line.why_not = "card ruled lost"


def _read(
    card: Card, on_box: BoxRulings | None, seat: Seat, line: Line, marks: Mapping[int, dict[str, Decimal]]
) -> None:
    readings = list(card.readings.all())
    line.earlier = {reading.pk: marks.get(reading.pk, {}) for reading in readings}
    line.history = readings
    line.reading = next((reading for reading in readings if reading.standing), None)
    if line.reading is not None:
        line.marks = line.earlier[line.reading.pk]
        line.dismissed = on_box is not None and on_box.is_dismissed(seat.pk, line.reading.pk)
    line.version = f"{len(readings)}{'d' if line.dismissed else ''}"


def places_of_boxes(contest: Contest) -> dict[str, str]:
    """Box number → where it is judged, in words: "ribs, table 2"."""
    return {
        box.number: f"{box.category.name.lower()}, table {present(box.table).number}"
        for box in box_selectors.standing_boxes(contest)
    }
