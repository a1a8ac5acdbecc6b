"""Which contests are looked at together: those of a season, or those of a year that belong to none."""

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from contest.models import Contest, Season, Team
from judging.models import Tally
from reports.models import PastResult


@dataclass(frozen=True, slots=True)
class Group:
    """A season by its key: ``season-<id>``, or ``year-<year>`` for contests without a season."""

    key: str
    title: str


def group_key(contest: Contest) -> str:
    """The key of the season that a contest is looked at with."""
    return f"season-{contest.season_id}" if contest.season_id else f"year-{contest.date.year}"


def contests_of(key: str) -> list[Contest]:
    """The published contests of a season, oldest first; no practice. Empty for a key that names nothing."""
    kind, _, number = key.partition("-")
    found = Contest.objects.filter(publications__isnull=False, kind=Contest.Kind.CONTEST).select_related("season")
    if kind == "season" and re.fullmatch(r"\d{1,9}", number):
        found = found.filter(season_id=int(number))
    elif kind == "year" and re.fullmatch(r"\d{4}", number):
        found = found.filter(season__isnull=True, date__year=int(number))
    else:
        return []
    return list(found.distinct().order_by("date", "id"))


def published_tallies(contests: Iterable[Contest], *defer: str) -> dict[int, Tally]:
    """Contest pk → the tally that stands for the public; `defer` names what is not needed of it."""
    found = Tally.objects.filter(contest__in=list(contests), publication__isnull=False).order_by("revision")
    return {tally.contest_id: tally for tally in found.defer(*defer)}


def groups_of(team: Team) -> list[Group]:
    """The seasons in which the team has anything to show, newest first."""
    years: dict[str, Any] = {}
    titles: dict[str, str] = {}
    contests = Contest.objects.filter(entries__team=team, publications__isnull=False).select_related("season")
    for contest in contests.distinct():
        key = group_key(contest)
        titles[key] = str(contest.season) if contest.season else str(contest.date.year)
        years[key] = max(years.get(key, contest.date), contest.date)
    group_of = PastGroups(titles)
    for day in PastResult.objects.filter(team=team).values_list("date", flat=True):
        key = group_of(day)
        titles.setdefault(key, str(day.year))
        years[key] = max(years.get(key, day), day)
    return [Group(key, titles[key]) for key in sorted(years, key=lambda key: (years[key], key), reverse=True)]


class PastGroups:
    """Where a result from elsewhere belongs: to the only season of its year, else to the contests of its year.

    `keys`: of the seasons that a team has; the database is asked once for all results.
    """

    def __init__(self, keys: Iterable[str]) -> None:
        self.keys = frozenset(keys)
        seasons = [int(key.removeprefix("season-")) for key in self.keys if key.startswith("season-")]
        self.by_year: dict[int, list[str]] = defaultdict(list)
        for pk, year in Season.objects.filter(pk__in=seasons).values_list("pk", "year") if seasons else ():
            self.by_year[year].append(f"season-{pk}")

    def __call__(self, day: date) -> str:
        wanted = f"year-{day.year}"
        same_year = self.by_year.get(day.year, [])
        return same_year[0] if len(same_year) == 1 and wanted not in self.keys else wanted
