"""Set-up of a contest: its particulars, categories, tables and seats, the one-person declaration, the small way in.

Refusals are ValidationErrors, by field where one field is to blame. What the draw was made from is fixed by it.
"""

import uuid
from collections.abc import Iterable, Sequence
from datetime import date as Date
from datetime import datetime, timedelta
from datetime import time as Time
from typing import Any
from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify

from contest import day
from contest.models import (
    Account,
    Category,
    Contest,
    ContestRole,
    Entered,
    Pass,
    RuleSet,
    Season,
    Seat,
    Sitting,
    Table,
    Team,
)
from contest.rules.clock import SkippedTime, moment_of
from contest.selectors.setup import cards_limits
from contest.services.draw import make_draw
from contest.services.log import write_log
from contest.services.names import log_corrected_names
from contest.services.passes import issue_pass
from contest.services.people import add_entry, add_judge, locked
from contest.services.roles import give_role, set_roles
from contest.services.rulesets import ensure_shipped_rule_sets, shipped_rule_set
from contest.services.seating import seat_at_random

__all__ = [
    "add_category",
    "change_category",
    "change_details",
    "create_contest",
    "create_small_contest",
    "declare_one_person",
    "delete_contest",
    "ensure_shipped_rule_sets",
    "give_role",
    "remove_category",
    "set_tables",
]

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
#: What may still change once the boxes are drawn.
AFTER_DRAW = frozenset({"name", "place", "season", "keying"})
#: The same of a category.
CATEGORY_AFTER_DRAW = frozenset({"name", "places_called"})


def free_slug(name: str) -> str:
    """An address that no contest has: `example-cook-off`, then `example-cook-off-2` …"""
    stem = slugify(name)[:50].strip("-") or "contest"
    taken = set(Contest.objects.filter(slug__startswith=stem).values_list("slug", flat=True))
    if stem not in taken:
        return stem
    return next(slug for number in range(2, len(taken) + 3) if (slug := f"{stem}-{number}") not in taken)


def _check_zone(time_zone: str) -> None:
    if time_zone not in available_timezones():
        raise ValidationError({"time_zone": f"“{time_zone}” is no time zone: choose one such as Europe/Lisbon or UTC."})


@transaction.atomic
def create_contest(
    *,
    organiser: Account,
    name: str,
    date: Date,
    time_zone: str,
    rule_set: RuleSet,
    place: str = "",
    slug: str = "",
    season: Season | None = None,
    small: bool = False,
    one_person: bool = False,
    conflicts: str = Contest.Conflicts.NOT_SEATED,
    most_boxes: int | None = None,
    uid: uuid.UUID | None = None,
) -> Contest:
    """A contest of `organiser`, who does everything but the desk in a small one, and organises otherwise.

    Without `slug` its address is made from the name; a typed one that is taken is refused. `uid` is the number of
    the form: a form that arrives twice makes one contest.
    """
    _check_zone(time_zone)
    contest = Contest(
        slug=slug or free_slug(name),
        name=" ".join(name.split()),
        place=place,
        date=date,
        time_zone=time_zone,
        rule_set=rule_set,
        season=season,
        small=small,
        one_person=one_person,
        conflicts=conflicts,
        most_boxes=most_boxes,
        uid=uid or uuid.uuid4(),
    )
    contest.full_clean()
    contest.save()
    parts = {"organiser"}
    if small or one_person:
        parts |= {"tally", "head_judge", "announcer"}
    if one_person:
        parts |= {"desk"}
        write_log(contest=contest, chain="day", what="one person declared", facts={}, by=str(organiser))
    set_roles(contest=contest, account=organiser, parts=parts, by=str(organiser))
    issue_pass(opens=Pass.Opens.DESK, contest=contest)
    return contest


@transaction.atomic
def change_details(*, contest: Contest, by: str, **fields: Any) -> Contest:
    """Change name, place, date, time_zone, rule_set, season, conflicts, most_boxes, keying; after the draw AFTER_DRAW
    only. How often sheets are keyed is chosen before the first card.

    Turn-in times move with the date and the clock: half past twelve stays half past twelve.
    """
    contest = locked(contest)
    changed = {name: value for name, value in fields.items() if getattr(contest, name) != value}
    fixed = sorted(set(changed) - AFTER_DRAW)
    if contest.is_drawn and fixed:
        raise ValidationError({fixed[0]: "The boxes are drawn: this can no longer change."})
    if "time_zone" in changed:
        _check_zone(changed["time_zone"])
    if "keying" in changed:
        in_the_way = day.in_the_way("keying", contest)
        if in_the_way:
            raise ValidationError({"keying": in_the_way[0].text})
        write_log(contest=contest, chain="day", what="keying chosen", facts={"keying": changed["keying"]}, by=by)
    day_before, zone_before = contest.date, contest.zone
    for name, value in changed.items():
        setattr(contest, name, value)
    contest.full_clean()
    contest.save(update_fields=list(changed) or None)
    if {"date", "time_zone"} & set(changed):
        for category in contest.categories.all():
            local = category.turn_in_at.astimezone(zone_before).replace(tzinfo=None)
            category.turn_in_at = (local + (contest.date - day_before)).replace(tzinfo=contest.zone)
            category.save(update_fields=["turn_in_at"])
    if "rule_set" in changed:
        _check_seats(contest, field="rule_set")
    return contest


