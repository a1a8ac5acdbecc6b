"""Whose box it is, for an organiser who opened the seal early; nothing before that."""

from dataclasses import dataclass

from contest.models import Category, Contest
from contest.present import present
from contest.selectors.boxes import standing_boxes
from contest.selectors.pairing import entry_of_boxes


@dataclass(frozen=True, slots=True)
class NamedBox:
    number: str
    table: int
    team_number: int
    team: str


def named_boxes(contest: Contest) -> list[tuple[Category, list[NamedBox]]]:
    """Each category of the day with its boxes by number and whose they are; empty while the seal holds."""
    if contest.seal_opened_at is None:
        return []
    owners = entry_of_boxes(contest)
    found: dict[Category, list[NamedBox]] = {}
    for box in standing_boxes(contest):
        entry = owners[box.pk]
        named = NamedBox(box.number, present(box.table).number, entry.number, entry.team.name)
        found.setdefault(box.category, []).append(named)
    return [(category, sorted(boxes, key=lambda box: box.number)) for category, boxes in found.items()]
