"""What a print looks like: its options, and the rules for pages and labels that depend on them."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from functools import lru_cache
from typing import Any

from django.contrib.staticfiles import finders

from contest.models import Contest
from contest.present import present
from contest.rules.stored import Stored
from reports.paper.grids import GRIDS, PAGES, Grid

#: Labels keep this distance from their edge, so that a printer that is off by a millimetre or two harms nothing.
INSET = 3.5


@dataclass(frozen=True)
class Options(Stored):
    """How it is printed. Lengths in millimetres; `right`, `down` and `scale` correct a printer that is off.

    `address` is this site as phones reach it, for codes and links; empty where it leads nowhere.
    """

    size: str = "a4"
    grid: str = "3x10"
    right: float = 0.0
    down: float = 0.0
    scale: float = 100.0
    columns: int = 3
    rows: int = 8
    width: float = 64.0
    height: float = 34.0
    left: float = 8.0
    top: float = 12.0
    across: float = 0.0
    between: float = 0.0
    team: int = 0
    write_ins: int = 2
    address: str = ""

    @classmethod
    def of(cls, typed: Mapping[str, Any]) -> "Options":
        """Return the options that a form's values give; unknown names are left out."""
        known = {field.name for field in fields(cls)}
        return cls(**{name: value for name, value in typed.items() if name in known and value not in (None, "")})

    def values(self) -> dict[str, Any]:
        """Return the options by name, as a form takes them."""
        return asdict(self)

    @property
    def plain_grid(self) -> Grid:
        """The label sheet as it is sold."""
        if self.grid in GRIDS:
            return GRIDS[self.grid][self.size]
        return Grid(self.columns, self.rows, self.width, self.height, self.left, self.top, self.across, self.between)

    @property
    def label_grid(self) -> Grid:
        """The label sheet as it must be printed."""
        return self.plain_grid.corrected(right=self.right, down=self.down, scale=self.scale / 100)


STYLE = "reports/paper.css"


@lru_cache(maxsize=1)
def style_text() -> str:
    """The style sheet that all papers share, found by its name among the project's static files."""
    with open(present(finders.find(STYLE)), encoding="utf-8") as file:
        return file.read()


def css_text(text: str) -> str:
    """`text` as a CSS string: whatever it holds, it ends where it should."""
    safe = "".join(sign if sign.isalnum() or sign in " .,:;·–-()" else f"\\{ord(sign):x} " for sign in text)
    return f'"{safe}"'


def page_rules(contest: Contest, title: str, options: Options, *, landscape: bool = False, bare: bool = False) -> str:
    """The `@page` rule of one paper: size, contest and paper at the head, page n of m at the foot.

    `bare` pages have no margin at all: labels and table tents.
    """
    width, height = PAGES[options.size]
    if landscape:
        width, height = height, width
    size = f"size: {width}mm {height}mm"
    if bare:
        # A hair less than the page: a rounded millimetre would start another.
        return (
            f"@page {{ {size}; margin: 0 }}\n.full {{ height: {height - 0.2:.2f}mm }}\n"
            f".half {{ height: {height / 2 - 0.1:.2f}mm }}\n"
        )
    day = f"{contest.date.day} {contest.date:%B %Y}"
    return (
        f"@page {{ {size}; margin: 19mm 12mm 15mm;\n"
        f"@top-left {{ content: {css_text(f'{contest.name} · {day}')}; width: 58%; text-align: left }}\n"
        f"@top-right {{ content: {css_text(title)}; width: 42%; text-align: right; font-weight: bold }}\n"
        '@bottom-right { content: "page " counter(page) " of " counter(pages) }\n'
        "}\n"
    )


def label_rules(grid: Grid, size: str) -> str:
    """Where labels lie: classes `l-0 …` for columns, `t-0 …` for rows, and type that fits the label."""
    width, height = PAGES[size]
    inner_width, inner_height = grid.width - 2 * INSET, grid.height - 2 * INSET
    code = min(inner_height, inner_width * 0.36)
    room = inner_width - code - 2
    # A bold figure of this typeface is 0.70 of its size wide; three of them and a little air.
    number = min(room / 2.3, inner_height * 0.62)
    name = min(inner_height * 0.2, 5.0)
    rules = [
        f".label-page {{ width: {width}mm; height: {height - 0.2:.3f}mm }}",
        f".label {{ width: {inner_width:.3f}mm; height: {inner_height:.3f}mm; margin: {INSET}mm }}",
        f".label .code {{ width: {code:.3f}mm; height: {code:.3f}mm; top: {(inner_height - code) / 2:.3f}mm }}",
        f".label .number {{ width: {room:.3f}mm; font-size: {number:.3f}mm }}",
        f".label .what {{ width: {room:.3f}mm; font-size: {name:.3f}mm }}",
        f".frame {{ width: {grid.width - 0.4:.3f}mm; height: {grid.height - 0.4:.3f}mm }}",
    ]
    rules += [f".l-{column} {{ left: {left}mm }}" for column, left in enumerate(grid.lefts())]
    rules += [f".t-{row} {{ top: {top}mm }}" for row, top in enumerate(grid.tops())]
    return "\n".join(rules)
