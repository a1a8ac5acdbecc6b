"""A team's own sheet from a published tally: every mark of its boxes, and the figures beside them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from django.db.models import Exists, OuterRef, QuerySet

from contest.models import Contest, Entry, Team
from contest.rules.ruleset import RuleSet
from contest.rules.say import total_text
from judging.models import Tally
from judging.rules.standings import BoxStanding, CategoryStandings
from judging.rules.workings import box_working, dropped_reasons, weighted


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
    given = {(box.category, box.box): box for box in tally.source.of_team(number)}
    return [
        sheet_box(category, box, given[category.key, box.box].cards, tally.source.rules(category.key))
        for category in tally.standings.categories
        for box in category.boxes
        if box.team == number
    ]


def sheet_box(
    category: CategoryStandings, box: BoxStanding, cards: Mapping[str, Sequence[str]], rules: RuleSet
) -> SheetBox:
    """One box of a tally beside the others of its category; `cards`: seat → its marks."""
    points = {seat: weighted(marks, rules) for seat, marks in cards.items()}
    reasons = dropped_reasons(box.dropped, points, rules)
    why = {card.seat: reason for card, reason in zip(box.dropped, reasons, strict=True)}
    ranked = [other for other in category.boxes if other.total is not None]
    return SheetBox(
        category=category.name,
        box=box.box,
        table=box.table,
        rank=box.rank,
        of=len(ranked),
        total=box.total,
        status=box.status,
        criteria=tuple(criterion.name for criterion in rules.criteria),
        cards=tuple(
            SheetCard(seat, tuple(marks), total_text(points[seat]), why.get(seat, "")) for seat, marks in cards.items()
        ),
        table_mean=_mean([other.total for other in ranked if other.table == box.table]),
        field_mean=_mean([other.total for other in ranked]),
        tables=len({other.table for other in category.boxes}),
        working=tuple(box_working(box, cards, rules, public=True)),
    )


def _mean(totals: Sequence[str | None]) -> str | None:
    if not totals:
        return None
    return total_text(sum((Fraction(total) for total in totals if total), Fraction(0)) / len(totals))


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
            category.name,
            box.rank,
            sum(other.total is not None for other in category.boxes),
            box.total,
            box.status,
        )
        for category in tally.standings.categories
        for box in category.boxes
        if box.team == number
    ]
