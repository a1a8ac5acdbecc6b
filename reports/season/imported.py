"""The boxes of a contest that came as a package, as they are kept: one reader and one writer of the stored JSON."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from judging.rules.outcome import Dropped
from judging.rules.standings import BoxStanding
from reports.models import ImportedContest


@dataclass(frozen=True, slots=True)
class ImportedBox:
    """A box of a contest elsewhere.

    `team`: its uid there; `status`: the turn-in's; `result`: what the tally made of it; `cards`: seat → marks in sheet
    order. Marks and totals are exact text.
    """

    category: str
    box: str
    team: str
    table: str
    status: str
    cards: Mapping[str, tuple[str, ...]]
    rank: int | None
    total: str | None
    result: str
    dropped: tuple[Dropped, ...]

    @property
    def standing(self) -> BoxStanding:
        """The box beside others of its category; what broke a tie is not kept."""
        gone = {card.seat for card in self.dropped}
        counted = tuple(seat for seat in sorted(self.cards) if seat not in gone) if self.result == "ranked" else ()
        return BoxStanding(
            box=self.box,
            team=self.team,
            table=self.table,
            rank=self.rank,
            total=self.total,
            status=self.result,
            counted=counted,
            dropped=self.dropped,
            decided_by=None,
        )

    def document(self) -> dict[str, Any]:
        """Return the box as JSON values; `imported_boxes` reads them back."""
        return {
            "category": self.category,
            "box": self.box,
            "team": self.team,
            "table": self.table,
            "status": self.status,
            "cards": {seat: list(marks) for seat, marks in self.cards.items()},
            "rank": self.rank,
            "total": self.total,
            "result": self.result,
            "dropped": [card._asdict() for card in self.dropped],
        }


def imported_boxes(contest: ImportedContest) -> list[ImportedBox]:
    """Read the stored boxes of a contest that came as a package."""
    return [
        ImportedBox(
            category=row["category"],
            box=row["box"],
            team=row["team"],
            table=row["table"],
            status=row["status"],
            cards={seat: tuple(marks) for seat, marks in sorted(row["cards"].items())},
            rank=row["rank"],
            total=row["total"],
            result=row["result"],
            dropped=tuple(Dropped(**card) for card in row["dropped"]),
        )
        for row in contest.boxes
    ]
