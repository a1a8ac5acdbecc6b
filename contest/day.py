"""The day of a contest in five steps, and the one next thing to do.

Each app registers its own contributions in `AppConfig.ready()`, so that the contest page can say which cards are
missing without importing the app that knows. What hinders closing and publishing is asked the same way.
"""

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any, TypeVar

from django.db import transaction

from contest.models import Contest

_log = logging.getLogger(__name__)

STEPS = (
    ("before", "Before"),
    ("turn_in", "Turn-in"),
    ("tables", "Tables"),
    ("tally", "Tally"),
    ("results", "Results"),
)


@dataclass(frozen=True)
class Todo:
    """One thing that is missing: a sentence, the page where it is done, the words on its button."""

    text: str
    url: str = ""
    button: str = "Show"
    part: str = "organiser"  # whose work it is


@dataclass
class Step:
    """A step as shown: `state` is one of "todo", "now", "done", "stopped"; lines are short facts under it."""

    key: str
    name: str
    state: str = "todo"
    lines: list[str] = field(default_factory=list)
    todos: list[Todo] = field(default_factory=list)


@dataclass(frozen=True)
class Notice:
    """Something the organiser should know beside the tally: a sentence, and the page about it."""

    text: str
    url: str
    button: str
    urgent: bool = False


Found = TypeVar("Found")
Contribution = Callable[[Contest, Step], None]
Hindrance = Callable[[Contest], list[Todo]]

_contributions: dict[str, list[Contribution]] = {key: [] for key, _ in STEPS}
_hindrances: dict[str, list[Hindrance]] = {
    what: [] for what in ("closing", "publishing", "one_person", "seating", "redraw", "keying", "phones")
}

Follower = Callable[[Contest, str], None]
_followers: list[Follower] = []
_notices: list[Callable[[Contest], list[Notice]]] = []


def follows(follower: Follower) -> None:
    """Register what is done when the tally is `closed` or `revised` or the result `published`."""
    if follower not in _followers:
        _followers.append(follower)


def happened(contest: Contest, what: str) -> None:
    """Tell the followers, within the transaction: what they ask for is asked when it holds, and not without it.

    What they cannot do is logged, and undoes nothing but itself.
    """
    for follower in _followers:
        try:
            with transaction.atomic():
                follower(contest, what)
        except Exception:
            _log.exception("What follows on %s could not be done", what)


def notifies(find: Callable[[Contest], list[Notice]]) -> None:
    if find not in _notices:
        _notices.append(find)


def notices(contest: Contest) -> list[Notice]:
    return [notice for find in _notices for notice in find(contest)]


def contributes_to(step: str, contribution: Contribution) -> None:
    """Register `contribution` for a step; registering it again changes nothing."""
    if contribution not in _contributions[step]:
        _contributions[step].append(contribution)


def hinders(what: str, hindrance: Hindrance) -> None:
    """Register what may stand in the way: of `closing`, `publishing`, `one_person`, a new `seating`, a `redraw`,
    another `keying`, `phones` switched on or off."""
    if hindrance not in _hindrances[what]:
        _hindrances[what].append(hindrance)


_shared: ContextVar[dict[Any, Any] | None] = ContextVar("what the steps of one answer have found", default=None)


@contextmanager
def sharing() -> Iterator[None]:
    """Inside, `shared` answers are found once: for one answer that only reads."""
    if _shared.get() is not None:
        yield
        return
    token = _shared.set({})
    try:
        yield
    finally:
        _shared.reset(token)


def shared(find: Callable[[Contest], Found], contest: Contest) -> Found:
    """`find(contest)`, found once for all steps and hindrances of one answer; found anew outside of one."""
    known = _shared.get()
    if known is None:
        return find(contest)
    key = (find, contest.pk)
    if key not in known:
        known[key] = find(contest)
    return known[key]


def steps(contest: Contest) -> list[Step]:
    """The five steps of `contest` in order, each filled by those who know."""
    line = [Step(key, name) for key, name in STEPS]
    with sharing():
        for step in line:
            for contribute in _contributions[step.key]:
                contribute(contest, step)
    return line


def in_the_way(what: str, contest: Contest) -> list[Todo]:
    """All that hinders `closing`, `publishing`, `one_person`, `seating` or `redraw` now; empty when nothing does."""
    with sharing():
        return [todo for hindrance in _hindrances[what] for todo in hindrance(contest)]


def next_todo(line: list[Step]) -> Todo | None:
    """The one thing to do next: the first missing thing of the earliest step that has one."""
    return next((todo for step in line for todo in step.todos), None)
