"""A team's boxes beside the flights they were judged in, and its history by judges' table.

Other teams' boxes are marks without a name or a number.
"""

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from statistics import fmean
from uuid import UUID

from contest.models import Contest, Entry
from contest.rules.ruleset import RuleSet
from contest.selectors.rules import parsed
from judging.rules.inputs import InputBox
from judging.rules.standings import CategoryStandings
from judging.rules.workings import weighted
from reports.charts import Dots, dots
from reports.models import ImportedContest, PastResult, SeverityFit
from reports.results.sheets import SheetBox, sheet_box, sheet_of
from reports.rules.severity.hardness import WEIGHTED, Z95
from reports.season.boxes import Adjusted, TeamSeason, adjusted, team_fits, usable
from reports.season.imported import ImportedBox, imported_boxes
from reports.season.seasons import PastGroups, group_key, groups_of, published_tallies

AnyBox = InputBox | ImportedBox


@dataclass(frozen=True, slots=True)
class Flight:
    """A box with its flight. `alone`: the table's hardness by this category's cards alone (points, half width)."""

    sheet: SheetBox
    criteria: tuple[str, ...]
    chart: Dots
    others: int
    adjusted: Adjusted | None
    alone: tuple[float, float] | None
    fit: SeverityFit | None


def flight_of(entry: Entry, key: str) -> Flight | None:
    """The team's box in a category of a published contest. None where it had none there."""
    contest = entry.contest
    tally = published_tallies([contest]).get(contest.pk)
    category = tally.standings.category(key) if tally else None
    if tally is None or category is None:
        return None
    box = next((box for box in category.boxes if box.team == str(entry.number)), None)
    if box is None:
        return None
    sheet = next(sheet for sheet in sheet_of(tally, str(entry.number)) if sheet.box == box.box)
    fit = team_fits(entry.team, group_key(contest)).get(WEIGHTED)
    return _flight(contest.uid, key, sheet, tally.source.of_category(key), tally.source.rules(key), fit)


def past_flight_of(result: PastResult) -> Flight | None:
    """The same of a box elsewhere that came with its whole field. None where it came alone."""
    contest = result.imported
    if contest is None:
        return None
    boxes = [box for box in imported_boxes(contest) if box.category == result.key]
    own = next((box for box in boxes if box.box == result.box), None)
    if own is None:
        return None
    rules = parsed(contest.rules[result.key])
    category = CategoryStandings(result.key, result.category, True, tuple(box.standing for box in boxes))
    # What broke a tie elsewhere is not kept, so how the box came to its place is not told.
    sheet = replace(sheet_box(category, own.standing, own.cards, rules), working=())
    season = season_of_past(result)
    fit = team_fits(result.team, season).get(WEIGHTED)
    return _flight(contest.uid, result.key, sheet, boxes, rules, fit)


def season_of_past(result: PastResult) -> str:
    """The key of the season that a result from elsewhere is looked at with."""
    return PastGroups(group.key for group in groups_of(result.team))(result.date)


def _flight(
    contest: UUID,
    key: str,
    sheet: SheetBox,
    boxes: Sequence[AnyBox],
    rules: RuleSet,
    fit: SeverityFit | None,
) -> Flight:
    """`boxes`: those of the sheet's category with their cards."""
    flight = [box for box in boxes if box.table == sheet.table]
    return Flight(
        sheet=sheet,
        criteria=sheet.criteria,
        chart=_chart(flight, sheet.box, rules),
        others=sum(bool(box.cards) for box in flight) - bool(sheet.cards),
        adjusted=adjusted(usable(fit), contest, key, sheet.box, sheet.table, sheet.total),
        alone=_alone(fit, contest, key, sheet.table),
        fit=fit,
    )


def _alone(over_all: SeverityFit | None, contest: UUID, key: str, table: str) -> tuple[float, float] | None:
    """The table's hardness by this category's cards alone, in points of a total, with half its interval."""
    if usable(over_all) is None or over_all is None:
        return None
    fit = usable(SeverityFit.objects.current().filter(group=over_all.group, response=WEIGHTED, category=key).first())
    found = fit.figures.table(contest, key, table) if fit else None
    if fit is None or found is None or found.hardness is None or found.error is None:
        return None
    worth = fit.figures.points_at(contest, key).total
    return found.hardness * worth, Z95 * found.error * worth


