"""What goes into a tally and what comes out of it, as plain values."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from contest.rules.ruleset import TieBreak
from contest.rules.say import total_text
from judging.rules.rows import Mark, Marks, Reason, Row
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
    """A card that does not count: its seat, and why as a code with its figures (`judging.rules.rows.Reason`)."""

    seat: str
    rule: str
    value: str
    limit: str

    @property
    def why(self) -> str:
        """The code as text, ``lowest:35.5:37``: for files that are compared, not for reading."""
        return f"{self.rule}:{self.value}:{self.limit}"

    @classmethod
    def of(cls, seat: str, why: str) -> "Dropped":
        """Read a code text back. Raises ValueError for text that is none."""
        rule, value, limit = why.split(":")
        return cls(seat, rule, value, limit)


class Ignored(NamedTuple):
    """Cards that came for a box that was not judged; they count for nothing."""

    box: str
    category: str
    status: str
    cards: int


Value = int | str | tuple[int, ...]  # a whole count, a lot's digest, or counts card by card


class TieStep(NamedTuple):
    """One tie-break tried on boxes (or teams) still equal: who had which value, the winner first.

    Whole counts among the values are of ``1/divisor``; `text` gives the exact figure.
    """

    step: TieBreak
    names: list[str]
    values: list[Value]
    divisor: int

    def text(self, at: int) -> str:
        """Return the exact value at a place: a figure, figures with commas between, or a lot's 64 hex digits."""
        value = self.values[at]
        if isinstance(value, str):
            return value
        counts = value if isinstance(value, tuple) else (value,)
        return ",".join([total_text(Fraction(count, self.divisor)) for count in counts])


@dataclass(slots=True)
class BoxResult:
    """A box in its category's order.

    ``status`` is ranked, short, late, absent, refused or disqualified; a late or disqualified box is ranked too
    where the rules give it penalty marks. ``cards``: how many came. ``kept`` and ``gone``: its rows in card
    order, those gone each with its reason; ``points``: the total as a count of the plan's unit; ``sums``: of each
    criterion's marks over the counted cards, then the number of these cards.
    """

    category: str
    box: str
    team: str | None
    table: str
    status: str
    plan: Plan
    cards: int = 0
    points: int | None = None
    sums: tuple[Mark, ...] = ()
    kept: Sequence[Row] = ()
    gone: Sequence[tuple[Row, Reason]] = ()
    rank: int | None = None
    decided_by: str | None = None

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
        return tuple([Dropped(row[2], *reason) for row, reason in self.gone])


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

    @property
    def total(self) -> Fraction:
        """The exact sum of the team's totals over the counting categories."""
        return Fraction(self.points, self.unit)


class Settling(NamedTuple):
    """What a tie-break may need beside those tied.

    Weighted marks count ``1/unit``, marks ``1/mark_unit``. A lot draws on ``category`` ("overall" for teams) and
    ``seed``.
    """

    unit: int
    mark_unit: int
    category: str
    seed: str | None


@dataclass(slots=True)
class Tally:
    """Per category the ranked boxes in rank order, then the unranked; the teams; what was ignored.

    ``settling`` and ``overall_tie_breaks``: what ties were settled with, for `judging.rules.tally.box_ties`.
    """

    categories: dict[str, list[BoxResult]]
    overall: list[TeamResult] | None
    warnings: list[Ignored]
    settling: Settling
    overall_tie_breaks: tuple[TieBreak, ...]

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
