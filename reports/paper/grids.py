"""Label sheets: where each label lies on its page, and the corrections a printer needs. All lengths in millimetres."""

from dataclasses import dataclass, replace

#: Width and height of a page, portrait.
PAGES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
PAGE_NAMES = {"a4": "A4", "letter": "US Letter"}


class GridError(ValueError):
    """The labels do not fit on the page; the message says what to change."""


@dataclass(frozen=True)
class Grid:
    """Labels in `columns` × `rows`; `across` and `down` are the gaps between two labels."""

    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    across: float = 0.0
    down: float = 0.0

    @property
    def a_page(self) -> int:
        return self.columns * self.rows

    def lefts(self) -> list[float]:
        return [round(self.left + column * (self.width + self.across), 3) for column in range(self.columns)]

    def tops(self) -> list[float]:
        return [round(self.top + row * (self.height + self.down), 3) for row in range(self.rows)]

    def check(self, page: str) -> None:
        """Raise `GridError` where the last label would leave the page."""
        page_width, page_height = PAGES[page]
        for last, size, there, what in (
            (self.lefts()[-1], self.width, page_width, "wide"),
            (self.tops()[-1], self.height, page_height, "high"),
        ):
            if last + size > there + 0.05:
                raise GridError(
                    f"These labels need {last + size:.1f} mm and the page is {there:.1f} mm {what}. "
                    "Make the labels, the gaps or the margin smaller, or take fewer."
                )

    def corrected(self, *, right: float = 0.0, down: float = 0.0, scale: float = 1.0) -> "Grid":
        """The grid as it must be printed where the printer draws shifted or at a wrong scale."""
        return replace(
            self,
            width=self.width * scale,
            height=self.height * scale,
            left=self.left * scale + right,
            top=self.top * scale + down,
            across=self.across * scale,
            down=self.down * scale,
        )


#: Sheets that are sold everywhere, by name and page. Sizes: common practice, no source; the test sheet shows whether
#: they fit what lies in the printer.
GRIDS: dict[str, dict[str, Grid]] = {
    "3x10": {
        "letter": Grid(3, 10, width=66.7, height=25.4, left=4.75, top=12.7, across=3.15),
        "a4": Grid(3, 10, width=70.0, height=29.7, left=0.0, top=0.0),
    },
    "2x7": {
        "letter": Grid(2, 7, width=101.6, height=33.87, left=3.97, top=21.17, across=4.76),
        "a4": Grid(2, 7, width=99.1, height=38.1, left=4.65, top=15.15, across=2.5),
    },
}
GRID_NAMES = {"3x10": "3 across, 10 down", "2x7": "2 across, 7 down", "custom": "Another sheet: sizes below"}
