"""What the turn-in desk sees: whose box it is and what was recorded of it. Never a mark, never how judging goes."""

from dataclasses import dataclass

from contest.models import Box, Category, Contest, Entry, LabelCorrection, TurnIn
from contest.selectors.boxes import standing_boxes
from contest.selectors.pairing import entry_of_boxes


@dataclass(frozen=True)
class DeskBox:
    """A box beside its team; `turn_in` is None while the box is still to come."""

    box: Box
    entry: Entry
    turn_in: TurnIn | None


@dataclass(frozen=True)
class DeskCategory:
    """A category at the desk, its boxes by team number."""

    category: Category
    rows: list[DeskBox]

    def count(self, *statuses: str) -> int:
        return sum(row.turn_in is not None and row.turn_in.status in statuses for row in self.rows)

    @property
    def taken_in(self) -> int:
        """Boxes that were handed over, in time or late."""
        return self.count("accepted", "late")

    @property
    def to_come(self) -> list[DeskBox]:
        return [row for row in self.rows if row.turn_in is None]

    @property
    def extras(self) -> str:
        """`1 late · 2 absent`, as far as there are any."""
        counts = ((self.count(status), status) for status in ("late", "absent", "refused"))
        return " · ".join(f"{count} {status}" for count, status in counts if count)


def desk_categories(contest: Contest) -> list[DeskCategory]:
    """The categories that are held, in the order of the day."""
    owners = entry_of_boxes(contest)
    turn_ins = standing_turn_ins(contest)
    found: dict[Category, list[DeskBox]] = {}
    for box in standing_boxes(contest).filter(category__cancelled_at__isnull=True):
        found.setdefault(box.category, []).append(DeskBox(box, owners[box.pk], turn_ins.get(box.pk)))
    return [DeskCategory(category, sorted(rows, key=lambda row: row.entry.number)) for category, rows in found.items()]


def standing_turn_ins(contest: Contest) -> dict[int, TurnIn]:
    """Box pk → what stands recorded of it; boxes still to come are missing."""
    rows = TurnIn.objects.filter(box__contest=contest, box__draw__standing=True, standing=True)
    return {row.box_id: row for row in rows.exclude(status=TurnIn.Status.UNDONE)}


def last_recorded(contest: Contest, count: int = 5) -> list[DeskBox]:
    """The last boxes recorded, newest first."""
    owners = entry_of_boxes(contest)
    rows = (
        TurnIn.objects.filter(box__contest=contest, box__draw__standing=True, standing=True)
        .exclude(status=TurnIn.Status.UNDONE)
        .select_related("box__category", "box__table")
        .order_by("-pk")[:count]
    )
    return [DeskBox(row.box, owners[row.box_id], row) for row in rows]


def label_corrections(contest: Contest) -> list[LabelCorrection]:
    return list(
        LabelCorrection.objects.filter(contest=contest, one__draw__standing=True).select_related(
            "one__category", "other"
        )
    )


def find_box(shown: DeskCategory, categories: list[DeskCategory], typed: str) -> tuple[DeskBox | None, str]:
    """The box of the team whose number was typed, in the category shown; or a sentence why there is none."""
    text = typed.strip()
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        return None, f"“{text}” is not a team number. Type digits only."
    number = int(text)
    elsewhere = []
    for each in categories:
        for row in each.rows:
            if row.entry.number == number:
                if each is shown:
                    return row, ""
                elsewhere.append(each.category.name)
    if elsewhere:
        return None, f"Team {number} has no box in {shown.category.name}, only in {', '.join(elsewhere)}."
    if any(row.box.number == text for each in categories for row in each.rows):
        return None, f"{text} is a box number. Type the number of the team."
    return None, f"There is no team {number} in this contest. Ask for the number again."
