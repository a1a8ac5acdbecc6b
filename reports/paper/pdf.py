"""From HTML to one PDF, with WeasyPrint, which is imported only where something is printed.

Nothing is fetched: no address of the network, no file. Style sheets come as text, pictures as data inside the HTML.
"""

import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from django.contrib.staticfiles import finders

#: What a bare Debian lacks: the libraries that shape and cut type, and the typeface.
PACKAGES = "libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core"
STYLE = "reports/paper.css"


@dataclass(frozen=True)
class Part:
    """Pages laid out together, with their own count. `seats`: the same pages again for each of these letters."""

    html: str
    rules: str
    seats: tuple[str, ...] = ()


@lru_cache(maxsize=1)
def can_print() -> bool:
    """Whether PDFs can be made here. Asked of another process: this one need not carry the libraries."""
    tried = subprocess.run([sys.executable, "-c", "import weasyprint"], capture_output=True, check=False)
    return tried.returncode == 0


def style_text() -> str:
    """The common style sheet of all papers, found by its name among the project's static files."""
    with open(finders.find(STYLE), encoding="utf-8") as file:
        return file.read()


def write(parts: Sequence[Part], target: Any, *, done: Callable[[int], None] = lambda count: None) -> int:
    """Write `parts` as one tagged PDF to the path or binary file `target`; returns the number of pages.

    `done` is told after each part how many are laid out.
    """
    from weasyprint.text.fonts import FontConfiguration

    fonts = FontConfiguration()
    cache: dict[str, Any] = {}
    sheets: dict[str, Any] = {"": _style(style_text(), fonts)}
    pages: list[Any] = []
    first = None
    for count, part in enumerate(parts, 1):
        if part.rules not in sheets:
            sheets[part.rules] = _style(part.rules, fonts)
        document = _lay_out(part.html, [sheets[""], sheets[part.rules]], fonts, cache)
        first = first or document
        pages += list(_for_seats(document.pages, part.seats)) if part.seats else document.pages
        done(count)
    if first is None:
        raise ValueError("there is nothing to print")
    first.copy(pages).write_pdf(target, pdf_variant="pdf/ua-1")
    return len(pages)


def _style(text: str, fonts: Any) -> Any:
    from weasyprint import CSS

    return CSS(string=text, font_config=fonts, url_fetcher=closed_fetcher())


def _lay_out(html: str, sheets: list[Any], fonts: Any, cache: dict[str, Any]) -> Any:
    from weasyprint import HTML

    page = HTML(string=html, base_url=None, url_fetcher=closed_fetcher())
    return page.render(stylesheets=sheets, font_config=fonts, cache=cache)


@lru_cache(maxsize=1)
def closed_fetcher() -> Any:
    """A fetcher that opens pictures given as data and nothing else; anything else breaks the print off."""
    from weasyprint.urls import FatalURLFetchingError, URLFetcher

    class Closed(URLFetcher):
        def fetch(self, url: str, headers: Any = None) -> Any:
            if not url.startswith("data:image/"):
                raise FatalURLFetchingError(f"A paper may not fetch {url[:80]}")
            return super().fetch(url, headers)

    return Closed(allowed_protocols={"data"}, allow_redirects=False, fail_on_errors=True)


class _SeatPage:
    """A page laid out once and painted for one seat: of the letters stacked on it only that seat's is visible.

    Laying a page out costs far more than painting it, and six score sheets of a flight differ in one letter.
    """

    def __init__(self, page: Any, letters: Sequence[tuple[str, Any]], seat: str) -> None:
        self._page, self._letters, self._seat = page, letters, seat

    def __getattr__(self, name: str) -> Any:
        return getattr(self._page, name)

    def paint(self, stream: Any, scale: float = 1) -> None:
        for letter, box in self._letters:
            box.style["visibility"] = "visible" if letter == self._seat else "hidden"
        self._page.paint(stream, scale)


def _for_seats(pages: Sequence[Any], seats: Sequence[str]) -> Iterator[_SeatPage]:
    found = [(page, list(_letters(page._page_box))) for page in pages]
    for seat in seats:
        for page, letters in found:
            yield _SeatPage(page, letters, seat)


def _letters(box: Any) -> Iterator[tuple[str, Any]]:
    """(letter, its text box) for every text inside an element of the class `seat-only`."""
    box = getattr(box, "_box", box)  # what stands for a box that is positioned by itself
    if hasattr(box, "text"):
        if box.element is not None and "seat-only" in (box.element.get("class") or ""):
            box.style = box.style.copy()  # styles are shared between boxes that look alike
            yield box.text.strip(), box
        return
    for child in getattr(box, "children", ()):
        yield from _letters(child)
