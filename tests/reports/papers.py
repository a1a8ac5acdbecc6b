"""Reading prints back: what stands on a page and where, with a PDF library of its own."""

import io
from collections.abc import Iterable
from typing import Any

import pdfplumber

from contest.models import Contest
from reports.paper import catalogue, pdf
from reports.paper.look import Options

MM = 72 / 25.4


def print_papers(contest: Contest, *keys: str, **options: Any) -> "pdfplumber.PDF":
    """Papers as a PDF, as the printing process makes them."""
    target = io.BytesIO()
    papers = [catalogue.PAPERS[key] for key in keys]
    pdf.write(catalogue.parts_of(contest, "A print", papers, Options(**options)), target)
    return pdfplumber.open(target)


def text_of(found: "pdfplumber.PDF") -> str:
    return "\n".join(page.extract_text() or "" for page in found.pages)


def clipped(found: "pdfplumber.PDF", margin: float = 2.0) -> list[str]:
    """Words that leave the page or come closer to its edge than `margin` mm; rotated ones too."""
    wrong = []
    for number, page in enumerate(found.pages, 1):
        near = margin * MM
        for char in page.chars:
            if not char["text"].strip():
                continue
            if (
                char["x0"] < near
                or char["x1"] > page.width - near
                or char["top"] < near
                or char["bottom"] > page.height - near
            ):
                wrong.append(f"page {number}: {char['text']!r} at {char['x0']:.0f}, {char['top']:.0f}")
    return wrong


def overlapping(found: "pdfplumber.PDF") -> list[str]:
    """Pairs of letters that lie on each other: text that ran out of its place."""
    wrong = []
    for number, page in enumerate(found.pages, 1):
        chars = [char for char in page.chars if char["text"].strip() and char["size"] > 2]
        chars.sort(key=lambda char: char["top"])
        for at, one in enumerate(chars):
            for other in chars[at + 1 :]:
                if other["top"] > one["bottom"] - 1:
                    break
                wide = min(one["x1"], other["x1"]) - max(one["x0"], other["x0"])
                high = min(one["bottom"], other["bottom"]) - max(one["top"], other["top"])
                smaller = min(one["width"] * one["height"], other["width"] * other["height"])
                if wide > 0 and high > 0 and wide * high > 0.35 * smaller:
                    wrong.append(
                        f"page {number}: {one['text']!r} on {other['text']!r} at {one['x0']:.0f}, {one['top']:.0f}"
                    )
    return wrong


def outside_cells(found: "pdfplumber.PDF") -> list[str]:
    """Letters of tables that cross a vertical line of their table."""
    wrong = []
    for number, page in enumerate(found.pages, 1):
        upright = [
            rect for rect in [*page.rects, *page.lines]
            if abs(rect["x1"] - rect["x0"]) < 2 and abs(rect["bottom"] - rect["top"]) > 8
        ]  # fmt: skip
        for char in page.chars:
            middle = (char["top"] + char["bottom"]) / 2
            for line in upright:
                across = char["x0"] + 0.8 < line["x0"] < char["x1"] - 0.8
                if char["text"].strip() and across and line["top"] < middle < line["bottom"]:
                    wrong.append(f"page {number}: {char['text']!r} at {char['x0']:.0f}, {char['top']:.0f}")
    return wrong


def rows_on(page: Any, words: Iterable[str]) -> list[str]:
    """Which of `words` stand on the page."""
    text = page.extract_text() or ""
    return [word for word in words if word in text]
