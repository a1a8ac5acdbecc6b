"""A team's cook days: the contests it is entered in and the days it typed in itself, with turn-in times and plans."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q

from contest.models import Contest, Entered, Entry, Team
from reports.models import CookDay, CookLog, CookNote, CookStage, CookTemperature, TeamStages
from reports.rules.timeline import DEFAULTS, Lengths, Step, kind_of, plan_back

#: A day stays among the coming ones until this long after its last turn-in.
LINGERS = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class Dish:
    """One category that the team cooks that day."""

    key: str
    name: str
    turn_in_at: datetime


@dataclass(frozen=True, slots=True)
class Day:
    """`uid` is the contest's, or the typed day's own; `row` is None until something is kept for the day."""

    uid: uuid.UUID
    name: str
    date: date
    zone: ZoneInfo
    contest: Contest | None
    row: CookDay | None
    dishes: list[Dish]

    def dish(self, key: str) -> Dish | None:
        return next((dish for dish in self.dishes if dish.key == key), None)

    def is_over(self, now: datetime) -> bool:
        if not self.dishes:
            return self.date < now.astimezone(self.zone).date()
        return max(dish.turn_in_at for dish in self.dishes) + LINGERS < now


@dataclass(frozen=True, slots=True)
class Planned:
    """A step of the plan with the category it belongs to."""

    dish: Dish
    step: Step


def days_of(team: Team) -> list[Day]:
    """All cook days of a team, newest first."""
    rows = list(CookDay.objects.filter(team=team).select_related("contest").prefetch_related("logs"))
    by_contest = {row.contest_id: row for row in rows if row.contest_id is not None}
    entries = Entry.objects.filter(team=team).select_related("contest")
    dishes = _entered(Q(entry__team=team))
    days = [
        _contest_day(entry.contest, by_contest.pop(entry.contest_id, None), dishes.get(entry.contest_id, []))
        for entry in entries
    ]
    days += [_own_day(row) for row in rows if row.contest_id is None or row.contest_id in by_contest]
    return sorted(days, key=lambda day: (day.date, day.name), reverse=True)


def zone_of(team: Team) -> str:
    """The time zone by which the team reads clocks: that of its newest day, UTC where it has none."""
    rows = [
        Contest.objects.filter(entries__team=team).order_by("-date").values_list("date", "time_zone").first(),
        CookDay.objects.filter(team=team, contest=None).order_by("-date").values_list("date", "time_zone").first(),
    ]
    return max((row for row in rows if row is not None), default=("", "UTC"), key=lambda row: str(row[0]))[1]


def find_day(team: Team, uid: uuid.UUID) -> Day | None:
    """The team's day of that uid, None where it has none."""
    entry = Entry.objects.filter(team=team, contest__uid=uid).select_related("contest").first()
    if entry is not None:
        row = CookDay.objects.filter(team=team, contest=entry.contest).prefetch_related("logs").first()
        dishes = _entered(Q(entry=entry)).get(entry.contest_id, [])
        return _contest_day(entry.contest, row, dishes)
    row = CookDay.objects.filter(Q(uid=uid) | Q(contest__uid=uid), team=team).prefetch_related("logs").first()
    return None if row is None else _own_day(row)


def _entered(which: Q) -> dict[int, list[Dish]]:
    """By contest the categories that are entered and held, in the order of the day."""
    found: dict[int, list[Dish]] = {}
    standing = Entered.objects.filter(which, withdrawn_at=None, category__cancelled_at=None)
    for row in standing.select_related("category").order_by("category__turn_in_at", "category__order"):
        category = row.category
        found.setdefault(category.contest_id, []).append(Dish(category.key, category.name, category.turn_in_at))
    return found


def _contest_day(contest: Contest, row: CookDay | None, dishes: list[Dish]) -> Day:
    """A category that was cancelled or withdrawn keeps the log that was begun."""
    known = {dish.key for dish in dishes}
    begun = [dish for dish in _logged(row) if dish.key not in known] if row is not None else []
    return Day(contest.uid, contest.name, contest.date, contest.zone, contest, row, [*dishes, *begun])


def _own_day(row: CookDay) -> Day:
    """Its categories are its logs; so are those of a practice, and of a contest that the team left."""
    return Day(row.uid, row.name, row.date, row.zone, row.contest, row, _logged(row))


def _logged(row: CookDay) -> list[Dish]:
    return [Dish(log.key, log.name, log.turn_in_at) for log in row.logs.all()]


def logs_of(team: Team) -> list[CookLog]:
    """All logs of a team, newest day first, each with `is_begun`: whether something was noted."""
    noted = [Exists(model.objects.filter(log=OuterRef("pk"))) for model in (CookStage, CookTemperature, CookNote)]
    begun = ~Q(notes="") | Q(noted[0]) | Q(noted[1]) | Q(noted[2])
    logs = CookLog.objects.filter(day__team=team).select_related("day__contest")
    return list(logs.annotate(is_begun=begun).order_by("-day__date", "turn_in_at"))


@dataclass(frozen=True, slots=True)
class Noted:
    """What was noted at a cook, oldest first; `fields`: the team's own, by name."""

    stages: list[CookStage] = field(default_factory=list)
    temperatures: list[CookTemperature] = field(default_factory=list)
    fields: dict[str, str] = field(default_factory=dict)


def noted_in(logs: Sequence[CookLog]) -> dict[int, Noted]:
    """Log pk → what was noted. Three questions for any number of logs, and no query object for each."""
    found = {log.pk: Noted() for log in logs}
    for stage in CookStage.objects.filter(log__in=logs):
        found[stage.log_id].stages.append(stage)
    for temperature in CookTemperature.objects.filter(log__in=logs):
        found[temperature.log_id].temperatures.append(temperature)
    for note in CookNote.objects.filter(log__in=logs).select_related("field"):
        found[note.log_id].fields[note.field.name] = note.value
    return found


@dataclass(frozen=True, slots=True)
class OwnLengths:
    lengths: Lengths
    own: bool  # else the common ones to start from


def lengths_of(team: Team, keys: list[str]) -> dict[str, OwnLengths]:
    """The stage lengths that the team plans each category with."""
    kept = {row.category: row for row in TeamStages.objects.filter(team=team, category__in=keys)}
    return {
        key: OwnLengths(Lengths(kept[key].lengths, kept[key].spritz_every), True)
        if key in kept
        else OwnLengths(DEFAULTS[kind_of(key)], False)
        for key in keys
    }


def plan_of(day: Day, lengths: dict[str, OwnLengths]) -> list[Planned]:
    """The steps of all the day's categories in one line of time."""
    planned = [
        Planned(dish, step) for dish in day.dishes for step in plan_back(dish.turn_in_at, lengths[dish.key].lengths)
    ]
    return sorted(planned, key=lambda each: each.step.at)
