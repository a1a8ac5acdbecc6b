"""A team's boxes as a table that sorts, filters and goes out as a file."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

import django_tables2 as tables
from django.utils.html import format_html

from contest.exports import Cell
from contest.rules.say import nth
from judging.templatetags.tally import points
from reports.season.boxes import SeasonBox
from reports.season.words import hardness_words

WIDE = {"th": {"class": "wide"}, "td": {"class": "wide"}}
WIDE_FIGURE = {"th": {"class": "fig wide"}, "td": {"class": "fig wide"}}
FIGURE = {"th": {"class": "fig"}, "td": {"class": "fig"}}
LAST = 10**6
KINDS = {"contest": "", "practice": "practice", "elsewhere": "elsewhere"}
HEADER = (
    "kind", "date", "contest", "category", "box", "place", "of", "per cent behind", "total", "total, 4 decimals",
    "table", "table harder by", "95 % half width", "adjusted total", "95 % half width of adjusted", "dropped seat",
    "status",
)  # fmt: skip


class BoxTable(tables.Table):
    """The boxes of a season, newest first; each leads to its flight."""

    contest = tables.Column(order_by=("date", "place_in_day"))
    category = tables.Column(attrs=WIDE)
    place = tables.Column(attrs=FIGURE, order_by=("rank",))
    behind = tables.Column(
        "Behind",
        attrs={**WIDE_FIGURE, "th": {"class": "fig wide", "title": "Share of the other boxes that came behind"}},
        order_by=("behind_value",),
    )
    total = tables.Column(
        "Raw total", attrs={"th": {"class": "fig"}, "td": {"class": "fig total"}}, order_by=("share",)
    )
    table = tables.Column("Table", attrs=WIDE_FIGURE)
    hardness = tables.Column("Table was", attrs=FIGURE, order_by=("hardness_value",))
    adjusted = tables.Column("Adjusted", attrs=FIGURE, order_by=("adjusted_value",))
    dropped = tables.Column("Dropped", attrs=WIDE_FIGURE)


def box_table(boxes: Sequence[SeasonBox], *, modelled: bool) -> BoxTable:
    """`modelled`: whether there is a fit whose figures stand in the columns of hardness and adjusted totals."""
    table = BoxTable([_row(place, box) for place, box in enumerate(boxes)], order_by="-contest")
    table.caption = "Boxes of the season"
    table.empty_text = "No box fits this choice."
    if not modelled:
        table.exclude = ("hardness", "adjusted")
    return table


def _row(place: int, box: SeasonBox) -> dict[str, Any]:
    name = format_html('<a href="{}">{}</a>', box.url, box.contest) if box.url else box.contest
    word = KINDS[box.kind]
    day = f"{box.date.day} {box.date:%b}"
    contest = format_html(
        '{} <span class="smoke">{}{}</span><span class="phone">{}</span>', name, day, f", {word}" if word else "",
        box.category,
    )  # fmt: skip
    fit = box.adjusted
    return {
        "date": box.date,
        "place_in_day": -place,
        "contest": contest,
        "category": box.category,
        "place": place_words(box),
        "rank": box.rank or LAST,
        "behind": "" if box.behind is None else f"{box.behind} %",
        "behind_value": -1 if box.behind is None else box.behind,
        "total": points(box.total) if box.total else "–",
        "share": Fraction(box.total) if box.total else Fraction(-1),
        "table": box.table or "–",
        "hardness": hardness_words(fit.hardness, fit.hardness_half) if fit else "–",
        "hardness_value": fit.hardness if fit else -LAST,
        "adjusted": f"{fit.total:.1f} ±\u00a0{fit.total_half:.1f}" if fit else "–",
        "adjusted_value": fit.total if fit else -LAST,
        "dropped": box.dropped or "–",
    }


def place_words(box: SeasonBox) -> str:
    """`4th of 12`, or why there is no place."""
    if box.rank is None:
        return {"absent": "not handed in", "late": "came late", "short": "too few cards"}.get(box.status, box.status)
    return f"{nth(box.rank)} of {box.of}" if box.of else nth(box.rank)


def export_rows(boxes: Sequence[SeasonBox]) -> list[tuple[Cell, ...]]:
    return [
        (
            box.kind,
            box.date.isoformat(),
            box.contest,
            box.category,
            box.box,
            box.rank,
            box.of,
            box.behind,
            box.total,
            _decimal(float(Fraction(box.total)), 4) if box.total else None,
            box.table,
            *(
                (None,) * 4
                if box.adjusted is None
                else (
                    _decimal(box.adjusted.hardness),
                    _decimal(box.adjusted.hardness_half),
                    _decimal(box.adjusted.total),
                    _decimal(box.adjusted.total_half),
                )
            ),
            box.dropped,
            box.status,
        )
        for box in boxes
    ]


def _decimal(value: float, places: int = 2) -> Decimal:
    return round(Decimal(str(value)), places)