def local_moment(contest: Contest, time: Time, *, next_day: bool = False) -> datetime:
    """The moment at which the contest's clock shows `time` on its date, or in the night after it.

    Raises ValidationError for a time that the clock skips when it goes forward.
    """
    day = contest.date + timedelta(days=next_day)
    try:
        return moment_of(day, time, contest.zone).astimezone(contest.zone)
    except SkippedTime as skipped:
        raise ValidationError(
            f"{time:%H:%M} does not exist on {day:%d %B %Y} in {contest.time_zone}: the clock goes forward then. "
            f"Type {skipped.instead:%H:%M}."
        ) from None


def free_key(contest: Contest, name: str) -> str:
    """A key for a category of this name: `ribs`; names without Latin letters get `category-2`."""
    stem = slugify(name)[:24].strip("-")
    if not stem or not stem[0].isalpha():
        stem = f"category-{stem}".strip("-")
    taken = {*contest.categories.values_list("key", flat=True), "overall", "contest"}  # words of their own in a package
    if stem not in taken:
        return stem
    return next(key for number in range(2, len(taken) + 3) if (key := f"{stem}-{number}") not in taken)


@transaction.atomic
def add_category(
    *,
    contest: Contest,
    name: str,
    turn_in_at: datetime,
    key: str = "",
    minutes_before: int = 5,
    minutes_after: int = 5,
    rule_set: RuleSet | None = None,
    counts_overall: bool = True,
    places_called: int = 3,
) -> Category:
    """A category of the contest. Teams that are on the list already enter it: who skips it is unticked there."""
    contest = locked(contest)
    _refuse_drawn(contest, "another category")
    category = Category(
        contest=contest,
        key=key or free_key(contest, name),
        turn_in_at=turn_in_at,
        minutes_before=minutes_before,
        minutes_after=minutes_after,
        rule_set=rule_set,
        counts_overall=counts_overall,
        places_called=places_called,
    )
    _name_category(category, name)
    category.full_clean()
    category.save()
    Entered.objects.bulk_create(Entered(entry=entry, category=category) for entry in contest.entries.all())
    _order_by_time(contest)
    _check_seats(contest, field="rule_set")
    return category


@transaction.atomic
def change_category(*, category: Category, by: str, **fields: Any) -> Category:
    """Change a category's fields; after the draw only its name and the places called.

    The draw's fingerprint covers names: a name corrected after the draw is a row of the log.
    """
    contest = locked(category.contest)
    changed = {name: value for name, value in fields.items() if getattr(category, name) != value}
    fixed = sorted(set(changed) - CATEGORY_AFTER_DRAW)
    if contest.is_drawn and fixed:
        raise ValidationError({fixed[0]: "The boxes are drawn: this stays."})
    for name, value in changed.items():
        setattr(category, name, value)
    _name_category(category, category.name)
    category.full_clean()
    category.save()
    if contest.is_drawn:
        log_corrected_names(contest=contest, by=by)
    else:
        _order_by_time(contest)
        _check_seats(contest, field="rule_set")
    return category


def _name_category(category: Category, name: str) -> None:
    category.name = " ".join(name.split())
    others = Category.objects.filter(contest=category.contest).exclude(pk=category.pk)
    if others.filter(name__iexact=category.name).exists():
        raise ValidationError({"name": f"There is a category {category.name} already. Choose another name."})


@transaction.atomic
def remove_category(*, category: Category) -> None:
    """Remove a category before the draw; afterwards it can only be cancelled, with a reason."""
    contest = locked(category.contest)
    _refuse_drawn(contest, "removing a category")
    category.delete()
    _order_by_time(contest)


def _order_by_time(contest: Contest) -> None:
    for order, category in enumerate(contest.categories.order_by("turn_in_at", "id")):
        if category.order != order:
            Category.objects.filter(pk=category.pk).update(order=order)


def _refuse_drawn(contest: Contest, what: str) -> None:
    if contest.is_drawn:
        raise ValidationError(f"The boxes are drawn: {what} would need a new draw.")


