"""What a signed tally says with names: places, champions, the order in which they are called.

Only for tallies that the viewer may see: signed ones for organiser and announcer, published ones for everybody.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from contest.models import Contest
from judging.models import Tally
from judging.rules.standings import BoxStanding, Outcome
from judging.rules.workings import NOT_ELIGIBLE, box_working, team_working
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
    outcome = tally.standings
    categories = [
        Group(category.key, category.name, category.counts, _box_places(category.boxes, outcome.teams))
        for category in outcome.categories
    ]
    if sum(group.counts for group in categories) < 2:
        return Results(categories, [], [])
    overall = _team_places(outcome)
    by_number = {place.number: place for place in overall}
    champions = [by_number[number] for number in outcome.champions]
    return Results(categories, overall, list(zip(TITLES, champions, strict=False)))


def _box_places(boxes: Sequence[BoxStanding], teams: Mapping[str, str]) -> list[Place]:
    shared = _shared([box.rank for box in boxes])
    return [
        Place(
            box.rank,
            box.team,
            teams[box.team],
            box.total,
            _WORDS.get(box.status, ""),
            box.decided_by,
            box.rank in shared,
        )
        for box in boxes
    ]


def _team_places(outcome: Outcome) -> list[Place]:
    shared = _shared([row.rank for row in outcome.overall])
    return [
        Place(
            row.rank,
            row.team,
            outcome.teams[row.team],
            row.total,
            "" if row.eligible else f"not eligible: {NOT_ELIGIBLE[outcome.needs]}",
            row.decided_by,
            row.rank in shared,
        )
        for row in outcome.overall
    ]


def _shared(ranks: Sequence[int | None]) -> set[int | None]:
    """The places that several have."""
    counts = Counter(rank for rank in ranks if rank is not None)
    return {rank for rank, number in counts.items() if number > 1}


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
    outcome = tally.standings
    if key is None:
        if all(row.team != number for row in outcome.overall):
            return None
        return outcome.teams[number], "Overall", team_working(outcome, number, tally.source.overall_rules)
    category = outcome.category(key)
    box = next((box for box in category.boxes if box.team == number), None) if category is not None else None
    if category is None or box is None:
        return None
    return outcome.teams[number], category.name, public_lines(tally, key, box)


def public_lines(tally: Tally, key: str, box: BoxStanding) -> list[str]:
    """How a box of category `key` came to its place, in sentences that show no table, seat or single card."""
    cards = tally.source.box(key, box.box).cards
    return box_working(box, cards, tally.source.rules(key), public=True)
