"""The boxes of a contest that came as a package, as they are kept: one reader and one writer of the stored JSON."""

from dataclasses import dataclass

from contest.rules.stored import Stored
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
    cards: dict[str, tuple[str, ...]]
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


@dataclass(frozen=True)
class ImportedBoxes(Stored):
    """All boxes of the contest, as they are stored."""

    boxes: tuple[ImportedBox, ...]


def imported_boxes(contest: ImportedContest) -> tuple[ImportedBox, ...]:
    """Read the stored boxes of a contest that came as a package. Raises StoredError where another version kept them."""
    return ImportedBoxes.from_json(contest.boxes).boxes
