"""The turn-in windows by the contest's named clock: which is open, which is next. No team, no box."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta

from contest.models import Category, Contest
from contest.selectors.categories import held_categories


@dataclass(frozen=True)
class Window:
    category: Category

    @property
    def opens(self) -> datetime:
        return self.category.turn_in_at - timedelta(minutes=self.category.minutes_before)

    @property
    def closes(self) -> datetime:
        return self.category.turn_in_at + timedelta(minutes=self.category.minutes_after)

    def state(self, now: datetime) -> str:
        """`before`, `open` or `closed`; both ends belong to the window."""
        if now < self.opens:
            return "before"
        return "open" if now <= self.closes else "closed"

    def away(self, now: datetime) -> timedelta:
        """How far `now` is from the window; zero while it is open."""
        return max(self.opens - now, now - self.closes, timedelta(0))


def windows(contest: Contest) -> list[Window]:
    """The windows of the categories that are held, in the order of the day."""
    return [Window(category) for category in held_categories(contest)]


def nearest_window(contest: Contest, now: datetime) -> Window | None:
    """The open window; between two windows the nearer one, so that a box a minute late finds its category."""
    return min(
        windows(contest),
        key=lambda window: (window.away(now), abs(window.category.turn_in_at - now)),
        default=None,
    )


def next_window(contest: Contest, now: datetime) -> Window | None:
    """The open window or the next to open; None when all have passed."""
    ahead = [window for window in windows(contest) if window.state(now) != "closed"]
    return min(ahead, key=lambda window: window.opens, default=None)


def moment_near(contest: Contest, around: datetime, clock: time) -> datetime:
    """The moment at which the contest's clock showed `clock`, on the day that brings it nearest to `around`.

    A window may lie on both sides of midnight, and the server may live in another zone: neither matters.
    """
    day = contest.local(around).date()
    candidates = [datetime.combine(day + timedelta(days=shift), clock, contest.zone) for shift in (-1, 0, 1)]
    return min(candidates, key=lambda moment: abs(moment - around))
