"""The one table of the public result that sorts by any column."""

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

import django_tables2 as tables
from django.http import HttpRequest
from django.utils.html import format_html

from judging.templatetags.tally import points
from reports.results.places import Place, Results

FIGURE = {"th": {"class": "fig"}, "td": {"class": "fig"}}
LAST = 10**6


def sort_as_asked(request: HttpRequest, table: tables.Table) -> None:
    """Sort by the columns that the address names; a name that is no column of the table is passed over."""
    table.request = request
    asked = [name for name in request.GET.getlist("sort") if name.removeprefix("-") in table.columns.names()]
    if asked:
        table.order_by = asked


def overall_table(results: Results) -> tables.Table:
    """Teams as rows; overall and every category with place and total as columns."""
    groups = ([("overall", "Overall", results.overall)] if results.overall else []) + [
        (f"c{at}", group.name, group.places) for at, group in enumerate(results.categories)
    ]
    rows: dict[str, dict[str, Any]] = {}
    for key, _, places in groups:
        for place in places:
            row = rows.setdefault(place.number, _empty(place, [each for each, _, _ in groups]))
            row.update(_cells(key, place))
    columns: list[tuple[str, tables.Column]] = [
        ("team", tables.Column(verbose_name="Team")),
        ("number", tables.Column(verbose_name="Number", attrs=FIGURE)),
    ]
    for key, name, _ in groups:
        columns.append((f"{key}_place", tables.Column(name, attrs=FIGURE, order_by=(f"{key}_rank",))))
        columns.append((f"{key}_total", tables.Column(_total_of(name), attrs=FIGURE, order_by=(f"{key}_value",))))
    table = tables.Table(list(rows.values()), extra_columns=columns, order_by=f"{groups[0][0]}_place")
    table.caption = "All places, a row a team"
    return table


def _total_of(name: str) -> str:
    return format_html('<span class="offscreen">{} </span>total', name)


def _empty(place: Place, keys: Iterable[str]) -> dict[str, Any]:
    row: dict[str, Any] = {"team": place.name, "number": int(place.number)}
    for key in keys:
        row |= {f"{key}_rank": LAST, f"{key}_value": Fraction(-1), f"{key}_place": "–", f"{key}_total": ""}
    return row


def _cells(key: str, place: Place) -> dict[str, Any]:
    ranked = place.rank is not None
    return {
        f"{key}_rank": place.rank if ranked else LAST,
        f"{key}_value": Fraction(place.total) if place.total else Fraction(-1),
        f"{key}_place": place.rank if ranked else place.word or "–",
        f"{key}_total": points(place.total),
    }
