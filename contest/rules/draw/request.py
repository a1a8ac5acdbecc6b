"""What is drawn: the request, the places that come out, and the check that refuses what cannot be done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from contest.rules.draw import boxnumbers
from contest.rules.draw.matching import Shortage, find_shortage


class DrawRefused(ValueError):
    """The draw cannot be made as asked; the message names categories, teams, tables and counts."""


@dataclass(frozen=True, slots=True)
class DrawRequest:
    """Everything the draw depends on besides its seed."""

    categories: tuple[str, ...]
    """Category keys, in the order of the day."""
    entries: Mapping[str, tuple[int, ...]]
    """Category → the numbers of the teams that entered it."""
    tables: Mapping[str, tuple[int, ...]]
    """Category → the numbers of the tables that judge it."""
    most_boxes: int | None = None
    """Places at a table in one category; None: no limit."""
    forbidden: frozenset[tuple[int, int]] = frozenset()
    """(team number, table number) pairs that must not meet."""
    excluded_numbers: frozenset[str] = frozenset()
    """Box numbers that earlier draws of the contest have used."""
    entries_sum: str = ""
    """SHA-256 of the list of entries, which the draw's text binds; empty where no names are known."""
    categories_sum: str = ""
    """The same of the list of categories. Neither sum changes what is drawn."""

    @property
    def teams(self) -> tuple[int, ...]:
        """Every team with an entry, ascending."""
        return tuple(sorted({team for key in self.categories for team in self.entries.get(key, ())}))

    @property
    def all_tables(self) -> tuple[int, ...]:
        """Every table used in some category, ascending."""
        return tuple(sorted({table for key in self.categories for table in self.tables.get(key, ())}))


@dataclass(frozen=True, slots=True)
class Placed:
    """One box: where it is judged, when it is served there (1 first) and whose it is."""

    category: str
    box: str
    table: int
    position: int
    team: int


def check(request: DrawRequest) -> None:
    """Raise DrawRefused, with the reason in words, if no draw can satisfy the request."""
    _check_labels(request)
    for key in request.categories:
        _check_category(request, key)
    try:
        boxnumbers.check_pool(
            {key: len(request.entries[key]) for key in request.categories},
            teams=request.teams,
            excluded=request.excluded_numbers,
        )
    except boxnumbers.PoolTooSmall as error:
        raise DrawRefused(str(error)) from None


def _check_labels(request: DrawRequest) -> None:
    if not request.categories:
        raise DrawRefused("no category to draw: name at least one")
    for key in request.categories:
        if request.categories.count(key) > 1:
            raise DrawRefused(f"category {key!r} is listed twice: list it once")
        if not key or any(sign in key for sign in "\t\r\n"):
            raise DrawRefused(f"category key {key!r}: use a key without tabs or line breaks")
        if not request.entries.get(key):
            raise DrawRefused(f"{key}: no team has entered; add entries or leave the category out")
        if not request.tables.get(key):
            raise DrawRefused(f"{key}: no table is in use; add a table")
        for name, numbers in (("team", request.entries[key]), ("table", request.tables[key])):
            seen: set[int] = set()
            for number in numbers:
                if number in seen:
                    raise DrawRefused(f"{key}: {name} {number} is listed twice; list it once")
                seen.add(number)
    for mapping, name in ((request.entries, "entries"), (request.tables, "tables")):
        for key in mapping:
            if key not in request.categories:
                raise DrawRefused(f"{name} name the category {key!r}, which is not drawn: add it or drop them")
    if request.most_boxes is not None and request.most_boxes < 1:
        raise DrawRefused(f"{request.most_boxes} boxes a table: allow at least 1")


def _check_category(request: DrawRequest, key: str) -> None:
    teams, tables, most = request.entries[key], request.tables[key], request.most_boxes
    if most is not None and len(teams) > most * len(tables):
        enough = -(-len(teams) // len(tables))
        raise DrawRefused(
            f"{key}: {len(teams)} boxes for {most * len(tables)} places at {_count(len(tables), 'table')}"
            f" of {most}; add a table or allow {enough} boxes a table"
        )
    allowed = {team: [t for t in tables if (team, t) not in request.forbidden] for team in teams}
    shortage = find_shortage(allowed, most)
    if shortage is not None:
        raise DrawRefused(_shortage_words(key, shortage, most))


def _shortage_words(key: str, shortage: Shortage, most: int | None) -> str:
    teams = _list("team", shortage.teams)
    if not shortage.tables:
        return f"{key}: {teams} may go to no table in use; lift one of the conflicts or add a table"
    places = (most or 0) * len(shortage.tables)
    have = "has" if len(shortage.tables) == 1 else "have"
    return (
        f"{key}: {_count(len(shortage.teams), 'team')} ({teams}) may go only to"
        f" {_list('table', shortage.tables)}, which {have} {_count(places, 'place')};"
        " lift a conflict, add a table or allow more boxes a table"
    )


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def _list(noun: str, numbers: tuple[int, ...]) -> str:
    """`team 4`, `teams 4 and 9`, `teams 4, 9 and 11`."""
    if len(numbers) == 1:
        return f"{noun} {numbers[0]}"
    return f"{noun}s {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"
