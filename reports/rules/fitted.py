"""What is kept of a season's fits and of a contest's agreement: the one reader and writer of both.

Keys that name a place hold the contest's uid, the category and the table or box, in that order.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Self, TypeVar

from contest.rules.stored import StoredError, read, to_json
from reports.rules.severity.hardness import BoxWorth, TableHardness
from reports.rules.severity.places import Hold
from reports.rules.trendwords import Trend

#: Names the calculation and the shape of what it keeps. Another one for the same cards needs another name here.
ENGINE = "severity 3"
#: Estimate, low and high; None for a bound that nobody knows.
Range = tuple[float | None, float | None, float | None]
Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class Points:
    """How a share of the scale (0 to 1) reads in a contest's own points.

    ``lowest`` and ``span`` are of one card's weighted score; ``cards`` of a total: how many cards it adds up.
    """

    lowest: float
    span: float
    cards: int

    def card(self, share: float) -> float:
        """Return a share as a card's points."""
        return self.lowest + self.span * share

    @property
    def total(self) -> float:
        """Points of a total that a whole scale is worth."""
        return self.span * self.cards


@dataclass(frozen=True, slots=True)
class SlopeDay:
    """A contest of a team: its boxes' worth against the others', a share of the scale, and its standard error."""

    contest: str
    worth: float
    error: float


@dataclass(frozen=True, slots=True)
class TeamSlope:
    """A team's season. ``slope``, ``error`` and ``chance`` as in `Trend`, in shares of the scale.

    ``worth``: the points that a whole share is worth at the newest contest. ``line``: at each day the season's line
    with its interval; empty where no slope is known.
    """

    days: tuple[SlopeDay, ...]
    worth: float
    slope: float | None
    error: float | None
    chance: float | None
    line: tuple[tuple[float, float, float], ...]

    @property
    def trend(self) -> Trend:
        """The trend in points, from which its sentence is made."""
        trend = Trend(len(self.days), self.slope, self.error, self.chance)
        if self.slope is None or self.error is None:
            return trend
        return replace(trend, slope=self.slope * self.worth, error=self.error * self.worth)


@dataclass(frozen=True, slots=True)
class JudgeSeverity:
    """What a judge takes off a card, a share of the scale, with its standard error."""

    severity: float
    error: float
    cards: int


@dataclass(frozen=True)
class FitFigures:
    """A fit. ``problem`` is the code of why there is none, and then only ``contests`` says anything.

    ``brought``: how many of the contests came as packages. ``names``: of categories and criteria, by key. ``slopes``:
    category ("" for all) → team uid. ``places``: contest uid → category ("" for the overall) → team number.
    """

    contests: int
    problem: str = ""
    brought: int = 0
    cards: int = 0
    left_out: int = 0
    variances: dict[str, float] = field(default_factory=dict)
    residual: float = 0.0
    at_boundary: tuple[str, ...] = ()
    connected: bool = True
    tables_alike: bool = False
    repetitions: int = 0
    names: dict[str, str] = field(default_factory=dict)
    points: dict[str, Points] = field(default_factory=dict)
    tables: dict[str, TableHardness] = field(default_factory=dict)
    boxes: dict[str, BoxWorth] = field(default_factory=dict)
    slopes: dict[str, dict[str, TeamSlope]] = field(default_factory=dict)
    judges: dict[str, JudgeSeverity] = field(default_factory=dict)
    places: dict[str, dict[str, dict[str, Hold]]] = field(default_factory=dict)

    @classmethod
    def from_json(cls, engine: str, document: Any) -> Self:
        """Read what `engine` kept. Raises StoredError for another engine's, and for a shape that is not this one."""
        _check_engine(engine)
        return read(cls, document)

    def to_json(self) -> dict[str, Any]:
        """Return the document to store."""
        return dict(to_json(self))

    @property
    def is_usable(self) -> bool:
        """Whether pages draw on it: it was made, of two contests or more.

        Before that tables cannot be told from teams.
        """
        return not self.problem and self.contests >= 2

    def table(self, contest: object, category: str, table: str) -> TableHardness | None:
        """Return one flight's hardness, None where the fit has no cards of it."""
        return self.tables.get(joined((contest, category, table)))

    def box(self, contest: object, category: str, box: str) -> BoxWorth | None:
        """Return one box's worth, None where the fit has no cards of it."""
        return self.boxes.get(joined((contest, category, box)))

    def points_at(self, contest: object, category: str) -> Points:
        """Return how shares read in a contest and category. Raises KeyError where the fit has none of it."""
        return self.points[joined((contest, category))]


def joined(parts: tuple[object, ...]) -> str:
    """Return the key under which a place is kept."""
    return "|".join(map(str, parts))


def by_place(figures: Mapping[Any, Value]) -> dict[str, Value]:
    """Return figures by the key of their place."""
    return {joined(key if isinstance(key, tuple) else (key,)): value for key, value in figures.items()}


@dataclass(frozen=True, slots=True)
class FlightFigures:
    """How far one table's judges agreed in a category. ``w`` is Kendall's; None where there is too little to tell."""

    category: str
    table: str
    boxes: int
    judges: int
    left_out: int
    reliability: Range | None
    w: float | None


@dataclass(frozen=True, slots=True)
class JudgeFigures:
    """One judge beside the table. ``places``: (table, seat)."""

    places: tuple[tuple[str, str], ...]
    cards: int
    severity: Range | None
    spread: Range | None
    agreement: Range | None


@dataclass(frozen=True, slots=True)
class AgreementFigures:
    """A contest's agreement. ``pooled``: category ("" for all) → reliability. ``judges``: by uid, or by place."""

    flights: tuple[FlightFigures, ...]
    pooled: dict[str, Range | None]
    judges: dict[str, JudgeFigures]

    @classmethod
    def from_json(cls, engine: str, document: Any) -> Self:
        """Read what `engine` kept. Raises StoredError for another engine's, and for a shape that is not this one."""
        _check_engine(engine)
        return read(cls, document)

    def to_json(self) -> dict[str, Any]:
        """Return the document to store."""
        return dict(to_json(self))


def _check_engine(engine: str) -> None:
    if engine != ENGINE:
        raise StoredError(f"worked out by “{engine}”, and this version of Fairbox is “{ENGINE}”: calculate it again")
