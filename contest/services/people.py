"""Teams and judges of a contest: adding, changing, withdrawing, checking in. Refusals are ValidationErrors."""

import unicodedata
from collections.abc import Iterable

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from contest.models import Attendance, Category, Contest, Entered, Entry, Judge, JudgeConflict, Sitting, Team
from contest.refusals import clean_reason, reason_invalid
from contest.selectors.people import competing_teams, fold, known_judges, known_teams, next_number
from contest.services.log import write_log
from contest.services.names import log_corrected_names, log_corrected_team

DRAWN = "The boxes are drawn: {what} would need a new draw."


def locked(contest: Contest) -> Contest:
    """The contest's row as it is now, held until the transaction ends, so that a draw cannot slip in between."""
    return Contest.objects.select_for_update().get(pk=contest.pk)


def _refuse_once_drawn(contest: Contest, what: str) -> None:
    if contest.is_drawn:
        raise ValidationError(DRAWN.format(what=what))


def _tidy(name: str) -> str:
    """Single blanks, and no control characters, which spreadsheets refuse."""
    return " ".join("".join(sign for sign in name if unicodedata.category(sign) != "Cc" or sign.isspace()).split())


@transaction.atomic
def add_entry(
    *,
    contest: Contest,
    number: int | None,
    team_name: str,
    head_cook: str = "",
    home: str = "",
    categories: Iterable[Category] | None = None,
    known: dict[str, Team] | None = None,
) -> Entry:
    """Enter a team, in all categories unless some are named; number None takes the next free one.

    A team of the same name in another contest of the same organiser or season is the same team; `known` spares
    looking those up again for each of many. Raises ValidationError by field.
    """
    contest = locked(contest)
    _refuse_once_drawn(contest, "a late team")
    name = _tidy(team_name)
    if not name:
        raise ValidationError({"team_name": "Type the team's name."})
    there = {fold(entry.team.name): entry for entry in contest.entries.select_related("team")}
    if fold(name) in there:
        raise ValidationError({"team_name": f"{name} is entered already, as number {there[fold(name)].number}."})
    team = (known_teams(contest) if known is None else known).get(fold(name)) or Team(name=name)
    team.head_cook = _tidy(head_cook) or team.head_cook
    team.home = _tidy(home) or team.home
    _clean(team, {"name": "team_name"})
    team.save()
    entry = Entry(contest=contest, team=team, number=next_number(contest) if number is None else number)
    _check_number(entry)
    entry.full_clean()
    entry.save()
    _enter(entry, contest.categories.all() if categories is None else categories)
    return entry


def _clean(row: Team | Judge, renamed: dict[str, str]) -> None:
    """`full_clean` with the fields called as the service's caller knows them."""
    try:
        row.full_clean()
    except ValidationError as error:
        raise ValidationError({renamed.get(key, key): value for key, value in error.error_dict.items()}) from None


def _check_number(entry: Entry) -> None:
    other = Entry.objects.filter(contest=entry.contest, number=entry.number).exclude(pk=entry.pk)
    holder = other.select_related("team").first()
    if holder:
        raise ValidationError(
            {"number": f"{holder.team} has number {entry.number}. {next_number(entry.contest)} is free."}
        )


def _enter(entry: Entry, categories: Iterable[Category]) -> None:
    for category in categories:
        if category.contest_id != entry.contest_id:
            raise ValidationError({"categories": f"{category} is not a category of this contest."})
        Entered.objects.get_or_create(entry=entry, category=category)


@transaction.atomic
def change_entry(*, entry: Entry, number: int, team_name: str, head_cook: str, home: str, by: str) -> Entry:
    """Change a team's details; the number only before the draw, because the draw is made from numbers.

    The draw's fingerprint covers names: after the draw a corrected name is a row of the log, in every contest of the
    team that has not published yet.
    """
    contest = locked(entry.contest)
    if number != entry.number:
        _refuse_once_drawn(contest, "another team number")
    name = _tidy(team_name)
    namesakes = Entry.objects.filter(contest=contest).exclude(pk=entry.pk).select_related("team")
    for other in namesakes:
        if name and fold(other.team.name) == fold(name):
            raise ValidationError({"team_name": f"Number {other.number} has this name already."})
    entry.team.name, entry.team.head_cook, entry.team.home = name, _tidy(head_cook), _tidy(home)
    _clean(entry.team, {"name": "team_name"})
    entry.number = number
    _check_number(entry)
    entry.full_clean()
    entry.team.save()
    entry.save(update_fields=["number"])
    log_corrected_names(contest=contest, by=by)
    log_corrected_team(team=entry.team, by=by)
    return entry


