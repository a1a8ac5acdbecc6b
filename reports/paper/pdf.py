"""From HTML to one PDF, with WeasyPrint, which is imported only where something is printed.

Nothing is fetched: no address of the network, no file. Style sheets come as text, pictures as data inside the HTML.
No framework is needed either: the process that prints starts quickly and stays small.
"""

import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

#: What a bare Debian lacks: the libraries that shape and cut type, and the typeface.
PACKAGES = "libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core"


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


def write(
    parts: Sequence[Part], target: Any, *, style: str = "", done: Callable[[int], None] = lambda count: None
) -> int:
    """Write `parts` as one tagged PDF to the path or binary file `target`; returns the number of pages.

    `style` is the style sheet that all parts share. `done` is told after each part how many are laid out.
    """
    from weasyprint.text.fonts import FontConfiguration

    _keep_page_references()
    fonts = FontConfiguration()
    cache: dict[str, Any] = {}
    sheets: dict[str, Any] = {"": _style(style, fonts)}
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


@lru_cache(maxsize=1)
def _keep_page_references() -> None:
    """Have the list of a file's pages made once, not once for every tag: of 240 pages that is a quarter of the time."""
    import pydyf

    listed = getattr(pydyf.PDF.page_references, "fget", None)
    if listed is None:  # a version that works otherwise
        return

    def kept(self: Any) -> tuple[bytes, ...]:
        count, found = self.__dict__.get("_kept_references", (0, ()))
        if count != self.pages["Count"]:
            count, found = self._kept_references = self.pages["Count"], listed(self)
        return found

    pydyf.PDF.page_references = property(kept)


class _Drawn:
    """What was drawn on a page on which the letters of all seats lie on each other: drawn once, given for each seat."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self._letters = {box: letter for letter, box in _letters(page._page_box)}
        self._pieces: list[tuple[str, bytes]] = []  # (seat that it is for, or "" for all, drawing)
        self._tags: dict[Any, Any] = {}

    def draw(self, stream: Any, scale: float, seat: str) -> None:
        before = len(stream.stream)
        if not self._pieces:
            self.page.paint(stream, scale)
            self._tags = dict(stream._tags)
            self._pieces = list(self._cut(stream.stream[before:]))
        stream.stream[before:] = [piece for letter, piece in self._pieces if letter in ("", seat)]
        stream._tags.update(self._tags)

    def _cut(self, drawing: list[Any]) -> Iterator[tuple[str, bytes]]:
        """Whatever shows the glyphs of a letter by itself, everything between in one piece."""
        seat_of = {self._tags[box]["mcid"]: letter for box, letter in self._letters.items()}
        common: list[bytes] = []
        letter = ""
        for item in drawing:
            if isinstance(item, dict) and "MCID" in item:
                letter = seat_of.get(item["MCID"], "")
            as_bytes = item if isinstance(item, bytes) else item.data if hasattr(item, "data") else str(item).encode()
            if letter and as_bytes.endswith(b" TJ"):
                yield "", b"\n".join(common)
                yield letter, as_bytes
                common = []
            else:
                common.append(as_bytes)
        yield "", b"\n".join(common)


class _SeatPage:
    """A page laid out and drawn once, given out for one seat. Six score sheets of a flight differ in one letter."""

    def __init__(self, drawn: _Drawn, seat: str) -> None:
        self._drawn, self._seat = drawn, seat

    def __getattr__(self, name: str) -> Any:
        return getattr(self._drawn.page, name)

    def paint(self, stream: Any, scale: float = 1) -> None:
        self._drawn.draw(stream, scale, self._seat)


def _for_seats(pages: Sequence[Any], seats: Sequence[str]) -> Iterator[_SeatPage]:
    drawn = [_Drawn(page) for page in pages]
    for seat in seats:
        for page in drawn:
            yield _SeatPage(page, seat)


def _letters(box: Any) -> Iterator[tuple[str, Any]]:
    """(letter, its text box) for every text inside an element of the class `seat-only`."""
    box = getattr(box, "_box", box)  # what stands for a box that is positioned by itself
    if hasattr(box, "text"):
        if box.element is not None and "seat-only" in (box.element.get("class") or ""):
            yield box.text.strip(), box
        return
    for child in getattr(box, "children", ()):
        yield from _letters(child)
