"""Boxes by number, table and serving position: what every part may see. No team is loaded here."""

from collections import Counter
from dataclasses import dataclass

from django.db.models import QuerySet

from contest.models import Box, Category, Contest, TurnIn

#: A box of one of these is not judged; judges and captains never learn which of them it is.
NOT_JUDGED = frozenset({TurnIn.Status.ABSENT, TurnIn.Status.REFUSED, TurnIn.Status.LATE})


def standing_boxes(contest: Contest) -> QuerySet[Box]:
    """The boxes of the standing draw, by category in the order of the day, table and serving position."""
    return (
        Box.objects.filter(contest=contest, draw__standing=True)
        .select_related("category", "table")
        .order_by("category__order", "category__turn_in_at", "category_id", "table__number", "position")
    )


def statuses(contest: Contest) -> dict[int, str]:
    """Box pk → the status that stands at the desk; a box that is still to come is missing.

    For the desk and for the tally's inputs: why a box is not judged stays sealed from the other parts.
    """
    rows = TurnIn.objects.filter(box__contest=contest, box__draw__standing=True, standing=True)
    return dict(rows.exclude(status=TurnIn.Status.UNDONE).values_list("box_id", "status"))


def to_judge(contest: Contest) -> set[int]:
    """The pks of the boxes that get cards: all but the cancelled categories' and those the desk kept back."""
    boxes = Box.objects.filter(contest=contest, draw__standing=True, category__cancelled_at__isnull=True)
    kept_back = {pk for pk, status in statuses(contest).items() if status in NOT_JUDGED}
    return set(boxes.values_list("pk", flat=True)) - kept_back


@dataclass(frozen=True)
class Recorded:
    """How far the desk is in a category: counts only."""

    category: Category
    boxes: int
    recorded: int

    @property
    def to_come(self) -> int:
        return self.boxes - self.recorded


def recorded(contest: Contest) -> list[Recorded]:
    """For each category that is held: its boxes, and how many of them the desk has recorded in any way."""
    done = statuses(contest)
    boxes: Counter[int] = Counter()
    found: Counter[int] = Counter()
    for pk, category in Box.objects.filter(contest=contest, draw__standing=True).values_list("pk", "category_id"):
        boxes[category] += 1
        found[category] += pk in done
    held = contest.categories.filter(cancelled_at__isnull=True)
    return [Recorded(each, boxes[each.pk], found[each.pk]) for each in held if boxes[each.pk]]
