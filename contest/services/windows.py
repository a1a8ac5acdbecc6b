"""When the day does not go to plan: windows are delayed, a category is cancelled. Each is one logged action."""

from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from contest.models import Category, Contest
from contest.refusals import Refused, clean_reason
from contest.selectors.windows import Window, windows
from contest.services.log import write_log

MOST_MINUTES = 240


def windows_to_move(contest: Contest, *, include_open: bool = False) -> list[Window]:
    """The windows that a delay moves now: those still to open, and the open one when asked for."""
    now = timezone.now()
    states = {"before", "open"} if include_open else {"before"}
    return [window for window in windows(contest) if window.state(now) in states]


def as_seen(moving: list[Window]) -> str:
    """The windows and their times as one text, carried by the form that confirms a delay."""
    return " ".join(f"{window.category.key}={window.category.turn_in_at:%Y%m%dT%H%M%S}" for window in moving)


def moved_by(window: Window, minutes: int) -> datetime:
    """The turn-in time of a window after a delay."""
    return window.category.turn_in_at + timedelta(minutes=minutes)


@transaction.atomic
def delay_windows(
    *, contest: Contest, minutes: int, by: str, include_open: bool = False, seen: str | None = None
) -> list[Category]:
    """Move the remaining windows by `minutes`; fewer than none takes back a delay made by mistake.

    `seen` are the windows as the person saw them (`as_seen`): a second click, or a second device, moves nothing.
    Returns the categories moved. Raises Refused: no minutes, too many, nothing left to move, a tally that is
    closed, windows that were moved meanwhile, or a window that would open in the past.
    """
    locked = _lock_open_contest(contest, "the windows")
    if not minutes or abs(minutes) > MOST_MINUTES:
        raise Refused(f"Give 1 to {MOST_MINUTES} minutes (with a minus sign to take a delay back).")
    moving = windows_to_move(locked, include_open=include_open)
    if seen is not None and seen != as_seen(moving):
        raise Refused("The windows have changed since you looked. Nothing was moved now; see the times below.")
    if not moving:
        raise Refused("Every window has opened already: there is none left to move.")
    shift = timedelta(minutes=minutes)
    early = [window.category.name for window in moving if minutes < 0 and window.opens + shift < timezone.now()]
    if early:
        raise Refused(f"{', '.join(early)} would have opened already. Take fewer minutes back.")
    for window in moving:
        window.category.turn_in_at += shift
        window.category.save(update_fields=["turn_in_at"])
    moved = [window.category for window in moving]
    write_log(
        contest=locked,
        chain="day",
        what="windows delayed",
        facts={"minutes": minutes, "turn_in_at": {each.key: each.turn_in_at.isoformat() for each in moved}},
        by=by,
    )
    return moved


@transaction.atomic
def cancel_category(*, category: Category, reason: str, by: str) -> Category:
    """A category is not held: it drops out of the desk, the marks, the closing and the result."""
    contest = _lock_open_contest(category.contest, "a category")
    why = clean_reason(reason, f"Say why {category.name} is cancelled: the cooks will ask, and it stands in the log.")
    locked = Category.objects.select_for_update().get(pk=category.pk)
    if locked.is_cancelled:
        raise Refused(f"{locked.name} is cancelled already. Nothing was changed.")
    locked.cancelled_at = category.cancelled_at = timezone.now()
    locked.cancelled_why = category.cancelled_why = why
    locked.save(update_fields=["cancelled_at", "cancelled_why"])
    write_log(
        contest=contest,
        chain="day",
        what="category cancelled",
        facts={"category": locked.key, "reason": locked.cancelled_why},
        by=by,
    )
    return locked


def _lock_open_contest(contest: Contest, what: str) -> Contest:
    locked = Contest.objects.select_for_update().get(pk=contest.pk)
    if not locked.is_sealed:
        raise Refused(f"The tally is closed: {what} can no longer be changed.")
    return locked
