"""What the kept fits say of one contest, for its organiser and head judge. Reads only."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from contest.models import Contest, Judge
from reports.charts import signed
from reports.models import ContestAgreement, SeverityFit
from reports.rules.fitted import AgreementFigures, FitFigures, JudgeFigures, Range
from reports.rules.severity.hardness import WEIGHTED, Z95
from reports.season.boxes import usable
from reports.season.seasons import group_key, published_tallies


@dataclass(frozen=True, slots=True)
class FlightAgreement:
    category: str
    table: str
    boxes: int
    judges: int
    w: str
    reliability: str


@dataclass(frozen=True, slots=True)
class JudgeRow:
    """A judge at this contest. Figures in points of a card with 95 % intervals; `season`: severity by the season's
    fit, tables and boxes taken out."""

    seat: str
    name: str
    cards: int
    severity: str
    spread: str
    agreement: str
    season: str


@dataclass(frozen=True)
class Agreement:
    """`within`: category (or "All") → reliability of a table's mean for boxes of one table. `across`: of boxes at
    different tables, by the season's fit, None without one."""

    made_at: datetime
    within: list[tuple[str, str]]
    across: str | None
    flights: list[FlightAgreement] = field(default_factory=list)
    judges: list[JudgeRow] = field(default_factory=list)


def agreement_of_contest(contest: Contest) -> Agreement | None:
    """The kept agreement of the published tally; None where there is none yet."""
    tally = published_tallies([contest], "inputs").get(contest.pk)
    kept = ContestAgreement.objects.current().filter(tally=tally).first() if tally else None
    if tally is None or kept is None:
        return None
    names = tally.standings.names
    fit = usable(_fit(contest))
    season = fit.figures if fit else None
    result = kept.figures
    order = {key: place for place, key in enumerate(names)}
    flights = sorted(result.flights, key=lambda each: (order.get(each.category, 99), _by(each.table)))
    return Agreement(
        made_at=kept.made_at,
        within=[(names.get(key, "All together"), interval(pooled)) for key, pooled in result.pooled.items()],
        across=_across(season, result),
        flights=[
            FlightAgreement(
                names.get(each.category, each.category),
                each.table,
                each.boxes,
                each.judges,
                "–" if each.w is None else f"{each.w:.2f}",
                interval(each.reliability),
            )
            for each in flights
        ],
        judges=_judges(contest, result.judges, season),
    )


def _fit(contest: Contest) -> SeverityFit | None:
    return SeverityFit.objects.current().filter(group=group_key(contest), response=WEIGHTED, category="").first()


def _by(table: str) -> tuple[int, str]:
    return len(table), table


def _across(fit: FitFigures | None, result: AgreementFigures) -> str | None:
    """The share of boxes in the variance of a table's mean, where each box may have another table."""
    if fit is None or not result.flights:
        return None
    sizes = fit.variances
    boxes = sum(sizes.get(name, 0.0) for name in ("team", "team in contest", "entry"))
    judges = sum(each.judges for each in result.flights) / len(result.flights)
    other = sizes.get("table in contest", 0.0) + (sizes.get("judge", 0.0) + fit.residual) / judges
    return f"{boxes / (boxes + other):.2f}"


def _judges(contest: Contest, found: Mapping[str, JudgeFigures], fit: FitFigures | None) -> list[JudgeRow]:
    """By table and seat: an order that ranks nobody."""
    known = [uid for uid in found if ":" not in uid]
    names = {str(uid): name for uid, name in Judge.objects.filter(uid__in=known).values_list("uid", "name")}
    season = fit.judges if fit else {}
    spans = [points.span for key, points in (fit.points if fit else {}).items() if key.startswith(f"{contest.uid}|")]
    span = sum(spans) / len(spans) if spans else 1.0
    rows = []
    for uid, each in found.items():
        severity = season.get(uid)
        rows.append(
            JudgeRow(
                seat=", ".join(f"table {table}, seat {seat}" for table, seat in each.places),
                name=names.get(uid, "") or "name not known",
                cards=each.cards,
                severity=interval(each.severity, plus=True),
                spread=interval(each.spread),
                agreement=interval(each.agreement),
                season="–"
                if severity is None
                else f"{signed(-severity.severity * span, 2)} ± {Z95 * severity.error * span:.2f}",
            )
        )
    places = {uid: each.places[0] for uid, each in found.items()}
    order = sorted(range(len(rows)), key=lambda at: (_by(list(places.values())[at][0]), list(places.values())[at][1]))
    return [rows[at] for at in order]


def interval(numbers: Range | None, *, plus: bool = False) -> str:
    """`0.84 (0.71 to 0.92)`; a bound that is not known is left open."""
    if numbers is None or numbers[0] is None:
        return "–"
    texts = ["?" if each is None else signed(each, 2) if plus or each < 0 else f"{each:.2f}" for each in numbers]
    return f"{texts[0]} ({texts[1]} to {texts[2]})"


@dataclass(frozen=True, slots=True)
class HeldPlace:
    """An announced place: `chance` in per cent that it would come again, and where 9 in 10 repetitions put it."""

    place: int
    number: str
    team: str
    chance: str
    low: int
    high: int


@dataclass(frozen=True)
class Places:
    made_at: datetime
    repetitions: int
    groups: list[tuple[str, list[HeldPlace]]]


def places_of_contest(contest: Contest) -> Places | None:
    """How the announced places would fare; None before the season has a second contest and a fit."""
    fit = usable(_fit(contest))
    tally = published_tallies([contest], "inputs").get(contest.pk)
    kept = fit.figures.places.get(str(contest.uid)) if fit else None
    if fit is None or tally is None or not kept:
        return None
    names = {"": "Overall", **tally.standings.names}
    return Places(
        fit.made_at,
        fit.figures.repetitions,
        [
            (
                names.get(key, key),
                [
                    HeldPlace(
                        hold.place,
                        number,
                        tally.standings.teams.get(number, ""),
                        percent(hold.chance),
                        hold.low,
                        hold.high,
                    )
                    for number, hold in sorted(kept[key].items(), key=lambda each: each[1].place)
                ],
            )
            for key in names
            if key in kept
        ],
    )


def percent(chance: float) -> str:
    """Whole per cents; never nought or a hundred, which no repetition can show."""
    if chance < 0.01:
        return "under 1 %"
    if chance > 0.99:
        return "over 99 %"
    return f"{round(100 * chance)} %"
