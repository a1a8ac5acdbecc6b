"""Who sits where, and which teams that keeps from which tables. Nothing here reads a box."""

import json
from dataclasses import dataclass, field
from functools import cached_property

from contest.models import (
    Attendance,
    Category,
    Contest,
    Draw,
    Entry,
    Judge,
    JudgeConflict,
    LogRow,
    Seat,
    Sitting,
    Table,
)
from contest.selectors.categories import held_categories
from contest.selectors.people import attendances, teams_in_conflict


def forbidden_tables(contest: Contest) -> frozenset[tuple[int, int]]:
    """(team number, table number) pairs that must not meet in the draw, because of who sits there in any category.

    Where judges with a competing team are not seated at all, this is empty unless one slipped in.
    """
    conflicts = teams_in_conflict(contest)
    seated = Sitting.objects.filter(seat__table__contest=contest, judge__in=conflicts)
    return frozenset(
        (entry.number, table)
        for judge, table in seated.values_list("judge_id", "seat__table__number")
        for entry in conflicts[judge]
    )


@dataclass
class SeatView:
    """A seat through the day: its spells are (category from which, judge or None, vacant), changes only."""

    seat: Seat
    spells: list[tuple[Category, Judge | None, bool]]

    @property
    def judge(self) -> Judge | None:
        """Who sits here at the end of the day's list."""
        return self.spells[-1][1] if self.spells else None

    @property
    def vacant(self) -> bool:
        return bool(self.spells) and self.spells[-1][2]

    @property
    def changes(self) -> list[tuple[Category, Judge | None, bool]]:
        return self.spells[1:]


@dataclass
class TableView:
    table: Table
    seats: list[SeatView] = field(default_factory=list)

    @property
    def experience(self) -> list[int]:
        return [seat.judge.contests_judged for seat in self.seats if seat.judge]

    @property
    def mean(self) -> float | None:
        return sum(self.experience) / len(self.experience) if self.experience else None


@dataclass
class Waiting:
    """A judge on the list without a seat; `why` is empty for one who may be seated."""

    judge: Judge
    why: str


@dataclass
class Seating:
    contest: Contest
    categories: list[Category]
    tables: list[TableView]
    waiting: list[Waiting]
    problems: list[str]

    @property
    def anybody(self) -> bool:
        """Somebody sits somewhere by name."""
        return any(table.experience for table in self.tables)

    @cached_property
    def free(self) -> list[Judge]:
        return [row.judge for row in self.waiting if not row.why]


def last_seed(contest: Contest) -> str:
    """The seed of the last seating at random, from the log; empty when there was none."""
    row = LogRow.objects.filter(chain__contest=contest, chain__name="day", what="judges seated at random").last()
    return json.loads(row.facts)["seed"] if row else ""


def seats(contest: Contest) -> list[Seat]:
    return list(Seat.objects.filter(table__contest=contest).select_related("table").order_by("table__number", "letter"))


def sittings(contest: Contest) -> dict[tuple[int, int], Sitting]:
    """(seat pk, category pk) → who sits there; a pair without a row is a seat without a judge's name."""
    rows = Sitting.objects.filter(seat__table__contest=contest).select_related("judge")
    return {(row.seat_id, row.category_id): row for row in rows}


def seating(contest: Contest) -> Seating:
    """The whole seating as its page shows it."""
    categories = held_categories(contest)
    rows = sittings(contest)
    tables: dict[int, TableView] = {table.pk: TableView(table) for table in contest.tables.all()}
    for seat in seats(contest):
        tables[seat.table_id].seats.append(SeatView(seat, _spells(seat, categories, rows)))
    listed = list(attendances(contest))
    conflicts = teams_in_conflict(contest)
    last = categories[-1].pk if categories else None
    seated_last = {row.judge_id for (_, category), row in rows.items() if category == last}
    waiting = [
        Waiting(row.judge, why_not_seated(contest, row, conflicts.get(row.judge_id, [])))
        for row in listed
        if row.judge_id not in seated_last
    ]
    # After the draw a judge replaced in the middle of the day is a problem no more.
    seated = seated_last if contest.is_drawn else {row.judge_id for row in rows.values()}
    return Seating(contest, categories, list(tables.values()), waiting, problems(contest, listed, conflicts, seated))


def _spells(
    seat: Seat, categories: list[Category], rows: dict[tuple[int, int], Sitting]
) -> list[tuple[Category, Judge | None, bool]]:
    spells: list[tuple[Category, Judge | None, bool]] = []
    for category in categories:
        row = rows.get((seat.pk, category.pk))
        judge, vacant = (row.judge, row.vacant) if row else (None, False)
        if not spells or spells[-1][1:] != (judge, vacant):
            spells.append((category, judge, vacant))
    return spells


def why_not_seated(contest: Contest, attendance: Attendance, conflicts: list[Entry]) -> str:
    """The reason a judge may not take a seat now, in words; empty when nothing speaks against it."""
    if attendance.absent:
        return "absent"
    if not conflicts:
        return ""
    teams = ", ".join(f"{entry.number} {entry.team}" for entry in conflicts)
    if contest.conflicts == Contest.Conflicts.NOT_SEATED:
        return f"close to {teams}, which competes"
    if contest.is_drawn:
        return f"close to {teams}, and the boxes are drawn: only judges without a competing team move now"
    return ""


def problems(
    contest: Contest, listed: list[Attendance], conflicts: dict[int, list[Entry]], seated: set[int | None]
) -> list[str]:
    """What is wrong with the seating, a sentence each, with the way to mend it."""
    found = [
        f"{row.judge} is absent and has a seat: replace or vacate it."
        for row in listed
        if row.absent and row.judge_id in seated
    ]
    late = _declared_too_late(contest)
    for row in listed:
        teams = ", ".join(f"{entry.number} {entry.team}" for entry in conflicts.get(row.judge_id, []))
        if not teams or row.judge_id not in seated:
            continue
        if contest.conflicts == Contest.Conflicts.NOT_SEATED:
            found.append(f"{row.judge} is close to {teams}, which competes, and has a seat: replace or vacate it.")
        elif row.judge_id in late:
            found.append(
                f"{row.judge} is close to {teams}, which the draw did not know: replace the judge from the next "
                "category on."
            )
    return found + _barred_everywhere(contest)


def _declared_too_late(contest: Contest) -> set[int]:
    """Judges with a conflict that was declared after the standing draw was made."""
    drawn = Draw.objects.filter(contest=contest, standing=True).values_list("made_at", flat=True).first()
    if drawn is None:
        return set()
    late = JudgeConflict.objects.filter(declared_at__gt=drawn, team__entries__contest=contest)
    return set(late.values_list("judge_id", flat=True))


def _barred_everywhere(contest: Contest) -> list[str]:
    """Before the draw: teams that no table may take."""
    if contest.is_drawn or contest.conflicts != Contest.Conflicts.KEPT_APART:
        return []
    pairs = forbidden_tables(contest)
    tables = contest.tables.count()
    teams = sorted({team for team, _ in pairs if sum(1 for other, _ in pairs if other == team) >= tables})
    return [
        f"Team {team} has a close judge at every table, so it cannot be drawn: leave one of them unseated."
        for team in teams
    ]
