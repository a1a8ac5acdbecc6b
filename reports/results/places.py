"""What a signed tally says with names: places, champions, the order in which they are called.

Only for tallies that the viewer may see: signed ones for organiser and announcer, published ones for everybody.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from contest.models import Contest
from judging.models import Tally
from reports.models import Publication

_WORDS = {
    "short": "too few cards",
    "late": "came late",
    "absent": "not handed in",
    "refused": "refused",
    "disqualified": "disqualified",
}
TITLES = ("Grand champion", "Reserve grand champion")


@dataclass(frozen=True, slots=True)
class Place:
    """A team's place in a category or overall. `shared`: others have the same place."""

    rank: int | None
    number: str
    name: str
    total: str | None
    word: str = ""
    decided_by: str | None = None
    shared: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    key: str
    name: str
    counts: bool
    places: list[Place] = field(default_factory=list)


@dataclass(frozen=True)
class Results:
    categories: list[Group]
    overall: list[Place]
    champions: list[tuple[str, Place]]

    @property
    def counting(self) -> list[str]:
        return [group.name for group in self.categories if group.counts]


@dataclass(frozen=True, slots=True)
class Call:
    """What the announcer says, in order: the last place called comes first."""

    title: str
    places: list[Place]


def results_of(tally: Tally) -> Results:
    """All places of a tally. With one counting category there is no overall beside it."""
    outcome = tally.outcome
    teams = outcome["teams"]
    categories = [
        Group(each["key"], each["name"], each["counts"], _places(each["boxes"], teams))
        for each in outcome["categories"]
    ]
    if sum(group.counts for group in categories) < 2:
        return Results(categories, [], [])
    overall = _places(outcome["overall"], teams)
    by_number = {place.number: place for place in overall}
    champions = [by_number[number] for number in outcome["champions"]]
    return Results(categories, overall, list(zip(TITLES, champions, strict=False)))


def _places(rows: list[Mapping[str, Any]], teams: Mapping[str, str]) -> list[Place]:
    ranks = [row["rank"] for row in rows]
    shared = {rank for rank in ranks if rank is not None and ranks.count(rank) > 1} if _has_ties(ranks) else set()
    return [
        Place(
            row["rank"],
            row["team"],
            teams[row["team"]],
            row["total"],
            _word(row),
            row["decided_by"],
            row["rank"] in shared,
        )
        for row in rows
    ]


def _has_ties(ranks: list[int | None]) -> bool:
    ranked = [rank for rank in ranks if rank is not None]
    return len(set(ranked)) < len(ranked)


def _word(row: Mapping[str, Any]) -> str:
    if "eligible" in row:
        return "" if row["eligible"] else "not eligible: did not enter every counting category"
    return _WORDS.get(row["status"], "")


def calls(contest: Contest, tally: Tally) -> tuple[list[Call], list[Call]]:
    """For the announcer: each category's places from the last called up to the first; then reserve and champion."""
    results = results_of(tally)
    most = dict(contest.categories.values_list("key", "places_called"))
    called = [
        Call(
            group.name,
            [place for place in reversed(group.places) if place.rank is not None and place.rank <= most[group.key]],
        )
        for group in results.categories
    ]
    champions = [Call(title, [place]) for title, place in reversed(results.champions)]
    return called, champions


def publications(contest: Contest) -> list[Publication]:
    """All that went out, newest first, without the tallies' bodies."""
    found = Publication.objects.filter(contest=contest).select_related("tally").order_by("-tally__revision")
    return list(found.defer("package", "tally__inputs", "tally__outcome"))


def published_tally(contest: Contest, revision: int | None = None) -> Tally | None:
    """The tally that stands for the public, or an earlier published revision of it."""
    found = Tally.objects.filter(contest=contest, publication__isnull=False).select_related("publication")
    if revision is not None:
        found = found.filter(revision=revision)
    return found.order_by("-revision").defer("inputs", "publication__package").first()


def signed_tally(contest: Contest) -> Tally | None:
    """The newest tally if the head judge signed it: then its names are known to organiser and announcer."""
    if contest.is_sealed:
        return None
    newest = Tally.objects.filter(contest=contest).defer("inputs").order_by("-revision").first()
    return newest if newest is not None and newest.signed_at is not None else None


def working_of(tally: Tally, number: str, key: str | None = None) -> tuple[str, str, list[str]] | None:
    """(team name, category name or "Overall", sentences) of a team's box in a category, or of the team overall."""
    outcome = tally.outcome
    teams = outcome["teams"]
    if key is None:
        rows, title, lines = outcome["overall"], "Overall", "working"
    else:
        group = next((each for each in outcome["categories"] if each["key"] == key), None)
        if group is None:
            return None
        rows, title, lines = group["boxes"], group["name"], "public_working"
    row = next((each for each in rows if each["team"] == number), None)
    return None if row is None else (teams[number], title, row[lines])
