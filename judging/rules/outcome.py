"""What goes into a tally and what comes out of it, as plain values."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, NamedTuple

from contest.rules.ruleset import TieBreak
from judging.rules.rows import Marks, Row
from judging.rules.totals import Plan

STATUSES = ("accepted", "late", "absent", "refused", "disqualified")


@dataclass(frozen=True, slots=True)
class Card:
    """One judge's marks for one box, in sheet order, penalty marks in place."""

    seat: str
    marks: Marks


@dataclass(frozen=True, slots=True)
class Box:
    """A box, its turn-in status (one of STATUSES) and the cards that came back for it."""

    category: str
    box: str
    table: str
    status: str
    cards: tuple[Card, ...]
    team: str | None = None


class Dropped(NamedTuple):
    """A card that does not count, and why; the reason names no seat."""

    seat: str
    why: str


class TieStep(NamedTuple):
    """One tie-break tried on boxes (or teams) still equal: who had which value, the winner first.

    ``judging.rules.ties.value_text`` puts a value into words; weighted marks count ``1/unit``.
    """

    step: TieBreak
    names: list[str]
    values: list[Any]
    unit: int

    @property
    def parted(self) -> bool:
        return bool(self.values[0] != self.values[-1])


@dataclass(slots=True)
class BoxResult:
    """A box in its category's order.

    ``status`` is ranked, short, late, absent, refused or disqualified; a late or disqualified box is ranked too
    where the rules give it penalty marks. ``cards``: how many came. ``kept`` and ``gone``: its rows in card
    order, those gone each with its reason; ``points``: the total as a count of the plan's unit.
    """

    category: str
    box: str
    team: str | None
    table: str
    status: str
    plan: Plan
    cards: int = 0
    points: int | None = None
    kept: Sequence[Row] = ()
    gone: Sequence[tuple[Row, str]] = ()
    rank: int | None = None
    decided_by: str | None = None
    ties: tuple[TieStep, ...] = ()

    @property
    def total(self) -> Fraction | None:
        """The exact total; None where unranked."""
        return None if self.points is None else self.plan.total(self.points)

    @property
    def counted(self) -> tuple[str, ...]:
        """The seats whose cards count, sorted; none where no judge's card does."""
        return tuple(sorted([row[2] for row in self.kept])) if self.status == "ranked" else ()

    @property
    def dropped(self) -> tuple[Dropped, ...]:
        """The cards that do not count, in the order in which they went."""
        if self.status != "ranked":
            return ()
        return tuple([Dropped(row[2], why) for row, why in self.gone])


@dataclass(slots=True)
class TeamResult:
    """A team in the overall order; ``boxes`` by counting category, ranked or not; ``points`` count ``1/unit``."""

    team: str
    boxes: dict[str, BoxResult]
    unit: int
    points: int = 0
    eligible: bool = True
    rank: int = 0
    decided_by: str | None = None
    ties: tuple[TieStep, ...] = ()

    @property
    def total(self) -> Fraction:
        """The exact sum of the team's totals over the counting categories."""
        return Fraction(self.points, self.unit)


@dataclass(slots=True)
class Tally:
    """Per category the ranked boxes in rank order, then the unranked; the teams; what was ignored."""

    categories: dict[str, list[BoxResult]]
    overall: list[TeamResult] | None
    warnings: list[str]

    def champions(self) -> list[TeamResult]:
        """Grand champion and reserve: the first two eligible teams, as far as there are any."""
        return [team for team in self.overall or [] if team.eligible][:2]


class LotNeeded(ValueError):
    """A tie that only a lot can break, without a seed for it. ``category`` is "overall" for teams."""

    def __init__(self, category: str, tied: Sequence[str], total: str) -> None:
        self.category, self.tied = category, tuple(tied)
        shown = [*tied[:6], *([f"{len(tied) - 6} more"] if len(tied) > 6 else [])]
        what = "teams" if category == "overall" else f"{category} boxes"
        super().__init__(f"{what} {' and '.join(shown)} tie at {total} after every other tie-break")
