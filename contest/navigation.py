"""The rooms of a contest, as links: each app registers its own in `AppConfig.ready()`."""

from collections.abc import Callable
from dataclasses import dataclass
from urllib.parse import urlsplit

from django.urls import resolve, reverse

from contest.access import Viewer
from contest.models import Contest


@dataclass(frozen=True)
class Room:
    """A link in the contest's navigation: shown to those who hold one of `parts`.

    `small` rooms are the only ones a small contest shows; `when(contest, the viewer's parts)` can
    hide a room until it has something to show; `url(contest, viewer)` makes the address of a room that needs
    more than the contest's slug.
    """

    order: int
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
    if all(room.url_name != known.url_name or room.name != known.name for known in _rooms):
        _rooms.append(room)
        _rooms.sort(key=lambda known: known.order)


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
