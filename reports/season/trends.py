"""A team's trends of a season as charts and sentences, from the kept fits."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from reports.charts import Band, Day, LineAt, band
from reports.rules.fitted import FitFigures
from reports.rules.severity.hardness import WEIGHTED, Z95
from reports.rules.trendwords import sentence
from reports.season.boxes import TeamSeason, usable


@dataclass(frozen=True, slots=True)
class Trend:
    """`scales_differ`: contests with other points are converted to those of `points_of`, the team's newest."""

    what: str
    sentence: str
    chart: Band
    scales_differ: bool
    points_of: str


def trend_of(season: TeamSeason, category: str = "", response: str = WEIGHTED) -> Trend | None:
    """The team's trend in a category ("" for all boxes) by weighted mark or one criterion; None without a fit."""
    fit = usable(season.fits.get(response))
    kept = fit.figures.slopes.get(category, {}).get(str(season.team.uid)) if fit else None
    contests = season.held
    days = [day for day in kept.days if day.contest in contests] if kept else []
    if fit is None or kept is None or not days:
        return None
    worth = kept.worth
    shown = []
    for day in days:
        contest = contests[day.contest]
        hardness = _hardness(fit.figures, season, day.contest, category)
        shown.append(
            Day(
                name=contest.name,
                label=f"{contest.date.day} {contest.date:%b}",
                adjusted=day.worth * worth,
                half=Z95 * day.error * worth,
                raw=(day.worth - hardness) * worth,
                hardness=hardness * worth,
            )
        )
    what = season.categories.get(category, "") if category else "All boxes" if response == WEIGHTED else response
    chart = band(
        id=f"trend-{response}-{category or 'all'}",
        title=f"{what}: against the field, contest by contest",
        days=shown,
        line=[LineAt(*(part * worth for part in at)) for at in kept.line],
        unit="points a box" if response == WEIGHTED else "marks",
    )
    subject, unit = _subject(fit.figures.names, category, response)
    text = sentence(kept.trend, subject, unit=unit)
    return Trend(what, text, chart, _scales_differ(fit.figures, category), contests[days[-1].contest].name)


def _subject(names: Mapping[str, str], category: str, response: str) -> tuple[str, str]:
    """What rose or fell, and in which unit."""
    if response == WEIGHTED:
        return (names[category].lower() if category else "boxes"), "points"
    return f"marks for {names[response].lower()}", "of a mark"


def _scales_differ(fit: FitFigures, category: str) -> bool:
    """Whether a share of the scale is worth other points at some contest."""
    worths = {points.total for key, points in fit.points.items() if category in ("", key.rpartition("|")[2])}
    return max(worths) - min(worths) > 1e-6


def _hardness(fit: FitFigures, season: TeamSeason, uid: str, category: str) -> float:
    """The mean hardness of the tables that judged the team's boxes that day, a share of the scale."""
    found = []
    for key, box in fit.boxes.items():
        contest, its_category, _ = key.split("|")
        if box.team == str(season.team.uid) and contest == uid and category in ("", its_category):
            table = fit.table(contest, its_category, box.table)
            if table is not None and table.hardness is not None:
                found.append(table.hardness)
    return sum(found) / len(found) if found else 0.0


def all_trends(season: TeamSeason) -> list[tuple[str, list[Trend]]]:
    """All boxes; every category; every criterion. Groups without a trend are left out."""
    groups: list[tuple[str, list[Any]]] = [
        ("All boxes", [trend_of(season)]),
        ("By category", [trend_of(season, key) for key in season.categories]),
        (
            "By criterion",
            [trend_of(season, response=key) for key in season.fits if key != WEIGHTED],
        ),
    ]
    return [(title, kept) for title, trends in groups if (kept := [each for each in trends if each is not None])]
