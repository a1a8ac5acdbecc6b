"""A team's own sheet from a published tally: every mark of its boxes, and the figures beside them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db.models import Exists, OuterRef, QuerySet

from contest.models import Contest, Entry, Team
from contest.rules.ruleset import RuleSet
from contest.rules.say import number_text, total_text
from contest.selectors.rules import parsed
from judging.models import Tally


@dataclass(frozen=True, slots=True)
class SheetCard:
    """One judge's marks, by criterion in sheet order; `dropped` says why it does not count, "" where it does."""

    seat: str
    marks: tuple[str, ...]
    weighted: str
    dropped: str


@dataclass(frozen=True, slots=True)
class SheetBox:
    """A box of the team. Means are exact totals, None where nothing at the table or in the field was ranked."""

    category: str
    box: str
    table: str
    rank: int | None
    of: int
    total: str | None
    status: str
    criteria: tuple[str, ...]
    cards: tuple[SheetCard, ...]
    table_mean: str | None
    field_mean: str | None
    tables: int
    working: tuple[str, ...]


def sheet_of(tally: Tally, number: str) -> list[SheetBox]:
    """The boxes of a team by its number, in the order of the day. Needs the tally's inputs and outcome."""
    given = {box["box"]: box for box in tally.inputs["boxes"] if box["team"] == number}
    found = []
    for group in tally.outcome["categories"]:
        for box in group["boxes"]:
            if box["team"] == number:
                rules = parsed(tally.inputs["rules"][group["key"]])
                found.append(sheet_box(group, box, given[box["box"]], rules))
    return found


def sheet_box(group: Mapping[str, Any], box: Mapping[str, Any], given: Mapping[str, Any], rules: RuleSet) -> SheetBox:
    """One box of a tally's outcome; `group`: its category there, `given`: the box with its cards."""
    why = {dropped["seat"]: dropped["why"] for dropped in box["dropped"]}
    ranked = [each for each in group["boxes"] if each["total"] is not None]
    return SheetBox(
        category=group["name"],
        box=box["box"],
        table=box["table"],
        rank=box["rank"],
        of=len(ranked),
        total=box["total"],
        status=box["status"],
        criteria=tuple(criterion.name for criterion in rules.criteria),
        cards=tuple(
            SheetCard(seat, tuple(marks), _weighted(marks, rules), why.get(seat, ""))
            for seat, marks in given["cards"].items()
        ),
        table_mean=_mean([each["total"] for each in ranked if each["table"] == box["table"]]),
        field_mean=_mean([each["total"] for each in ranked]),
        tables=len({each["table"] for each in group["boxes"]}),
        working=tuple(box["public_working"]),
    )


def _weighted(marks: list[str], rules: RuleSet) -> str:
    pairs = zip(rules.criteria, marks, strict=True)
    return number_text(sum((criterion.weight * Decimal(mark) for criterion, mark in pairs), Decimal(0)))


def _mean(totals: list[str]) -> str | None:
    if not totals:
        return None
    return total_text(sum((Fraction(total) for total in totals), Fraction(0)) / len(totals))


def sheet_entries(contest: Contest) -> list[Entry]:
    """The entries of a published contest with the keys of their sheets, by team number."""
    return list(Entry.objects.filter(contest=contest).select_related("team"))


@dataclass(frozen=True, slots=True)
class PastPlace:
    """A place in one category, `of` so many ranked; `status` says why there is none."""

    category: str
    rank: int | None
    of: int
    total: str | None
    status: str


@dataclass(frozen=True, slots=True)
class PastContest:
    """One published contest of a team; its entry leads to the sheet."""

    contest: Contest
    entry: Entry
    places: list[PastPlace]


def past_entries(team: Team) -> QuerySet[Entry]:
    """The team's entries in published contests, newest first."""
    published = Tally.objects.filter(contest=OuterRef("contest"), publication__isnull=False)
    entries = Entry.objects.filter(Exists(published), team=team).select_related("contest")
    return entries.order_by("-contest__date", "-contest_id")


def past_contests(entries: Sequence[Entry]) -> list[PastContest]:
    """Published contests by the team's entries there, in their order."""
    published = Tally.objects.filter(contest__in=[entry.contest_id for entry in entries], publication__isnull=False)
    tallies = {tally.contest_id: tally for tally in published.defer("inputs").order_by("revision")}
    return [
        PastContest(entry.contest, entry, _places(tallies[entry.contest_id], str(entry.number))) for entry in entries
    ]


def _places(tally: Tally, number: str) -> list[PastPlace]:
    return [
        PastPlace(
            group["name"],
            box["rank"],
            sum(each["total"] is not None for each in group["boxes"]),
            box["total"],
            box["status"],
        )
        for group in tally.outcome["categories"]
        for box in group["boxes"]
        if box["team"] == number
    ]
