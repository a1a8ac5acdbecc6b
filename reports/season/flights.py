"""A team's boxes beside the flights they were judged in, and its history by judges' table.

Other teams' boxes are marks without a name or a number.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from statistics import fmean
from typing import Any
from uuid import UUID

from contest.models import Contest, Entry
from contest.rules.ruleset import RuleSet
from contest.rules.stored import to_json
from contest.selectors.rules import parsed
from reports.models import ImportedContest, PastResult, SeverityFit
from reports.rules.hardness import WEIGHTED
from reports.season.boxes import Z95, Adjusted, TeamSeason, adjusted, team_fits, usable
from reports.season.charts import Dots, dots
from reports.season.seasons import PastGroups, group_key, groups_of, published_tallies
from reports.sheets import SheetBox, sheet_box, sheet_of


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
    group = next((each for each in tally.outcome["categories"] if each["key"] == key), None) if tally else None
    if tally is None or group is None:
        return None
    row = next((box for box in group["boxes"] if box["team"] == str(entry.number)), None)
    if row is None:
        return None
    sheet = next(each for each in sheet_of(tally, str(entry.number)) if each.box == row["box"])
    fit = team_fits(entry.team, group_key(contest)).get(WEIGHTED)
    boxes = [each for each in tally.inputs["boxes"] if each["category"] == key]
    return _flight(contest.uid, key, row, sheet, boxes, parsed(tally.inputs["rules"][key]), fit)


def past_flight_of(result: PastResult) -> Flight | None:
    """The same of a box elsewhere that came with its whole field. None where it came alone."""
    contest = result.imported
    if contest is None:
        return None
    boxes = [to_json(box) for box in contest.field if box.category == result.key]
    row = next((box for box in boxes if box["box"] == result.box), None)
    if row is None:
        return None
    rules = parsed(contest.rules[result.key])
    outcome = [{**box, "status": box["result"], "public_working": []} for box in boxes]
    own = next(box for box in outcome if box["box"] == result.box)
    sheet = sheet_box({"name": result.category, "boxes": outcome}, own, row, rules)
    season = season_of_past(result)
    fit = team_fits(result.team, season).get(WEIGHTED)
    return _flight(contest.uid, result.key, row, sheet, boxes, rules, fit)


def season_of_past(result: PastResult) -> str:
    """The key of the season that a result from elsewhere is looked at with."""
    return PastGroups(group.key for group in groups_of(result.team))(result.date)


def _flight(
    contest: UUID,
    key: str,
    row: Mapping[str, Any],
    sheet: SheetBox,
    boxes: Sequence[Mapping[str, Any]],
    rules: RuleSet,
    fit: SeverityFit | None,
) -> Flight:
    """`row`: the box in its tally's outcome; `boxes`: those of its category with their cards."""
    flight = [each for each in boxes if each["table"] == row["table"]]
    return Flight(
        sheet=sheet,
        criteria=sheet.criteria,
        chart=_chart(flight, row["box"], rules),
        others=sum(bool(each["cards"]) for each in flight) - bool(sheet.cards),
        adjusted=adjusted(usable(fit), contest, key, row),
        alone=_alone(fit, contest, key, row["table"]),
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


def weighted(marks: list[str], rules: RuleSet) -> float:
    pairs = zip(rules.criteria, marks, strict=True)
    return float(sum((criterion.weight * Decimal(mark) for criterion, mark in pairs), Decimal(0)))


def _chart(boxes: list[Mapping[str, Any]], own: str, rules: RuleSet) -> Dots:
    seats = sorted({seat for box in boxes for seat in box["cards"]})
    rows = []
    for seat in seats:
        given = {box["box"]: weighted(box["cards"][seat], rules) for box in boxes if seat in box["cards"]}
        rows.append((f"Seat {seat}", [mark for box, mark in given.items() if box != own], given.get(own)))
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
    seats: list[SeatMeans] = field(default_factory=list)


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
            tallies[contest.pk].inputs["boxes"],
            {key: parsed(text) for key, text in tallies[contest.pk].inputs["rules"].items()},
            {group["key"]: group["name"] for group in tallies[contest.pk].outcome["categories"]},
            str(numbers[contest.pk]),
            season.fit,
        ))
        for contest in contests
    ]  # fmt: skip
    found += [
        ContestTables(contest.name, contest.date, True, _tables(
            contest.uid,
            [to_json(box) for box in contest.field],
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
    given: Sequence[Mapping[str, Any]],
    rules: Mapping[str, RuleSet],
    names: Mapping[str, str],
    team: str,
    fit: SeverityFit | None,
) -> list[TableHistory]:
    """`given`: all boxes with their cards; `team`: the team as these name it."""
    boxes = [box for box in given if box["status"] == "accepted" and box["cards"]]
    mine: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for box in boxes:
        if box["team"] == team:
            mine[box["table"]].append(box)
    found = []
    for table in sorted(mine, key=lambda name: (len(name), name)):
        keys = [box["category"] for box in mine[table]]
        cards = [
            (box, seat, weighted(marks, rules[box["category"]]))
            for box in boxes
            if box["category"] in keys
            for seat, marks in box["cards"].items()
        ]
        here = [each for each in cards if each[0]["table"] == table]
        own = [each for each in here if each[0]["team"] == team]
        found.append(
            TableHistory(
                table=table,
                categories=[names[key] for key in names if key in keys],
                mean=fmean(mark for _, _, mark in here),
                field=fmean(mark for _, _, mark in cards),
                own=fmean(mark for _, _, mark in own),
                hardness=_hardness(fit, contest, keys, table),
                seats=[
                    SeatMeans(
                        seat,
                        fmean(mark for _, letter, mark in own if letter == seat),
                        fmean(mark for _, letter, mark in here if letter == seat),
                        sum(letter == seat for _, letter, _ in here),
                    )
                    for seat in sorted({letter for _, letter, _ in own})
                ],
            )
        )
    return found


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
