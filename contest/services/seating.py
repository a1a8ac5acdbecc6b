"""Seating judges: at random, and by hand. Every change stands in the log, by seats and never by a person's name."""

import secrets
from collections.abc import Iterable

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from contest import day
from contest.models import Category, Contest, Judge, Seat, Sitting
from contest.refusals import clean_reason, reason_invalid
from contest.rules.seating import seat_judges
from contest.selectors.categories import held_categories
from contest.selectors.people import attendances, teams_in_conflict
from contest.selectors.seating import seats, why_not_seated
from contest.services.log import write_log
from contest.services.people import locked


def _place(seat: Seat) -> str:
    return f"{seat.table.number}{seat.letter}"


def _named(seat: Seat) -> str:
    return f"table {seat.table.number}, seat {seat.letter}"


def _open_for_changes(contest: Contest) -> Contest:
    contest = locked(contest)
    if contest.marks_locked_at is not None or not contest.is_sealed:
        raise ValidationError("The marks are locked: the seating stays as it was. Unlock the marks to mend it.")
    return contest


@transaction.atomic
def seat_at_random(*, contest: Contest, by: str, seed: str | None = None) -> str:
    """Seat every judge who may sit, for the whole day, and return the seed.

    The log keeps the seed and, seat by seat, the judge's place in the list of judges who could be seated, by name:
    whoever has the list can check the seating with `contest.rules.seating`. Refused once cards are handed in, and
    after a draw that kept judges and teams apart by table.
    """
    contest = _open_for_changes(contest)
    hindrances = against_seating_at_random(contest)
    if hindrances:
        raise ValidationError(hindrances)
    judges = judges_to_seat(contest)
    by_place = {_place(seat): seat for seat in seats(contest)}
    if not judges or not by_place:
        raise ValidationError("There is nobody to seat: add judges, and tables with seats, first.")
    letters: dict[int, list[str]] = {}
    for seat in by_place.values():
        letters.setdefault(seat.table.number, []).append(seat.letter)
    seed = seed or secrets.token_hex(16)
    dealt = seat_judges([judge.contests_judged for judge in judges], letters, seed.encode())
    places = {f"{table}{letter}": index for (table, letter), index in dealt.items()}
    Sitting.objects.filter(seat__table__contest=contest).delete()
    Sitting.objects.bulk_create(
        Sitting(seat=seat, category=category, judge=judges[places[name]] if name in places else None)
        for category in contest.categories.all()
        for name, seat in by_place.items()
    )
    seated = {name: index + 1 for name, index in places.items()}
    facts = {"seed": seed, "judges": len(judges), "seated": seated}
    write_log(contest=contest, chain="day", what="judges seated at random", facts=facts, by=by)
    return seed


def against_seating_at_random(contest: Contest) -> list[str]:
    """Why the whole seating can no longer be made anew, in words; empty when it can."""
    found = [todo.text for todo in day.in_the_way("seating", contest)]
    if contest.is_drawn and contest.conflicts == Contest.Conflicts.KEPT_APART:
        found.append("The draw was made for this seating. Single judges without a competing team may move.")
    return found


def judges_to_seat(contest: Contest) -> list[Judge]:
    """Present judges without a hindering conflict, by name."""
    conflicts = teams_in_conflict(contest)
    return [
        row.judge for row in attendances(contest) if not why_not_seated(contest, row, conflicts.get(row.judge_id, []))
    ]


@transaction.atomic
def replace_judge(
    *,
    contest: Contest,
    seat: Seat,
    from_category: Category | None,
    judge: Judge | None,
    by: str,
    reason: str = "",
) -> None:
    """Another judge, or one without a name (None), takes the seat from a category on; None: the whole day.

    Categories before keep their judge. Once the boxes are drawn a reason is needed.
    """
    contest = _open_for_changes(contest)
    reason = _checked_reason(contest, reason)
    _check_own(contest, seat)
    if judge is not None:
        _check_may_sit(contest, judge)
    categories = _from(contest, from_category)
    if judge is not None:
        _check_nowhere_else(judge, seat, categories)
    for category in categories:
        _put(seat, category, judge=judge)
    facts = {"seat": _place(seat), "from": categories[0].key, "named": judge is not None, "reason": reason}
    write_log(contest=contest, chain="day", what="judge replaced", facts=facts, by=by)