def _chart(boxes: Sequence[AnyBox], own: str, rules: RuleSet) -> Dots:
    seats = sorted({seat for box in boxes for seat in box.cards})
    rows = []
    for seat in seats:
        points = {box.box: float(weighted(box.cards[seat], rules)) for box in boxes if seat in box.cards}
        rows.append((f"Seat {seat}", [mark for box, mark in points.items() if box != own], points.get(own)))
    every = [mark for _, others, mine in rows for mark in [*others, *([] if mine is None else [mine])]]
    weight = float(sum(criterion.weight for criterion in rules.criteria))
    highest = float(rules.scale.highest) * weight
    lowest = min([*every, highest - 1.0])
    return dots(
        id="flight",
        title="Each seat’s points for every box of the table, your own ringed",
        rows=rows,
        low=lowest,
        high=highest,
    )


@dataclass(frozen=True, slots=True)
class SeatMeans:
    """One seat's mean points a card at a table: for the team's boxes, and for all boxes of the same categories."""

    seat: str
    own: float
    table: float
    cards: int


@dataclass(frozen=True, slots=True)
class TableHistory:
    """One table of a contest with the team's boxes there. Means are points a card, over the same categories."""

    table: str
    categories: list[str]
    mean: float
    field: float
    own: float
    hardness: tuple[float, float] | None
    seats: list[SeatMeans] = dataclasses.field(default_factory=list)


@dataclass(frozen=True, slots=True)
class ContestTables:
    """`elsewhere`: it came as a package."""

    name: str
    date: date
    elsewhere: bool
    tables: list[TableHistory]


def tables_of(season: TeamSeason) -> list[ContestTables]:
    """The season's contests, newest first, each with the tables that judged the team's boxes."""
    contests = [contest for contest in season.contests if contest.kind == Contest.Kind.CONTEST]
    tallies = published_tallies(contests)
    numbers = dict(Entry.objects.filter(team=season.team, contest__in=contests).values_list("contest", "number"))
    found = [
        ContestTables(contest.name, contest.date, False, _tables(
            contest.uid,
            tallies[contest.pk].source.boxes,
            {key: tallies[contest.pk].source.rules(key) for key in tallies[contest.pk].standings.names},
            tallies[contest.pk].standings.names,
            str(numbers[contest.pk]),
            season.fit,
        ))
        for contest in contests
    ]  # fmt: skip
    found += [
        ContestTables(contest.name, contest.date, True, _tables(
            contest.uid,
            imported_boxes(contest),
            {key: parsed(text) for key, text in contest.rules.items()},
            dict(contest.names),
            str(contest.own),
            season.fit,
        ))
        for contest in ImportedContest.objects.filter(pk__in=[each.pk for each in season.imported]).defer("pending")
    ]  # fmt: skip
    return sorted(found, key=lambda each: each.date, reverse=True)


def _tables(
    contest: UUID,
    given: Sequence[AnyBox],
    rules: Mapping[str, RuleSet],
    names: Mapping[str, str],
    team: str,
    fit: SeverityFit | None,
) -> list[TableHistory]:
    """`given`: all boxes with their cards; `team`: the team as these name it."""
    from pandas import DataFrame  # imports slowly: only a cook who looks at tables waits for it

    cards = DataFrame(
        [
            (box.category, box.table, seat, box.team == team, float(weighted(marks, rules[box.category])))
            for box in given
            if box.status == "accepted"
            for seat, marks in box.cards.items()
        ],
        columns=["category", "table", "seat", "own", "points"],
    ).astype({"own": bool})
    found = []
    for table, mine in cards[cards["own"]].groupby("table"):
        keys = mine["category"].unique().tolist()
        field = cards[cards["category"].isin(keys)]
        here = field[field["table"] == table]
        seats = here.groupby("seat")["points"].agg(mean=fmean, cards="size")
        seats["own"] = mine.groupby("seat")["points"].agg(fmean)
        found.append(
            TableHistory(
                table=table,
                categories=[names[key] for key in names if key in keys],
                mean=fmean(here["points"]),  # not the frame's own mean, whose last bit may turn a half
                field=fmean(field["points"]),
                own=fmean(mine["points"]),
                hardness=_hardness(fit, contest, keys, table),
                seats=[SeatMeans(seat.Index, seat.own, seat.mean, seat.cards) for seat in seats.dropna().itertuples()],
            )
        )
    return sorted(found, key=lambda each: (len(each.table), each.table))


def _hardness(fit: SeverityFit | None, contest: UUID, keys: list[str], table: str) -> tuple[float, float] | None:
    """In points a card: the mean over the categories; the same table and judges, so the errors do not average out."""
    if fit is None:
        return None
    found = []
    for key in keys:
        row = fit.figures.table(contest, key, table)
        if row is None or row.hardness is None or row.error is None:
            return None
        span = fit.figures.points_at(contest, key).span
        found.append((row.hardness * span, Z95 * row.error * span))
    return fmean(each for each, _ in found), fmean(half for _, half in found)
