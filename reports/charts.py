"""Where things stand in a chart. The pictures themselves are SVG templates; these are their coordinates.

All coordinates are in the picture's own units, a width of 360 for a phone's page; texts for reading stand beside.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil, floor, log10

LEFT, RIGHT = 36, 350
TOP, FOOT = 14, 172  # of the plot
STRIP_TOP, STRIP_FOOT = 196, 240  # of the tables' bars
MOST_LABELS = 6


@dataclass(frozen=True, slots=True)
class Axis:
    """Values from `low` to `high` on coordinates from `start` to `end`, with a tick at every whole `step`."""

    low: float
    high: float
    step: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """The coordinate of a value."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def clamped(self, value: float) -> float:
        """The coordinate of a value, or of the end that it lies beyond."""
        return self.at(min(max(value, self.low), self.high))

    def ticks(self) -> list[float]:
        """The values at which a tick lies: multiples of the step, both ends included where they are such."""
        hair = 1e-9  # of a step: 0.3 / 0.1 is a little more than 3, and the end is a tick all the same
        first, last = ceil(self.low / self.step - hair), floor(self.high / self.step + hair)
        return [place * self.step for place in range(first, last + 1)]


@dataclass(frozen=True, slots=True)
class Day:
    """One contest in a band chart, in points against the field. `half`: of the 95 % interval of `adjusted`.
    `hardness`: what the tables took off, None where no fit tells."""

    name: str
    label: str
    adjusted: float
    half: float
    raw: float
    hardness: float


@dataclass(frozen=True, slots=True)
class LineAt:
    """The season's line at one contest, with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Tick:
    at: str
    text: str


@dataclass(frozen=True, slots=True)
class Mark:
    x: str
    y: str
    raw: str
    low: str
    high: str
    bar: str
    bar_height: str
    label: str
    title: str


@dataclass(frozen=True)
class Band:
    """A season: marks with intervals, the fitted line and its band, the tables' hardness as bars below."""

    id: str
    title: str
    unit: str
    marks: list[Mark]
    ticks: list[Tick]
    zero: str
    strip_zero: str
    bar_most: str
    line: str
    band: str
    days: list[Day] = field(default_factory=list)


def number(value: float) -> str:
    """A coordinate."""
    return f"{value:.1f}".removesuffix(".0")


def signed(value: float, places: int = 1) -> str:
    """`+1.5`, `−0.4`, `0.0`: with a real minus."""
    text = f"{abs(value):.{places}f}"
    if float(text) == 0:
        return text
    return f"{'+' if value > 0 else '−'}{text}"


def band(*, id: str, title: str, days: Sequence[Day], line: Sequence[LineAt], unit: str = "points") -> Band:
    """The chart of at least one day; `line` has a value for each day, or none."""
    values = [end for day in days for end in (day.adjusted - day.half, day.adjusted + day.half, day.raw)]
    values += [end for at in line for end in (at.low, at.high)]
    scale = Axis(*nice(min(0.0, *values), max(0.0, *values)), start=FOOT, end=TOP)
    y = scale.at
    most = max((abs(day.hardness) for day in days), default=0.0) or 1.0

    def x(place: int) -> float:
        return LEFT + (RIGHT - LEFT) * (place + 0.5) / len(days)

    middle = (STRIP_TOP + STRIP_FOOT) / 2
    every = ceil(len(days) / MOST_LABELS)
    marks = []
    for place, day in enumerate(days):
        height = abs(day.hardness) / most * (STRIP_FOOT - STRIP_TOP) / 2
        marks.append(
            Mark(
                x=number(x(place)),
                y=number(y(day.adjusted)),
                raw=number(y(day.raw)),
                low=number(y(day.adjusted - day.half)),
                high=number(y(day.adjusted + day.half)),
                bar=number(middle - height if day.hardness > 0 else middle),
                bar_height=number(height),
                # The newest always has its label, the others as they fit.
                label=day.label if (len(days) - 1 - place) % every == 0 else "",
                title=f"{day.name}: {signed(day.adjusted)} ± {day.half:.1f}, raw {signed(day.raw)}",
            )
        )
    points = [(x(place), at) for place, at in enumerate(line)]
    around = [(at_x, at.high) for at_x, at in points] + [(at_x, at.low) for at_x, at in reversed(points)]
    return Band(
        id=id,
        title=title,
        unit=unit,
        marks=marks,
        ticks=[Tick(number(y(at)), signed(at, 0 if scale.step >= 1 else 1)) for at in scale.ticks()],
        zero=number(y(0.0)),
        strip_zero=number(middle),
        bar_most=f"{most:.1f}" if most >= 1 else f"{most:.2f}",
        line=" ".join(f"{number(at_x)},{number(y(at.value))}" for at_x, at in points),
        band=" ".join(f"{number(at_x)},{number(y(value))}" for at_x, value in around),
        days=list(days),
    )


def nice(low: float, high: float) -> tuple[float, float, float]:
    """Round ends and the step between ticks, three to six of them."""
    if high - low < 1e-6:  # all the same: room on either side
        low, high = low - 0.5, high + 0.5
    spread = high - low
    size = 10 ** floor(log10(spread / 4))
    step = next(size * many for many in (1, 2, 2.5, 5, 10) if spread / (size * many) <= 4.5)
    return floor(low / step) * step, ceil(high / step) * step, step


@dataclass(frozen=True, slots=True)
class Dot:
    x: str
    y: str
    own: bool


@dataclass(frozen=True)
class DotRow:
    """One seat: its cards for the table's boxes on the scale."""

    name: str
    y: str
    dots: list[Dot]


@dataclass(frozen=True)
class Dots:
    """A flight: a row for each seat, a dot for each box, the own box ringed; nothing tells the other boxes apart."""

    id: str
    title: str
    height: int
    axis: str
    rows: list[DotRow]
    ticks: list[Tick]


ROW = 34


def dots(
    *, id: str, title: str, rows: Sequence[tuple[str, Sequence[float], float | None]], low: float, high: float
) -> Dots:
    """`rows`: seat's name, marks of the other boxes, the own mark or None. Equal marks are stacked."""
    start = 24
    scale = Axis(low, high, nice(low, high)[2], start=58, end=346)
    found = []
    for place, (name, others, own) in enumerate(rows):
        y = start + ROW * place
        stacked: dict[float, int] = {}
        drawn: list[Dot] = []
        for value in [*([] if own is None else [own]), *sorted(others)]:
            level = stacked[value] = stacked.get(value, -1) + 1
            drawn.append(Dot(number(scale.at(value)), number(y - 7 * level), own is not None and not drawn))
        found.append(DotRow(name, number(y), drawn))
    ticks = [Tick(number(scale.at(at)), f"{at:g}") for at in scale.ticks()]
    foot = start + ROW * len(rows)
    return Dots(id, title, foot + 18, number(foot - 8), found, ticks)
