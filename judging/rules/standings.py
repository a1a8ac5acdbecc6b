"""What a tally came to, as plain codes and figures: what is stored, and what sentences are made from.

`standings_of` takes an engine's result; `Outcome.document` is its JSON, `read_outcome` reads that back. No text here is
for reading: judging.rules.workings words it when it is shown.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from contest.rules.say import total_text
from judging.rules.outcome import Dropped, Ignored, Tally, TieStep
from judging.rules.tally import box_ties, team_ties

FORMAT = "fairbox-outcome-1"


@dataclass(frozen=True, slots=True)
class Tie:
    """One tie-break tried on boxes (or teams) that were level: its label, the names best first, each one's value.

    A value is exact text: a figure, the figures of several cards with commas between, or a lot's 64 hex digits.
    """

    label: str
    names: tuple[str, ...]
    values: tuple[str, ...]

    @property
    def separated(self) -> bool:
        """Whether anything was decided by it."""
        return self.values[0] != self.values[-1]


@dataclass(frozen=True, slots=True)
class BoxStanding:
    """A box in its category. `total` is exact text; `rank` and `total` are None where it has no place.

    `status`: ranked, short, late, absent, refused or disqualified. `ties`: the tie-breaks tried on it, in order.
    """

    box: str
    team: str
    table: str
    rank: int | None
    total: str | None
    status: str
    counted: tuple[str, ...]
    dropped: tuple[Dropped, ...]
    decided_by: str | None
    ties: tuple[Tie, ...] = ()


@dataclass(frozen=True, slots=True)
class CategoryStandings:
    """A category's boxes, ranked ones first. `counts`: toward the overall."""

    key: str
    name: str
    counts: bool
    boxes: tuple[BoxStanding, ...]


@dataclass(frozen=True, slots=True)
class TeamStanding:
    """A team's place over all counting categories, by its number."""

    team: str
    rank: int
    total: str
    eligible: bool
    decided_by: str | None
    ties: tuple[Tie, ...] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """All that a closed tally came to.

    `needs`: the rule by which teams are eligible; `champions`: numbers of grand champion and reserve; `teams`: team
    number → name, as it was then; `ignored`: boxes not judged for which cards came.
    """

    categories: tuple[CategoryStandings, ...]
    overall: tuple[TeamStanding, ...]
    needs: str
    champions: tuple[str, ...]
    teams: Mapping[str, str]
    ignored: tuple[Ignored, ...]

    @property
    def names(self) -> dict[str, str]:
        """Category key → name, in the order of the day."""
        return {category.key: category.name for category in self.categories}

    def category(self, key: str) -> CategoryStandings | None:
        return next((category for category in self.categories if category.key == key), None)

    def document(self) -> dict[str, Any]:
        """Return the outcome as JSON values; `read_outcome` undoes it."""
        return {
            "format": FORMAT,
            "categories": [
                {
                    "key": category.key,
                    "name": category.name,
                    "counts": category.counts,
                    "boxes": [_box_document(box) for box in category.boxes],
                    "ties": _ties_document(box.ties for box in category.boxes),
                }
                for category in self.categories
            ],
            "overall": [
                {
                    "team": team.team,
                    "rank": team.rank,
                    "total": team.total,
                    "eligible": team.eligible,
                    "decided_by": team.decided_by,
                }
                for team in self.overall
            ],
            "overall_ties": _ties_document(team.ties for team in self.overall),
            "needs": self.needs,
            "champions": list(self.champions),
            "teams": dict(self.teams),
            "ignored": [entry._asdict() for entry in self.ignored],
        }


def standings_of(
    result: Tally, *, names: Mapping[str, str], counting: Sequence[str], needs: str, teams: Mapping[str, str]
) -> Outcome:
    """Return a tally as codes and figures. `names`: category key → name; `teams`: team number → name."""
    return Outcome(
        categories=tuple(
            CategoryStandings(key, names[key], key in counting, box_standings(result, key)) for key in result.categories
        ),
        overall=_team_standings(result),
        needs=needs,
        champions=tuple(team.team for team in result.champions()),
        teams=dict(teams),
        ignored=tuple(result.warnings),
    )


