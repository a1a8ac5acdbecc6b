"""The demo cook's own pages: results typed in, one contest as a package, a log of every cook of ribs and pork, a plan.

All of it is invented and goes through the services that the pages call. The log follows no script about what makes a
box better: whatever the comparison shows is as much chance as it would be for a real team.
"""

import random
from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction

from contest.models import Contest, Team
from contest.rules.clock import moment_of
from reports.cook import cooklog, packages
from reports.cook.days import Day, Dish, find_day, lengths_of
from reports.cook.past import keep_result
from reports.demo.evening import hold_practices
from reports.models import CookLog, Publication
from reports.rules.timeline import SPRITZ, plan_back

LOGGED = ("ribs", "pork")
#: Results of the year before, typed in: days ago, place and field, points of ribs of 202.5 possible.
YEAR_BEFORE = (
    ("Example Spring Cook-off", 420, 11, 16, "146.5"),
    ("Example Midsummer Cook-off", 378, 8, 18, "152"),
    ("Example Harvest Cook-off", 322, 9, 20, "149.5"),
    ("Example Leaf Cook-off", 287, 5, 14, "158"),
)
POSSIBLE = "202.5"  # five cards of nines by weights 1, 2 and 1.5
WOODS, RUBS, SAUCES = ("Hickory", "Oak", "Apple"), ("House rub", "Pepper rub"), ("Sweet", "Vinegar")


def keep_pages(team: Team, zone: ZoneInfo, now: datetime, seed: str) -> None:
    """Everything of the cook's team that is no part of a contest."""
    chance = random.Random(f"{seed}:cook")  # noqa: S311  (an invented log, no secret)
    cooklog.keep_settings(team=team, unit="F", fields=["Rub", "Wood", "Sauce", "Cut"])
    for name, days_ago, place, field, total in YEAR_BEFORE:
        date = (now - timedelta(days=days_ago)).astimezone(zone).date()
        keep_result(
            team=team, contest_name=name, date=date, category="Ribs", place=place, field=field, total=total,
            possible=POSSIBLE, table="", marks=[],
        )  # fmt: skip
        noon = moment_of(date, datetime(2000, 1, 1, 12, 30).time(), zone)
        row = cooklog.keep_own_day(
            team=team, row=None, name=name, date=date, time_zone=zone.key, dishes=[("ribs", "Ribs", noon)]
        )
        _log_day(team, row.uid, now, chance)
    for entry in team.entries.select_related("contest").order_by("contest__date"):
        _log_day(team, entry.contest.uid, now, chance)
    _plan_next_week(team, zone, now)
    hold_practices(team, zone, now, seed)


def bring_package(team: Team, hold: Callable[[], Contest]) -> None:
    """A contest elsewhere: held and undone again, so that nothing but its package is left, which the team reads in."""
    with transaction.atomic():
        package = bytes(Publication.objects.get(contest=hold()).package)
        transaction.set_rollback(True)
    read = packages.read_package(package)
    known = packages.known_team(team, read.contest) if read.contest is not None else None
    if known is None:
        raise RuntimeError("the demo's package does not hold")
    packages.keep_package(team=team, read=read, number=known.number, against_print=False)


def _plan_next_week(team: Team, zone: ZoneInfo, now: datetime) -> None:
    date = (now + timedelta(days=7)).astimezone(zone).date()
    at = moment_of(date, datetime(2000, 1, 1, 13, 0).time(), zone)
    cooklog.keep_own_day(
        team=team,
        row=None,
        name="Practice at home",
        date=date,
        time_zone=zone.key,
        dishes=[("ribs", "Ribs", at), ("brisket", "Brisket", at + timedelta(minutes=30))],
    )


def _log_day(team: Team, uid: UUID, now: datetime, chance: random.Random) -> None:
    day = find_day(team, uid)
    if day is None:
        return
    for dish in day.dishes:
        if dish.key in LOGGED:
            _log_dish(team, day, dish, now, chance)


def _log_dish(team: Team, day: Day, dish: Dish, now: datetime, chance: random.Random) -> None:
    """As far as the cook has come by `now`."""
    fresh = find_day(team, day.uid)
    log = cooklog.log_of(team=team, day=fresh or day, key=dish.key)
    wood = chance.choice(WOODS)
    for name, value in (("Rub", chance.choice(RUBS)), ("Wood", wood), ("Sauce", chance.choice(SAUCES))):
        cooklog.note_field(log=log, name=name, value=value)
    late = 0
    for step in plan_back(dish.turn_in_at, lengths_of(team, [dish.key])[dish.key].lengths):
        if step.key in ("box", "walk", "turn_in"):
            late = min(late, 2)
        elif step.key not in (SPRITZ, "rest", "hold", "set"):  # these begin with the moment before them
            late = max(-10, min(15, late + chance.randint(-4, 5)))
        at = step.at + timedelta(minutes=late)
        if at > now:
            break
        cooklog.note_stage(log=log, stage=step.key, at=at)
        if step.key in ("pit", SPRITZ):
            _read(log, "pit", chance.gauss(275, 9), at)
        elif step.key == "wrap":
            _read(log, "meat", chance.gauss(165, 4), at)
        elif step.key == "off":
            _read(log, "meat", chance.gauss(204, 2), at)
        elif step.key == "hold":
            _read(log, "meat", chance.gauss(160, 6), at + timedelta(minutes=1))
    if chance.random() < 0.4:
        cooklog.keep_notes(log=log, notes=f"{wood} gave a thin blue smoke after the first hour.")


def _read(log: CookLog, where: str, degrees: float, at: datetime) -> None:
    cooklog.note_temperature(log=log, where=where, degrees=Decimal(round(degrees)), unit="F", at=at)