@transaction.atomic
def change_categories(*, contest: Contest, add: Iterable[tuple[Entry, Category]], drop: Iterable[Entered]) -> None:
    """Tick and untick categories before the draw; afterwards only a withdrawal is possible."""
    contest = locked(contest)
    _refuse_once_drawn(contest, "entering or leaving a category")
    for entry, category in add:
        _enter(entry, [category])
    Entered.objects.filter(pk__in=[row.pk for row in drop], entry__contest=contest).delete()


@transaction.atomic
def remove_entry(*, entry: Entry) -> None:
    """Take a team off the list before the draw; a team that is known nowhere else goes with it."""
    _refuse_once_drawn(locked(entry.contest), "removing a team")
    team = entry.team
    entry.delete()
    if not (team.entries.exists() or team.members.exists() or team.conflicting_judges.exists()):
        team.delete()


@transaction.atomic
def withdraw(*, entry: Entry, category: Category | None, reason: str, by: str) -> None:
    """Withdraw from a category, or from all that are left (None). Keeps the entry and says why."""
    contest = locked(entry.contest)
    if not contest.is_sealed:
        raise ValidationError("The tally is closed: a team can no longer be withdrawn.")
    reason = clean_reason(reason, "Say why, for example: ill, no meat, cooker broke.", reason_invalid)
    rows = Entered.objects.filter(entry=entry, withdrawn_at=None).select_related("category")
    if category is not None:
        rows = rows.filter(category=category)
    if not rows:
        raise ValidationError({"category": "The team takes no part there, or has withdrawn already."})
    for row in rows:
        row.withdrawn_at, row.withdrawn_why = timezone.now(), reason
        row.full_clean()
        row.save()
        facts = {"team": entry.number, "category": row.category.key, "reason": reason}
        write_log(contest=contest, chain="day", what="team withdrawn", facts=facts, by=by)


@transaction.atomic
def take_back_withdrawal(*, entry: Entry, category: Category, by: str) -> None:
    contest = locked(entry.contest)
    if not contest.is_sealed:
        raise ValidationError("The tally is closed: a withdrawal can no longer be taken back.")
    changed = Entered.objects.filter(entry=entry, category=category, withdrawn_at__isnull=False).update(
        withdrawn_at=None, withdrawn_why=""
    )
    if not changed:
        raise ValidationError({"category": "The team has not withdrawn there."})
    facts = {"team": entry.number, "category": category.key}
    write_log(contest=contest, chain="day", what="withdrawal taken back", facts=facts, by=by)


@transaction.atomic
def check_in(*, entry: Entry, by: str, arrived: bool = True) -> Entry:
    """The team is on the ground; ticking again changes nothing, unticking forgets the time."""
    if arrived and entry.arrived_at is None:
        entry.arrived_at, entry.arrived_by = timezone.now(), by[:120]
    elif not arrived:
        entry.arrived_at, entry.arrived_by = None, ""
    entry.full_clean()
    entry.save(update_fields=["arrived_at", "arrived_by"])
    return entry


@transaction.atomic
def inspect_meat(
    *,
    entry: Entry,
    by: str,
    raw: bool | None = None,
    unseasoned: bool | None = None,
    cold: bool | None = None,
    problem: str | None = None,
) -> Entry:
    """What the meat inspection found; None leaves a finding as it is, so that two tablets do not undo each other."""
    found = {"meat_raw": raw, "meat_unseasoned": unseasoned, "meat_cold": cold, "problem": problem}
    changed = {name: value for name, value in found.items() if value is not None}
    for name, value in changed.items():
        setattr(entry, name, value)
    anything = entry.meat_raw or entry.meat_unseasoned or entry.meat_cold or entry.problem
    entry.inspected_at, entry.inspected_by = (timezone.now(), by[:120]) if anything else (None, "")
    entry.full_clean()
    entry.save(update_fields=[*changed, "inspected_at", "inspected_by"])
    return entry


