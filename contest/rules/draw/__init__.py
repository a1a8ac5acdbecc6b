"""The blind draw as one pure function: the same request and texts give the same draw anywhere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from contest.rules.draw import boxnumbers
from contest.rules.draw.commitment import commitment, draw_text, read_draw_text, seed_of, sha256
from contest.rules.draw.design import Layout, seat_teams
from contest.rules.draw.quality import Quality, quality_of
from contest.rules.draw.request import DrawRefused, DrawRequest, Placed, check
from contest.rules.draw.serving import serve
from contest.rules.generator import Generator

__all__ = [
    "DrawRefused",
    "DrawRequest",
    "DrawResult",
    "Placed",
    "Quality",
    "check",
    "commitment",
    "draw_from_seed",
    "make_draw",
    "recompute",
]


@dataclass(frozen=True, slots=True)
class DrawResult:
    """A finished draw."""

    placed: tuple[Placed, ...]
    """Every box, by category in the order of the day and box number."""
    seed: str
    draw_text: str
    """`draw.txt`, to be kept sealed until the result is published."""
    fingerprint: str
    """D2, the SHA-256 of `draw_text`."""
    quality: Quality


def make_draw(
    request: DrawRequest,
    *,
    secret: str | bytes,
    public: str,
    progress: Callable[[float], None] | None = None,
) -> DrawResult:
    """Draw with the seed that `secret.txt` and `public.txt` give. Raises DrawRefused."""
    return draw_from_seed(request, seed_of(secret, public), progress=progress)


def draw_from_seed(request: DrawRequest, seed: str, *, progress: Callable[[float], None] | None = None) -> DrawResult:
    """Draw from a seed text; `progress` hears the finished share, 0 to 1. Raises DrawRefused."""
    check(request)
    source = Generator(seed.encode())
    teams, tables = _relabelled(request, source.fork("labels"))
    layout = _layout(request, teams, tables)
    seats = seat_teams(layout, source.fork("tables"), progress)
    positions = serve(layout.teams, seats, source.fork("positions"))
    try:
        numbers = boxnumbers.draw_numbers(
            {key: len(request.entries[key]) for key in request.categories},
            teams=request.teams,
            excluded=request.excluded_numbers,
            generator=source.fork("boxes"),
        )
    except boxnumbers.PoolTooSmall as error:
        raise DrawRefused(str(error)) from None
    placed: list[Placed] = []
    for key, seat, position in zip(request.categories, seats, positions, strict=True):
        boxes = zip(numbers[key], sorted(seat), strict=True)
        rows = (Placed(key, box, tables[seat[team]], position[team], teams[team]) for box, team in boxes)
        placed += sorted(rows, key=lambda row: row.box)
    text = draw_text(request, seed, placed)
    return DrawResult(tuple(placed), seed, text, sha256(text), quality_of(placed, request.forbidden))


def recompute(text: str) -> bool:
    """Whether a `draw.txt` is what its own entries, conflicts, places and seed give, to the byte.

    Raises ValueError for a text that cannot be read.
    """
    request, seed, _ = read_draw_text(text)
    return draw_from_seed(request, seed).draw_text == text


def _relabelled(request: DrawRequest, generator: Generator) -> tuple[list[int], list[int]]:
    """Index in the search → team number, and → table number: uniform, so that no index favours anybody."""
    return generator.shuffled(request.teams), generator.shuffled(request.all_tables)


def _layout(request: DrawRequest, teams: list[int], tables: list[int]) -> Layout:
    team_at = {team: i for i, team in enumerate(teams)}
    table_at = {table: i for i, table in enumerate(tables)}
    return Layout(
        teams=len(teams),
        tables=len(tables),
        entered=tuple(tuple(sorted(team_at[t] for t in request.entries[k])) for k in request.categories),
        open_tables=tuple(tuple(sorted(table_at[t] for t in request.tables[k])) for k in request.categories),
        most=request.most_boxes,
        barred=frozenset(
            (team_at[team], table_at[table])
            for team, table in request.forbidden
            if team in team_at and table in table_at
        ),
    )
