"""Every team's season as points against the field, with its slope: what the charts of a season are drawn from.

Slow to import: for the background worker's child only.
"""

from collections.abc import Mapping, Sequence

from reports.rules.fitted import SlopeDay, TeamSlope
from reports.rules.severity.hardness import ENTRY, TEAM_DAY, Z95, BoxWorth, Hardness
from reports.rules.trends import Result, trends
from reports.rules.trendwords import Trend


def slopes_of(
    hardness: Hardness, contests: Sequence[str], *, worths: Mapping[tuple[str, str], float]
) -> dict[str, dict[str, TeamSlope]]:
    """Category ("" for all) → team → days in order of the contests, the slope, the season's line.

    `contests`: uids in the order of the season. `worths`: (contest, category) → what a whole share of the scale is
    worth in that contest's points; a team's sentence is in the points of its newest.
    """
    categories = hardness.cards["category"].unique().tolist()
    return {
        category: _slopes(hardness, contests, category, worths, boxes=len(categories)) for category in ["", *categories]
    }


def _slopes(
    hardness: Hardness,
    contests: Sequence[str],
    category: str,
    worths: Mapping[tuple[str, str], float],
    *,
    boxes: int,
) -> dict[str, TeamSlope]:
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
    swing = hardness.variance(TEAM_DAY) + hardness.variance(ENTRY) / (1 if category else boxes)
    kept = {}
    for team, days in teams.items():
        kept[team] = TeamSlope(
            days=tuple(SlopeDay(contest, each.worth, each.error) for contest, each in days),
            worth=worths[days[-1][0], category],
            slope=found[team].slope,
            error=found[team].error,
            chance=found[team].chance,
            line=tuple(_line(found[team], [(order[contest], each) for contest, each in days], swing)),
        )
    return kept


def _line(trend: Trend, days: Sequence[tuple[int, BoxWorth]], swing: float) -> list[tuple[float, float, float]]:
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
        found.append((value, value - half, value + half))
    return found
