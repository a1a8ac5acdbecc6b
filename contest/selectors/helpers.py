"""Helpers of a contest: accounts with their roles, and the passes that open a door."""

from dataclasses import dataclass
from typing import Any, cast

from django.db.models import Field, QuerySet

from contest.models import Account, Contest, ContestRole, Pass, Seat, Table
from contest.rules.say import listed, sentence


def roles(contest: Contest) -> QuerySet[ContestRole]:
    """Those who do something in the contest, by name."""
    return (
        ContestRole.objects.filter(contest=contest)
        .select_related("account", "contest")
        .order_by("account__first_name", "account__username")
    )


def slip_allowed(account: Account, organiser: Account) -> bool:
    """Whether `organiser` may print a pass that opens `account`.

    Only a helper's account that was made by name alone, and only while everything it opens belongs to contests
    of that organiser: a pass to anybody else's account would be a way into other people's contests and seasons.
    """
    if account == organiser or account.is_staff or account.is_superuser or account.has_usable_password():
        return False
    if account.teams.exists():
        return False
    own = ContestRole.objects.filter(account=organiser, organiser=True).values("contest")
    return not ContestRole.objects.filter(account=account).exclude(contest__in=own).exists()


@dataclass(frozen=True)
class Door:
    """What a slip opens: `key` stands in addresses and form fields."""

    key: str
    name: str
    about: str
    opens: str
    account: Account | None = None
    table: Table | None = None
    seat: Seat | None = None


def roles_text(row: ContestRole) -> str:
    """ "Announcer and tally clerk." """
    fields = [ContestRole._meta.get_field(name) for name in ContestRole.NAMES if name in row.held]
    names = [str(cast("Field[Any, Any]", field).verbose_name) for field in fields]
    return f"{sentence(listed(names))}."


def seat_doors(contest: Contest) -> list[Door]:
    """The seats of a contest whose judges may use phones."""
    return [
        Door(
            f"seat-{seat.table.number}{seat.letter}",
            f"Judge at table {seat.table.number}, seat {seat.letter}",
            "Marks the boxes of this seat on a phone. Paper always works.",
            Pass.Opens.SEAT,
            seat=seat,
        )
        for seat in Seat.objects.filter(table__contest=contest)
        .select_related("table")
        .order_by("table__number", "letter")
    ]


def doors(contest: Contest, organiser: Account) -> list[Door]:
    """Every door of the contest that gets a slip: the desk, each table, each seat with a phone, each helper."""
    found = [Door("desk", "Turn-in desk", "Takes the boxes in.", Pass.Opens.DESK)]
    found += [
        Door(
            f"table-{table.number}",
            f"Captain of table {table.number}",
            "Ticks boxes in, serves them in order, collects the score sheets.",
            Pass.Opens.TABLE,
            table=table,
        )
        for table in contest.tables.all()
    ]
    found += seat_doors(contest) if contest.phones else []
    found += [
        Door(f"account-{row.account_id}", str(row.account), roles_text(row), Pass.Opens.ACCOUNT, account=row.account)
        for row in roles(contest)
        if row.held and slip_allowed(row.account, organiser)
    ]
    return found