@transaction.atomic
def set_tables(*, contest: Contest, tables: int, seats: int) -> list[Table]:
    """Tables 1, 2 … with seats A, B …; what is too many goes, with whoever was seated there."""
    contest = locked(contest)
    _refuse_drawn(contest, "another number of tables or seats")
    if not 1 <= tables <= 99:
        raise ValidationError({"tables": "Type a number of tables from 1 to 99."})
    if not 1 <= seats <= len(LETTERS):
        raise ValidationError({"seats": f"Type a number of seats from 1 to {len(LETTERS)}."})
    check_seat_number(contest, seats, field="seats")
    contest.tables.filter(number__gt=tables).delete()
    made = [Table.objects.get_or_create(contest=contest, number=number)[0] for number in range(1, tables + 1)]
    for table in made:
        table.seats.exclude(letter__in=LETTERS[:seats]).delete()
        there = set(table.seats.values_list("letter", flat=True))
        Seat.objects.bulk_create(Seat(table=table, letter=sign) for sign in LETTERS[:seats] if sign not in there)
    return made


def check_seat_number(contest: Contest, seats: int, *, field: str) -> None:
    """Refuse more judges at a table than a box may have cards, or fewer than it needs."""
    limits = cards_limits(contest)
    if seats > limits.most:
        raise ValidationError({field: f"“{limits.most_by}” takes {limits.most} cards a box at most: seat no more."})
    if seats < limits.fewest:
        raise ValidationError(
            {field: f"“{limits.fewest_by}” needs {limits.fewest} cards a box at least: {seats} seats are too few."}
        )


def _check_seats(contest: Contest, *, field: str) -> None:
    for table in contest.tables.all():
        check_seat_number(contest, table.seats.count(), field=field)


@transaction.atomic
def declare_one_person(*, contest: Contest, account: Account, by: str) -> Contest:
    """`account` works desk and tally alone. Set before the first card, never cleared, printed on the result."""
    contest = locked(contest)
    if contest.one_person:
        return contest
    in_the_way = day.in_the_way("one_person", contest)
    if in_the_way:
        why = " ".join(todo.text for todo in in_the_way)
        raise ValidationError(f"{why} A one-person contest is declared before the first card.")
    contest.one_person = True
    contest.save(update_fields=["one_person"])
    ContestRole.objects.filter(contest=contest).update(one_person=True)
    write_log(contest=contest, chain="day", what="one person declared", facts={}, by=by)
    held = ContestRole.objects.get(contest=contest, account=account).held
    set_roles(contest=contest, account=account, parts=held | set(ContestRole.NAMES), by=by)
    return contest


@transaction.atomic
def delete_contest(*, contest: Contest) -> None:
    """Delete a contest that was never drawn, with its list of entries; teams and judges known elsewhere stay."""
    contest = locked(contest)
    if contest.is_drawn or contest.draws.exists():
        raise ValidationError("A contest that was drawn is not deleted: its record belongs to the teams as well.")
    contest.delete()


@transaction.atomic
def create_small_contest(
    *,
    organiser: Account,
    name: str,
    date: Date,
    time_zone: str,
    categories: Iterable[tuple[str, Time]],
    team_names: Sequence[str],
    judges: int,
    judge_names: Sequence[str] = (),
    one_person: bool = False,
    uid: uuid.UUID | None = None,
) -> Contest:
    """A contest that is ready to take boxes: Plain points, one table, seats at random, boxes drawn and sealed.

    `categories` are names with their turn-in time by the contest's clock; teams are numbered as they come.
    Raises ValidationError or DrawRefused, and then nothing is left behind.
    """
    contest = create_contest(
        organiser=organiser,
        name=name,
        date=date,
        time_zone=time_zone,
        rule_set=shipped_rule_set("plain-points"),
        small=True,
        one_person=one_person,
        uid=uid,
    )
    for category_name, time in categories:
        add_category(contest=contest, name=category_name, turn_in_at=local_moment(contest, time))
    set_tables(contest=contest, tables=1, seats=judges)
    made_up = {f"Team {number}" for number in range(1, len(team_names) + 1)}
    for number, team_name in enumerate(team_names, start=1):
        # "Team 7" says nothing about who it is: it is not last month's Team 7.
        known: dict[str, Team] | None = {} if team_name in made_up else None
        add_entry(contest=contest, number=number, team_name=team_name, known=known)
    for judge_name in judge_names:
        add_judge(contest=contest, name=judge_name)
    if judge_names:
        seat_at_random(contest=contest, by=str(organiser))
    else:
        seats = Seat.objects.filter(table__contest=contest)
        Sitting.objects.bulk_create(
            Sitting(seat=seat, category=category) for seat in seats for category in contest.categories.all()
        )
    make_draw(contest=contest, by=str(organiser))
    contest.refresh_from_db()
    return contest


@transaction.atomic
def switch_phones(*, contest: Contest, on: bool, by: str) -> Contest:
    """Let judges hand cards in from phones, or not; settled before the first card. Paper works either way."""
    contest = locked(contest)
    if contest.phones == on:
        return contest
    in_the_way = day.in_the_way("phones", contest)
    if in_the_way:
        raise ValidationError([todo.text for todo in in_the_way])
    contest.phones = on
    contest.save(update_fields=["phones"])
    what = "phones switched on" if on else "phones switched off"
    write_log(contest=contest, chain="day", what=what, facts={}, by=by)
    return contest
