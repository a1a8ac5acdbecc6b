"""Every team's season as points against the field, with its slope: what the charts of a season are drawn from.

Slow to import: for the background worker's child only.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from reports.rules.severity.hardness import ENTRY, TEAM_DAY, WEIGHTED, Z95, BoxWorth, Hardness
from reports.rules.trends import Result, Trend, sentence, trends


def slopes_of(
    hardness: Hardness, contests: Sequence[str], *, names: Mapping[str, str], worths: Mapping[tuple[str, str], float]
) -> dict[str, Any]:
    """Category ("" for all) → team → days in order of the contests, the trend in a sentence, the season's line.

    `contests`: uids in the order of the season. `names`: of the categories. `worths`: (contest, category) → what a
    whole share of the scale is worth in that contest's points; a team's sentence is in the points of its newest.
    """
    categories = list(dict.fromkeys(row.category for row in hardness.rows))
    return {
        category: _slopes(hardness, contests, category, names, worths, boxes=len(categories))
        for category in ["", *categories]
    }


def _slopes(
    hardness: Hardness,
    contests: Sequence[str],
    category: str,
    names: Mapping[str, str],
    worths: Mapping[tuple[str, str], float],
    *,
    boxes: int,
) -> dict[str, Any]:
    order = {contest: place for place, contest in enumerate(contests)}
    teams: dict[str, list[tuple[str, BoxWorth]]] = {}
    for (team, contest), worth in hardness.days(category).items():
        teams.setdefault(team, []).append((contest, worth))
    for days in teams.values():
        days.sort(key=lambda day: order[day[0]])
    found = trends(
        {
            team: [Result(order[contest], worth.worth, worth.error) for contest, worth in days]
            for team, days in teams.items()
        }
    )
    if hardness.response == WEIGHTED:
        subject, unit = (names[category].lower() if category else "boxes"), "points"
    else:
        subject, unit = f"marks for {names[hardness.response].lower()}", "of a mark"
    swing = hardness.variance(TEAM_DAY) + hardness.variance(ENTRY) / (1 if category else boxes)
    kept = {}
    for team, days in teams.items():
        worth = worths[days[-1][0], category]
        kept[team] = {
            "days": [[contest, each.worth, each.error] for contest, each in days],
            "worth": worth,
            "sentence": sentence(_in_points(found[team], worth), subject, unit=unit),
            "chance": found[team].chance,
            "slope": found[team].slope,
            "error": found[team].error,
            "line": _line(found[team], [(order[contest], each) for contest, each in days], swing),
        }
    return kept


def _in_points(trend: Trend, worth: float) -> Trend:
    if trend.slope is None or trend.error is None:
        return trend
    return replace(trend, slope=trend.slope * worth, error=trend.error * worth)


def _line(trend: Trend, days: Sequence[tuple[int, BoxWorth]], swing: float) -> list[list[float]]:
    """The season's line at each contest with its 95 % interval; empty where no slope is told.

    `swing`: the variance of a team's day about its own level, beside the error of the day's points.
    """
    if trend.slope is None or trend.error is None:
        return []
    weights = [1 / (swing + each.error**2) for _, each in days]
    total = sum(weights)
    middle = sum(weight * when for weight, (when, _) in zip(weights, days, strict=True)) / total
    level = sum(weight * each.worth for weight, (_, each) in zip(weights, days, strict=True)) / total
    found = []
    for when, _ in days:
        value = level + trend.slope * (when - middle)
        half = Z95 * (1 / total + (trend.error * (when - middle)) ** 2) ** 0.5
        found.append([value, value - half, value + half])
    return found