@transaction.atomic
def add_judge(
    *,
    contest: Contest,
    name: str,
    contests_judged: int = 0,
    conflicts: Iterable[Team] = (),
    known: dict[str, Judge] | None = None,
) -> Judge:
    """Put a judge on the contest's list; one of the same name in a related contest is the same person."""
    contest = locked(contest)
    tidy = _tidy(name)
    if not tidy:
        raise ValidationError({"name": "Type the judge's name."})
    listed = contest.attendances.select_related("judge")
    if any(fold(row.judge.name) == fold(tidy) for row in listed):
        raise ValidationError({"name": f"{tidy} is on the list already. Two of one name? Add an initial."})
    judge = (known_judges(contest) if known is None else known).get(fold(tidy)) or Judge(name=tidy)
    judge.contests_judged = max(contests_judged, judge.contests_judged) if contests_judged >= 0 else contests_judged
    _clean(judge, {})
    judge.save()
    Attendance.objects.create(contest=contest, judge=judge)
    judge.conflicts.add(*conflicts)
    return judge


@transaction.atomic
def change_judge(
    *,
    contest: Contest,
    judge: Judge,
    name: str,
    contests_judged: int,
    conflicts: Iterable[Team],
    absent: bool,
    by: str,
) -> bool:
    """Change a judge's particulars, conflicts with teams of this contest, and absence. True: taken off the seat.

    Before the draw a judge who is absent, or who may not be seated for a conflict, gives up the seat at once. After
    it the seat stays as it is, since cards may exist: the seating page shows what to change and from when on.
    """
    contest = locked(contest)
    for other in contest.attendances.exclude(judge=judge).select_related("judge"):
        if fold(other.judge.name) == fold(name):
            raise ValidationError({"name": "Another judge on the list has this name. Add an initial."})
    judge.name, judge.contests_judged = _tidy(name), contests_judged
    _clean(judge, {})
    judge.save()
    contest.attendances.filter(judge=judge).update(absent=absent)
    chosen = {team.pk for team in conflicts}
    before = set(
        JudgeConflict.objects.filter(judge=judge, team__entries__contest=contest).values_list("team", flat=True)
    )
    judge.conflicts.remove(*(before - chosen))
    judge.conflicts.add(*(chosen - before))
    if contest.is_drawn:
        if chosen - before:
            facts = {
                "judges": 1,
                "teams": sorted(contest.entries.filter(team__in=chosen - before).values_list("number", flat=True)),
            }
            write_log(contest=contest, chain="day", what="conflict declared after the draw", facts=facts, by=by)
        return False
    barred = (
        contest.conflicts == Contest.Conflicts.NOT_SEATED and competing_teams(contest).filter(pk__in=chosen).exists()
    )
    if absent or barred:
        return bool(Sitting.objects.filter(seat__table__contest=contest, judge=judge).update(judge=None))
    return False


@transaction.atomic
def mark_absent(*, contest: Contest, absent: Iterable[Judge], present: Iterable[Judge]) -> int:
    """Mark judges absent or here. Before the draw the absent give up their seats: how many is returned."""
    contest = locked(contest)
    absent = list(absent)
    contest.attendances.filter(judge__in=present).update(absent=False)
    contest.attendances.filter(judge__in=absent).update(absent=True)
    if contest.is_drawn:
        return 0
    seated = Sitting.objects.filter(seat__table__contest=contest, judge__in=absent)
    number = seated.values("judge").distinct().count()
    seated.update(judge=None)
    return number


@transaction.atomic
def remove_judge(*, contest: Contest, judge: Judge) -> None:
    """Take a judge off the list who sits nowhere, or before the draw; a judge known nowhere else goes too."""
    contest = locked(contest)
    sittings = Sitting.objects.filter(seat__table__contest=contest, judge=judge)
    if contest.is_drawn and sittings.exists():
        raise ValidationError("This judge has a seat today. Replace or vacate it on the seating page instead.")
    sittings.update(judge=None)
    contest.attendances.filter(judge=judge).delete()
    if not (judge.attendances.exists() or judge.sittings.exists()):
        judge.delete()
