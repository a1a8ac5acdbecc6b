"""A team's boxes beside the flights they were judged in, and its history by judges' table.

Other teams' boxes are marks without a name or a number.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from statistics import fmean
from typing import Any

from contest.models import Contest, Entry
from contest.rules.ruleset import RuleSet
from contest.selectors.rules import parsed
from judging.models import Tally
from reports.models import SeverityFit
from reports.rules.hardness import WEIGHTED
from reports.season.boxes import Z95, Adjusted, TeamSeason, adjusted, fits_of, usable
from reports.season.charts import Dots, dots
from reports.season.seasons import group_key, published_tallies
from reports.sheets import SheetBox, sheet_of


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
    rules = parsed(tally.inputs["rules"][key])
    season, table = group_key(contest), f"{contest.uid}|{key}|{row['table']}"
    fit = fits_of(season).get(WEIGHTED)
    boxes = [each for each in tally.inputs["boxes"] if each["category"] == key and each["table"] == row["table"]]
    return Flight(
        sheet=sheet,
        criteria=sheet.criteria,
        chart=_chart(boxes, row["box"], rules),
        others=sum(bool(each["cards"]) for each in boxes) - bool(sheet.cards),
        adjusted=adjusted(usable(fit), contest, key, row),
        alone=_alone(season, contest, key, table),
        fit=fit,
    )


def _alone(season: str, contest: Contest, key: str, table: str) -> tuple[float, float] | None:
    fit = usable(SeverityFit.objects.filter(group=season, response=WEIGHTED, category=key).first())
    found = fit.result["tables"].get(table) if fit else None
    if fit is None or found is None or found["hardness"] is None:
        return None
    worth = _worth(fit.result["points"][f"{contest.uid}|{key}"])
    return found["hardness"] * worth, Z95 * found["error"] * worth


def _worth(points: Mapping[str, Any]) -> float:
    return float(points["span"] * points["cards"])


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
    contest: Contest
    entry: Entry
    tables: list[TableHistory]


def tables_of(season: TeamSeason) -> list[ContestTables]:
    """The season's contests, newest first, each with the tables that judged the team's boxes."""
    contests = [contest for contest in season.contests if contest.kind == Contest.Kind.CONTEST]
    tallies = published_tallies(contests)
    entries = {entry.contest_id: entry for entry in Entry.objects.filter(team=season.team, contest__in=contests)}
    return [
        ContestTables(
            contest,
            entries[contest.pk],
            _tables(contest, tallies[contest.pk], str(entries[contest.pk].number), season.fit),
        )
        for contest in reversed(contests)
    ]


def _tables(contest: Contest, tally: Tally, number: str, fit: SeverityFit | None) -> list[TableHistory]:
    names = {group["key"]: group["name"] for group in tally.outcome["categories"]}
    boxes = [box for box in tally.inputs["boxes"] if box["status"] == "accepted" and box["cards"]]
    rules = {key: parsed(text) for key, text in tally.inputs["rules"].items()}
    mine: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    for box in boxes:
        if box["team"] == number:
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
        own = [each for each in here if each[0]["team"] == number]
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


def _hardness(fit: SeverityFit | None, contest: Contest, keys: list[str], table: str) -> tuple[float, float] | None:
    """In points a card: the mean over the categories; the same table and judges, so the errors do not average out."""
    if fit is None:
        return None
    found = []
    for key in keys:
        row = fit.result["tables"].get(f"{contest.uid}|{key}|{table}")
        if row is None or row["hardness"] is None:
            return None
        span = fit.result["points"][f"{contest.uid}|{key}"]["span"]
        found.append((row["hardness"] * span, Z95 * row["error"] * span))
    return fmean(each for each, _ in found), fmean(half for _, half in found)
