"""The turn-in desk's actions: rows are added, never changed, and one stands for each box.

Whether a box was late is always the decision of the person at the desk. Log rows name boxes, never teams.
"""

from collections.abc import Iterable
from datetime import datetime

from django.db import IntegrityError, transaction
from django.utils import timezone

from contest.models import Account, Box, Contest, ContestRole, Draw, LabelCorrection, TurnIn
from contest.refusals import LONGEST_REASON, Refused, clean_reason
from contest.selectors.boxes import standing_boxes, statuses
from contest.services.log import write_log

WORDS = {"accepted": "taken in", "late": "taken in late", "absent": "marked absent", "refused": "refused"}


class AlreadyRecorded(Refused):
    """Another click or another device was first. Nothing was changed."""


def log_sign_in(*, account: Account, address: str = "") -> None:
    """An account that holds the desk of a sealed contest has signed in: that is logged and printed on the result."""
    roles = ContestRole.objects.filter(account=account, desk=True, contest__state=Contest.State.SEALED)
    for role in roles.select_related("contest"):
        write_log(contest=role.contest, chain="day", what="desk signed in", facts={}, by=str(account), address=address)


@transaction.atomic
def record_turn_in(
    *,
    contest: Contest,
    box: Box,
    status: str,
    by: str,
    handed_in_at: datetime | None = None,
    typed: bool = False,
    reason: str = "",
) -> TurnIn:
    """Record what became of a box: accepted, late, absent or refused.

    Without `handed_in_at` the time is now, by the server's clock; once the marks are locked the desk works from
    paper, and a time that was not typed stays unknown. Raises AlreadyRecorded or Refused.
    """
    if status not in WORDS:
        raise Refused(f"“{status}” is nothing a box can be: choose accepted, late, absent or refused.")
    if status == TurnIn.Status.REFUSED:
        reason = clean_reason(reason, f"Say why box {box.number} is refused; the team will ask.")
    locked = _lock(contest, box)
    standing = _standing(locked)
    if standing is not None and standing.status != TurnIn.Status.UNDONE:
        raise AlreadyRecorded(
            f"Box {locked.number} was {WORDS[standing.status]} already, recorded by {standing.by}. Nothing was "
            "changed. To record something else, undo that first."
        )
    if handed_in_at is None and status != TurnIn.Status.ABSENT and locked.contest.marks_locked_at is None:
        handed_in_at = timezone.now()
    row = _append(locked, status=status, by=by, handed_in_at=handed_in_at, typed=typed, reason=reason)
    _log_row(row, "box recorded")
    return row


@transaction.atomic
def undo_turn_in(*, contest: Contest, box: Box, reason: str, by: str) -> TurnIn:
    """The standing row of a box was a mistake: the box is to come again. The row itself stays."""
    reason = clean_reason(reason, f"Say why the entry for box {box.number} is undone.")
    locked = _lock(contest, box)
    standing = _standing(locked)
    if standing is None or standing.status == TurnIn.Status.UNDONE:
        raise AlreadyRecorded(f"Nothing stands recorded for box {locked.number}: there is nothing to undo.")
    row = _append(locked, status=TurnIn.Status.UNDONE, by=by, reason=reason)
    _log_row(row, "box undone")
    return row


@transaction.atomic
def mark_absent(*, contest: Contest, boxes: Iterable[Box], by: str) -> int:
    """The named boxes did not come: all of them are recorded, or none. Returns how many."""
    return len([record_turn_in(contest=contest, box=box, status="absent", by=by) for box in boxes])


@transaction.atomic
def rest_in_time(*, contest: Contest, by: str) -> int:
    """Everything not recorded otherwise came in on time: the desk that worked on paper finishes its day.

    Only once the marks are locked, since until then whoever keys here may also see marks. Returns how many.
    """
    fresh = Contest.objects.select_for_update().get(pk=contest.pk)
    if fresh.marks_locked_at is None:
        raise Refused(
            "The marks are not locked yet. Record boxes one by one as they come in, or wait until the marks are locked."
        )
    known = statuses(fresh)
    boxes = standing_boxes(fresh).filter(category__cancelled_at__isnull=True)
    rest = [box for box in boxes if box.pk not in known]
    if not rest:
        raise AlreadyRecorded("Every box is recorded already. Nothing was changed.")
    TurnIn.objects.filter(box__in=rest, standing=True).update(standing=False)
    TurnIn.objects.bulk_create(
        TurnIn(box=box, status=TurnIn.Status.ACCEPTED, by=by[:120], reason="from the paper ledger") for box in rest
    )
    write_log(
        contest=fresh,
        chain="day",
        what="rest came in on time",
        facts={"boxes": sorted(box.number for box in rest)},
        by=by,
    )
    return len(rest)