@transaction.atomic
def vacate(*, contest: Contest, seat: Seat, from_category: Category | None, by: str, reason: str) -> None:
    """Nobody sits here from a category on, so no cards are expected from this seat."""
    contest = _open_for_changes(contest)
    _check_own(contest, seat)
    ask = "Say why the seat stays empty: fewer cards will be expected from this table."
    reason = clean_reason(reason, ask, reason_invalid)
    categories = _from(contest, from_category)
    for category in categories:
        _put(seat, category, vacant=True)
    facts = {"seat": _place(seat), "from": categories[0].key, "reason": reason}
    write_log(contest=contest, chain="day", what="seat vacated", facts=facts, by=by)


@transaction.atomic
def swap(
    *,
    contest: Contest,
    one: Seat,
    other: Seat,
    by: str,
    from_category: Category | None = None,
    reason: str = "",
) -> None:
    """Two seats exchange their judges from a category on; None: the whole day."""
    contest = _open_for_changes(contest)
    reason = _checked_reason(contest, reason)
    for seat in (one, other):
        _check_own(contest, seat)
    if one == other:
        raise ValidationError({"other": "Choose two different seats."})
    categories = _from(contest, from_category)
    for category in categories:
        rows = {row.seat_id: row for row in Sitting.objects.filter(category=category, seat__in=[one, other])}
        first, second = (rows.get(seat.pk) or Sitting(seat=seat, category=category) for seat in (one, other))
        for row in (first, second):
            if row.judge is not None and one.table_id != other.table_id:
                _check_may_move(contest, row.judge)
        Sitting.objects.filter(pk__in=[row.pk for row in rows.values()]).delete()
        _save(Sitting(seat=one, category=category, judge=second.judge, vacant=second.vacant))
        _save(Sitting(seat=other, category=category, judge=first.judge, vacant=first.vacant))
    facts = {"seats": [_place(one), _place(other)], "from": categories[0].key, "reason": reason}
    write_log(contest=contest, chain="day", what="seats exchanged", facts=facts, by=by)


def _checked_reason(contest: Contest, reason: str) -> str:
    """The reason for a change of a seat: needed once the boxes are drawn."""
    if not contest.is_drawn and not reason.strip():
        return ""
    ask = "Say why: after the draw every change of a seat is logged with its reason."
    return clean_reason(reason, ask, reason_invalid)


def _check_own(contest: Contest, seat: Seat) -> None:
    if seat.table.contest_id != contest.pk:
        raise ValidationError("This seat belongs to another contest.")


def _from(contest: Contest, category: Category | None) -> list[Category]:
    held = held_categories(contest)
    if not held:
        raise ValidationError("There are no categories yet: add them in the set-up first.")
    if category is None:
        return held
    if category not in held:
        raise ValidationError({"from_category": f"{category} is not held in this contest."})
    return held[held.index(category) :]


def _check_may_sit(contest: Contest, judge: Judge) -> None:
    attendance = contest.attendances.filter(judge=judge).select_related("judge").first()
    if attendance is None:
        raise ValidationError({"judge": f"{judge} is not on this contest's list of judges."})
    why = why_not_seated(contest, attendance, teams_in_conflict(contest).get(judge.pk, []))
    if why:
        raise ValidationError({"judge": f"{judge} cannot take this seat: {why}."})


def _check_may_move(contest: Contest, judge: Judge) -> None:
    """After the draw a judge with a competing team stays: the draw kept the team from this table only."""
    if contest.is_drawn and judge.pk in teams_in_conflict(contest):
        raise ValidationError(
            f"{judge} is close to a competing team and cannot change tables: the draw was made for the seat as it is."
        )


def _check_nowhere_else(judge: Judge, seat: Seat, categories: Iterable[Category]) -> None:
    elsewhere = Sitting.objects.filter(judge=judge, category__in=list(categories)).exclude(seat=seat)
    clash = elsewhere.select_related("seat__table", "category").order_by("category__order").first()
    if clash:
        raise ValidationError(
            {
                "judge": f"{judge} already sits at {_named(clash.seat)} in {clash.category}. "
                "Exchange the two seats instead, or choose somebody else."
            }
        )


def _put(seat: Seat, category: Category, *, judge: Judge | None = None, vacant: bool = False) -> None:
    row = Sitting.objects.filter(seat=seat, category=category).first() or Sitting(seat=seat, category=category)
    row.judge, row.vacant = judge, vacant
    _save(row)


def _save(row: Sitting) -> None:
    row.full_clean()
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError:  # somebody else was quicker
        raise ValidationError("The seating changed meanwhile. Look at it again, and repeat the change.") from None
