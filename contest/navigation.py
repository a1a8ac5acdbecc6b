"""The rooms of a contest, as links: each app registers its own in `steps.py` when it is ready.

A room belongs to a step of the day. The links follow the day; within a step they follow the order in which rooms were
registered, the lower app's first.
"""

from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import urlsplit

from django.urls import resolve, reverse

from contest.access import Viewer
from contest.day import STEPS
from contest.models import Contest


@dataclass(frozen=True)
class Room:
    """A link in the contest's navigation, at a step of the day: shown to those who hold one of `parts`.

    `small` rooms are the only ones a small contest shows; `when(contest, the viewer's parts)` can
    hide a room until it has something to show; `url(contest, viewer)` makes the address of a room that needs
    more than the contest's slug.
    """

    step: str
    name: str
    url_name: str
    parts: frozenset[str]
    small: bool = False
    full: bool = True
    when: Callable[[Contest, frozenset[str]], bool] = lambda contest, parts: True
    url: Callable[[Contest, Viewer], str] | None = None


@dataclass(frozen=True)
class Link:
    name: str
    url: str


_rooms: list[Room] = []


def add_room(room: Room) -> None:
    """Register `room` behind the others of its step; registering it again changes nothing."""
    if all(room.url_name != known.url_name or room.name != known.name for known in _rooms):
        _rooms.append(room)
        steps = [key for key, _ in STEPS]
        _rooms.sort(key=lambda known: steps.index(known.step))


def may_open(url: str, parts: frozenset[str]) -> bool:
    """Whether a page of the contest opens for whoever does `parts` there: no link leads to a refusal."""
    access = getattr(resolve(urlsplit(url).path).func, "access", None)
    return access is not None and (not access.parts or bool(access.parts & parts))


def links_for(contest: Contest, viewer: Viewer) -> list[Link]:
    parts = viewer.parts(contest)
    return [
        Link(
            room.name,
            room.url(contest, viewer) if room.url else reverse(room.url_name, kwargs={"slug": contest.slug}),
        )
        for room in _rooms
        if room.parts & parts and (room.small if contest.small else room.full) and room.when(contest, parts)
    ]