@transaction.atomic
def correct_labels(*, contest: Contest, one: Box, other: Box, reason: str, by: str) -> LabelCorrection:
    """Two boxes carry each other's label: from now on each number belongs to the other's team.

    What the desk recorded was recorded of the teams, so it changes places as well.
    """
    reason = clean_reason(reason, "Say how the swapped labels were noticed.")
    if one.pk == other.pk:
        raise Refused(f"Both numbers are {one.number}. Type the two numbers that were swapped.")
    if one.category_id != other.category_id:
        raise Refused(
            f"{one.number} is {one.category.name} and {other.number} is {other.category.name}: "
            "labels are swapped within one category. Read both labels again."
        )
    for box in sorted((one, other), key=lambda each: each.pk):  # one order for everybody, so that nobody deadlocks
        _lock(contest, box)
    first, second = _standing(one), _standing(other)
    correction = LabelCorrection.objects.create(contest=contest, one=one, other=other, reason=reason, by=by[:120])
    _take_over(one, second, replacing=first, by=by)
    _take_over(other, first, replacing=second, by=by)
    write_log(
        contest=contest,
        chain="day",
        what="labels corrected",
        facts={
            "category": one.category.key,
            "boxes": sorted([one.number, other.number]),
            "reason": correction.reason,
            "tally": contest.state,
        },
        by=by,
    )
    return correction


def _take_over(box: Box, source: TurnIn | None, *, replacing: TurnIn | None, by: str) -> None:
    if source is None and replacing is None:
        return
    if source is None:
        _append(box, status=TurnIn.Status.UNDONE, by=by, reason="labels corrected: this box is still to come")
        return
    _append(
        box,
        status=source.status,
        by=source.by,
        handed_in_at=source.handed_in_at,
        typed=source.typed,
        reason=source.reason or "labels corrected",
    )


def _lock(contest: Contest, box: Box) -> Box:
    """The box, locked until the transaction ends, after everything that could stand in the way was checked.

    The contest's row comes first, as in closing: what the desk records is in the tally, or comes after it.
    """
    Contest.objects.select_for_update(no_key=True).get(pk=contest.pk)
    locked = (
        Box.objects.select_for_update(of=("self",))
        .select_related("contest", "category")
        .get(pk=box.pk, contest=contest)
    )
    if not Draw.objects.filter(pk=locked.draw_id, standing=True).exists():  # asked now that nobody draws again
        raise Refused(f"Box {locked.number} belongs to an earlier draw. Look at the number again.")
    if locked.category.is_cancelled:
        raise Refused(f"{locked.category.name} is cancelled: its boxes are no longer taken in.")
    return locked


def _standing(box: Box) -> TurnIn | None:
    return TurnIn.objects.filter(box=box, standing=True).first()


def _append(
    box: Box,
    *,
    status: str,
    by: str,
    handed_in_at: datetime | None = None,
    typed: bool = False,
    reason: str = "",
) -> TurnIn:
    row = TurnIn(
        box=box,
        status=status,
        by=by[:120],
        handed_in_at=handed_in_at,
        typed=typed,
        reason=reason.strip()[:LONGEST_REASON],
    )
    row.full_clean(validate_constraints=False)
    TurnIn.objects.filter(box=box, standing=True).update(standing=False)
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:
        raise AlreadyRecorded(
            f"Box {box.number} was recorded on another device at the same moment. Nothing was changed here."
        ) from error
    return row


def _log_row(row: TurnIn, what: str) -> None:
    write_log(
        contest=row.box.contest,
        chain="day",
        what=what,
        facts={
            "category": row.box.category.key,
            "box": row.box.number,
            "status": row.status,
            "handed_in_at": row.handed_in_at and row.handed_in_at.isoformat(timespec="seconds"),
            "typed": row.typed,
        },
        by=row.by,
    )
