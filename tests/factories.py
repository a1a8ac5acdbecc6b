"""Plain factories: rows written directly, so that a test of one room does not depend on the services of another.

Team numbers are 1, 2, 3 …; box numbers 201, 202 … in a fixed order that differs from the team order.
"""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import count

from django.db import connection
from django.test import Client

from contest import appendonly
from contest.access import PASS_KEY
from contest.models import (
    Account,
    Attendance,
    Box,
    Category,
    Contest,
    ContestRole,
    Draw,
    Entered,
    Entry,
    Judge,
    Pairing,
    RuleSet,
    Seat,
    Sitting,
    Table,
    Team,
    TurnIn,
)
from contest.rules.ruleset import shipped_text
from contest.services.passes import issue_pass
from judging.models import Card, Mark, Reading

TREES = (
    "Alder", "Birch", "Cedar", "Elm", "Fir", "Hazel", "Hornbeam", "Juniper", "Larch", "Linden", "Maple", "Oak",
    "Pine", "Poplar", "Rowan", "Spruce", "Willow", "Yew",
)  # fmt: skip
_numbers = count(1001)  # of four figures: never taken for the number of a box on a page


def make_account(name: str | None = None) -> Account:
    return Account.objects.create_user(name or f"account{next(_numbers)}", password="a long password")


def make_rule_set(key: str = "taste-double") -> RuleSet:
    return RuleSet.objects.create(name=f"{key} {next(_numbers)}", document=shipped_text(key))


def make_contest(
    *,
    teams: int = 6,
    tables: int = 1,
    seats: int = 6,
    categories: tuple[str, ...] = ("chicken", "ribs"),
    rules: str = "taste-double",
    **fields: object,
) -> Contest:
    """A contest ready for the draw: every team in every category, every seat with a judge."""
    serial = next(_numbers)
    contest = Contest.objects.create(
        **{
            "slug": f"example-cook-off-{serial}",
            "name": f"Example Cook-off {serial}",
            "date": date(2026, 6, 13),
            "time_zone": "UTC",
            "rule_set": make_rule_set(rules),
            **fields,
        }
    )
    noon = datetime.combine(contest.date, time(12), UTC)
    made_categories = [
        Category.objects.create(
            contest=contest,
            key=key,
            name=key.capitalize(),
            order=order,
            turn_in_at=noon + timedelta(minutes=30 * order),
        )
        for order, key in enumerate(categories)
    ]
    for number in range(1, teams + 1):
        team = Team.objects.create(name=f"Team {TREES[(number - 1) % len(TREES)]} {serial}-{number}")
        entry = Entry.objects.create(contest=contest, team=team, number=number)
        Entered.objects.bulk_create(Entered(entry=entry, category=each) for each in made_categories)
    for number in range(1, tables + 1):
        table = Table.objects.create(contest=contest, number=number)
        for letter in "ABCDEFGH"[:seats]:
            seat = Seat.objects.create(table=table, letter=letter)
            judge = Judge.objects.create(name=f"Judge {number}{letter} {serial}")
            Attendance.objects.create(contest=contest, judge=judge)
            Sitting.objects.bulk_create(Sitting(seat=seat, category=each, judge=judge) for each in made_categories)
    return contest


def make_drawn(contest: Contest | None = None, **fields: object) -> Contest:
    """A drawn contest: boxes dealt to the tables in turn, the pairing shifted by two against the team order."""
    contest = contest or make_contest(**fields)
    draw = Draw.objects.create(
        contest=contest,
        secret_text="secret\n",
        commitment="c" * 64,
        public_text="public\n",
        seed="5" * 64,
        draw_text="draw\n",
        fingerprint="f" * 64,
    )
    tables = list(contest.tables.all())
    number = count(201)
    for category in contest.categories.select_related("contest__rule_set", "rule_set"):
        category.frozen_rules = (category.rule_set or contest.rule_set).document
        category.save()
        entries = list(Entry.objects.filter(entered__category=category))
        shifted = entries[2:] + entries[:2]
        for place, entry in enumerate(shifted):
            box = Box.objects.create(
                contest=contest,
                draw=draw,
                category=category,
                number=str(next(number)),
                table=tables[place % len(tables)],
                position=place // len(tables) + 1,
            )
            Pairing.objects.create(box=box, entry=entry)
    contest.state = Contest.State.SEALED
    contest.save()
    return contest


def take_in(contest: Contest, status: str = "accepted", boxes: list[Box] | None = None) -> None:
    """Every box of the contest (or of `boxes`) turned in."""
    for box in boxes if boxes is not None else contest.boxes.all():
        TurnIn.objects.create(box=box, status=status, by="desk", handed_in_at=box.category.turn_in_at)


def make_card(box: Box, seat: Seat, marks: dict[str, str | int], **fields: object) -> Card:
    card, _ = Card.objects.get_or_create(box=box, seat=seat)
    reading = Reading.objects.create(card=card, **{"by": "clerk", **fields})
    Mark.objects.bulk_create(
        Mark(reading=reading, criterion=key, value=Decimal(str(value))) for key, value in marks.items()
    )
    return card


def mark_everything(contest: Contest, missing: int = 0) -> None:
    """Cards for every box and seat, with marks that differ from box to box; the last `missing` cards left out."""
    slots = [
        (box, seat)
        for box in contest.boxes.select_related("table").prefetch_related("table__seats").order_by("number")
        for seat in box.table.seats.all()
    ]
    for box, seat in slots[: len(slots) - missing]:
        base = 5 + int(box.number) % 4
        lift = 1 if seat.letter in "AC" else 0
        make_card(box, seat, {"appearance": base, "taste": min(9, base + lift), "tenderness": base})


def give_part(contest: Contest, part: str, account: Account | None = None) -> Account:
    """An account that holds `part` (organiser, announcer, head_judge, tally, desk) in the contest."""
    account = account or make_account()
    row, _ = ContestRole.objects.get_or_create(
        contest=contest, account=account, defaults={"one_person": contest.one_person}
    )
    setattr(row, part, True)
    row.save()
    return account


def client_for(contest: Contest, part: str, table: int = 1, seat: str = "A") -> Client:
    """A signed-in test client for a part: an account's, or a pass's for captain, judge and the desk's pass."""
    client = Client()
    if part == "visitor":
        return client
    if part in ("captain", "judge", "desk pass"):
        found = contest.tables.get(number=table) if part != "desk pass" else None
        held = issue_pass(
            opens={"captain": "table", "judge": "seat", "desk pass": "desk"}[part],
            contest=contest,
            table=found if part == "captain" else None,
            seat=found.seats.get(letter=seat) if part == "judge" else None,
        )
        session = client.session
        session[PASS_KEY] = held.pk
        session.save()
        return client
    client.force_login(
        give_part(contest, part) if part != "stranger" else make_account(),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    return client


def unguarded():
    """Rows that the database keeps may be changed inside: `with unguarded(): …`, for states no service makes."""
    return appendonly.aside(connection)
