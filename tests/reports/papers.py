"""Reading prints back: what stands on a page and where, with a PDF library of its own."""

import io
from collections.abc import Iterable
from typing import Any

import pdfplumber

from contest.models import Contest
from reports.paper import catalogue, pdf
from reports.paper.look import Options, style_text

MM = 72 / 25.4


def print_papers(contest: Contest, *keys: str, **options: Any) -> "pdfplumber.PDF":
    """Papers as a PDF, as the printing process makes them."""
    target = io.BytesIO()
    papers = [catalogue.named(key) for key in keys]
    pdf.write(catalogue.parts_of(contest, "A print", papers, Options(**options)), target, style=style_text())
    return pdfplumber.open(target)


def text_of(found: "pdfplumber.PDF") -> str:
    return "\n".join(page.extract_text() or "" for page in found.pages)


def letters_on(page: Any) -> list[dict[str, Any]]:
    """The visible letters of a page. Text for readers of tags alone is set too small to see."""
    return [char for char in page.chars if char["text"].strip() and char["size"] > 2]


def faults(pages: Iterable[Any], *, margin: float = 3.0) -> list[str]:
    """What a reader would miss: letters at the edge of the page, across a table's line, on top of each other.

    `margin`: how near to the edge a letter may come, in mm.
    """
    return [fault for page in pages for fault in (*_at_the_edge(page, margin), *_across_lines(page), *_on_others(page))]


def _say(page: Any, char: dict[str, Any], what: str) -> str:
    return f"page {page.page_number}: {char['text']!r} {what} at {char['x0']:.0f}, {char['top']:.0f}"


def _at_the_edge(page: Any, margin: float) -> Iterable[str]:
    near = margin * MM
    for char in letters_on(page):
        inside_width = near <= char["x0"] and char["x1"] <= page.width - near
        if not (inside_width and near <= char["top"] and char["bottom"] <= page.height - near):
            yield _say(page, char, "near the edge")


def _across_lines(page: Any) -> Iterable[str]:
    upright = [
        rect
        for rect in [*page.rects, *page.lines]
        if abs(rect["x1"] - rect["x0"]) < 2 and abs(rect["bottom"] - rect["top"]) > 8
    ]
    for char in letters_on(page):
        middle = (char["top"] + char["bottom"]) / 2
        for line in upright:
            if char["x0"] + 0.8 < line["x0"] < char["x1"] - 0.8 and line["top"] < middle < line["bottom"]:
                yield _say(page, char, "across a line")


def _on_others(page: Any) -> Iterable[str]:
    """Middles of letters that fall into one cell of a fine net lie on each other."""
    seen: dict[tuple[int, int], dict[str, Any]] = {}
    for char in letters_on(page):
        middle = (round((char["x0"] + char["x1"]) / 5), round((char["top"] + char["bottom"]) / 6))
        other = seen.setdefault(middle, char)
        nearer = min(char["size"], other["size"])
        if other is not char and abs(char["x0"] - other["x0"]) < nearer * 0.2 and char["text"] not in "ijlI.,:;'’|":
            yield _say(page, char, f"on {other['text']!r}")
