"""The boxes of a contest that a team brought as a results package, as they are kept: the one reader and writer."""

from dataclasses import dataclass

from contest.rules.stored import Stored


@dataclass(frozen=True, slots=True)
class BroughtDrop:
    """A card that does not count, and the reason as the tally has it."""

    seat: str
    why: str


@dataclass(frozen=True, slots=True)
class BroughtBox:
    """A box of the package. `team` is its uid there; `cards`: seat → scores in sheet order; all exact text.

    `status` is the turn-in's, `result` what the tally made of it.
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
    dropped: tuple[BroughtDrop, ...]


@dataclass(frozen=True)
class BroughtBoxes(Stored):
    """All boxes of the contest."""

    boxes: tuple[BroughtBox, ...]