def box_standings(result: Tally, category: str) -> tuple[BoxStanding, ...]:
    """Return a category's boxes as codes and figures, in their order."""
    ties = _Ties(box_ties(result, category))
    return tuple(
        BoxStanding(
            box=box.box,
            team=box.team or "",
            table=box.table,
            rank=box.rank,
            total=None if box.total is None else total_text(box.total),
            status=box.status,
            counted=box.counted,
            dropped=box.dropped,
            decided_by=box.decided_by,
            ties=ties.of(box.box),
        )
        for box in result.categories[category]
    )


def _team_standings(result: Tally) -> tuple[TeamStanding, ...]:
    ties = _Ties(team_ties(result))
    return tuple(
        TeamStanding(team.team, team.rank, total_text(team.total), team.eligible, team.decided_by, ties.of(team.team))
        for team in result.overall or ()
    )


class _Ties(dict[int, Tie]):
    """From an engine's record of a tie-break to its figures, made once however many boxes share it."""

    def __init__(self, tried: Mapping[str, Sequence[TieStep]]) -> None:
        super().__init__()
        self.tried = tried

    def of(self, name: str) -> tuple[Tie, ...]:
        steps = self.tried.get(name, ())
        for step in steps:
            if id(step) not in self:
                values = tuple(step.text(at) for at in range(len(step.values)))
                self[id(step)] = Tie(step.step.label, tuple(step.names), values)
        return tuple(self[id(step)] for step in steps)


def _box_document(box: BoxStanding) -> dict[str, Any]:
    return {
        "box": box.box,
        "team": box.team,
        "table": box.table,
        "rank": box.rank,
        "total": box.total,
        "status": box.status,
        "counted": list(box.counted),
        "dropped": [card._asdict() for card in box.dropped],
        "decided_by": box.decided_by,
    }


def _ties_document(tried: Iterable[Sequence[Tie]]) -> list[dict[str, Any]]:
    """Each tie-break once, in the order in which it was tried on any one box."""
    once = {id(tie): tie for ties in tried for tie in ties}
    return [{"label": tie.label, "names": list(tie.names), "values": list(tie.values)} for tie in once.values()]


def read_outcome(document: Mapping[str, Any]) -> Outcome:
    """Read the JSON of an outcome. Raises ValueError for a format that it does not know."""
    _check_format(document)
    overall_ties = _read_ties(document["overall_ties"])
    return Outcome(
        categories=tuple(_read_category(category) for category in document["categories"]),
        overall=tuple(
            TeamStanding(
                row["team"],
                row["rank"],
                row["total"],
                row["eligible"],
                row["decided_by"],
                overall_ties.get(row["team"], ()),
            )
            for row in document["overall"]
        ),
        needs=document["needs"],
        champions=tuple(document["champions"]),
        teams=document["teams"],
        ignored=tuple(Ignored(**entry) for entry in document["ignored"]),
    )


def read_category(document: Mapping[str, Any], key: str) -> CategoryStandings | None:
    """Read one category of an outcome's JSON, None where it was not held: all that a list of many tallies needs.

    Raises ValueError for a format that it does not know.
    """
    _check_format(document)
    return next((_read_category(category) for category in document["categories"] if category["key"] == key), None)


def _check_format(document: Mapping[str, Any]) -> None:
    if document["format"] != FORMAT:
        raise ValueError(f"this outcome is of format {document['format']}; this program reads {FORMAT}")


def _read_category(document: Mapping[str, Any]) -> CategoryStandings:
    ties = _read_ties(document["ties"])
    return CategoryStandings(
        key=document["key"],
        name=document["name"],
        counts=document["counts"],
        boxes=tuple(
            BoxStanding(
                box=row["box"],
                team=row["team"],
                table=row["table"],
                rank=row["rank"],
                total=row["total"],
                status=row["status"],
                counted=tuple(row["counted"]),
                dropped=tuple(Dropped(**card) for card in row["dropped"]),
                decided_by=row["decided_by"],
                ties=ties.get(row["box"], ()),
            )
            for row in document["boxes"]
        ),
    )


def _read_ties(documents: Sequence[Mapping[str, Any]]) -> dict[str, tuple[Tie, ...]]:
    """Box number (or team) → the tie-breaks tried on it."""
    tried: dict[str, tuple[Tie, ...]] = {}
    for document in documents:
        tie = Tie(document["label"], tuple(document["names"]), tuple(document["values"]))
        for name in tie.names:
            tried[name] = (*tried.get(name, ()), tie)
    return tried
