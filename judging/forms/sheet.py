"""A score sheet as a form: its lines are the server's own list of boxes, never what was posted."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from contest.rules.ruleset import RuleSet, span_text, steps_text
from contest.rules.say import number_text
from judging.models import Reading
from judging.rules.scale import allowed
from judging.selectors.cards import Line
from judging.services.cards import SheetRefused, read_marks

#: Boxes side by side on a laptop before the grid starts a new band.
BAND = 8
BLANK = "no marks: type them, or tick “no marks”"


@dataclass
class Cell:
    name: str
    label: str
    value: str = ""
    error: str = ""
    first: bool = False


@dataclass
class Column:
    """One box of the sheet: its cells, and the tick that the paper has no marks for it."""

    line: Line
    cells: list[Cell] = field(default_factory=list)
    no_marks: bool = False
    version: str = "0"
    error: str = ""

    @property
    def number(self) -> str:
        return self.line.box.number

    @property
    def filled(self) -> bool:
        return any(cell.value for cell in self.cells)

    @property
    def left_out(self) -> bool:
        """Whether nothing is to be handed in: ticked as having no marks, or blank and not missed."""
        return self.no_marks or (self.line.optional and not self.filled and not self.line.stands)

    @property
    def shown_before(self) -> list[str]:
        """Earlier marks that no longer count, oldest first, for the history."""
        gone = [reading for reading in self.line.history if not reading.standing or self.line.dismissed]
        return [_reading_text(reading, self.line.earlier[reading.pk], self.cells) for reading in gone]

    @property
    def said_now(self) -> str:
        line = self.line
        return _reading_text(line.reading, line.marks, self.cells) if line.stands and line.reading else ""


def _reading_text(reading: Reading, marks: Mapping[str, Decimal], cells: list[Cell]) -> str:
    keys = [cell.name.partition("-")[2] for cell in cells]
    text = " ".join(number_text(marks[key]) for key in keys if key in marks)
    why = f", {reading.reason}" if reading.reason else ""
    return f"{text} ({reading.get_kind_display()}{f' by {reading.by}' if reading.by else ''}{why})"


class SheetForm:
    """The lines of one sheet bound to posted data or to the marks that stand."""

    def __init__(self, lines: list[Line], rules: RuleSet, data: Mapping[str, str] | None = None) -> None:
        self.rules, self.data = rules, data
        self.summary: list[tuple[str, str]] = []
        self.message = self.reason_error = ""
        self.reason = (data.get("reason", "") if data is not None else "").strip()
        self.columns = [self._column(line) for line in lines]
        self._mark_first()

    def _column(self, line: Line) -> Column:
        column = Column(line, version=line.version)
        number = line.box.number
        for criterion in self.rules.criteria:
            name = f"{number}-{criterion.key}"
            stands = criterion.key in line.marks and not line.dismissed
            value = number_text(line.marks[criterion.key]) if stands else ""
            if self.data is not None and not line.why_not:
                value = self.data.get(name, "").strip()[:20]
            column.cells.append(Cell(name, criterion.name, value))
        if self.data is not None:
            column.no_marks = f"{number}-none" in self.data
            column.version = self.data.get(f"{number}-version", line.version)[:12]
        return column

    def _mark_first(self) -> None:
        """Where typing starts: the first cell in error, else the first without a mark, else the first."""
        cells = [cell for column in self.taking for cell in column.cells]
        wanted = [cell for cell in cells if cell.error] or [cell for cell in cells if not cell.value] or cells
        for cell in cells:
            cell.first = bool(wanted) and cell is wanted[0]

    @property
    def taking(self) -> list[Column]:
        """The boxes for which marks are taken."""
        return [column for column in self.columns if not column.line.why_not]

    @property
    def bands(self) -> list[list[Column]]:
        count = -(-len(self.columns) // BAND) or 1
        size = -(-len(self.columns) // count)
        return [self.columns[start : start + size] for start in range(0, len(self.columns), size or 1)]

    @property
    def asks_reason(self) -> bool:
        return any(column.line.stands for column in self.columns)

    @property
    def has_history(self) -> bool:
        return any(column.shown_before for column in self.columns)

    @property
    def scale_text(self) -> str:
        return scale_text_of(self.rules)

    @property
    def criteria(self) -> list[dict[str, str]]:
        return criteria_of(self.rules)

    def marks(self) -> dict[str, dict[str, str]]:
        """What is to be handed in: every box that takes marks and is not left out."""
        return {
            column.number: {cell.name.partition("-")[2]: cell.value for cell in column.cells}
            for column in self.taking
            if not column.left_out
        }

    def versions(self) -> dict[str, str]:
        return {column.number: column.version for column in self.taking}

    def is_valid(self) -> bool:
        """Look for what only the form knows: cards left blank, a tick beside marks; and for every bad cell."""
        for column in self.taking:
            column.error = _column_error(column)
        blank = {column.number for column in self.taking if column.error}
        _, cells = read_marks({box: row for box, row in self.marks().items() if box not in blank}, self.rules)
        self._put_cells(cells)
        self._summarise()
        if self.summary:
            self.message = "Nothing was handed in yet."
        return not self.summary

    def refuse(self, error: SheetRefused) -> None:
        """Take over what the service refused; versions that it has just shown count as seen."""
        self.message, self.reason_error = str(error), error.reason
        for column in self.columns:
            column.error = error.lines.get(column.number, "")
            if column.number in error.stale:
                column.version = column.line.version
        self._put_cells(error.cells)
        self._summarise()

    def _put_cells(self, errors: Mapping[tuple[str, str], str]) -> None:
        for column in self.columns:
            for cell in column.cells:
                cell.error = errors.get((column.number, cell.name.partition("-")[2]), "")
        self._mark_first()

    def _summarise(self) -> None:
        self.summary = []
        blank = [column for column in self.columns if column.error == BLANK]
        for column in self.columns:
            if column.error and not (column.error == BLANK and len(blank) > 1):
                self.summary.append((column.cells[0].name, _with_number(column.number, column.error)))
            self.summary += [
                (cell.name, f"{column.number}, {cell.label.lower()}: {cell.error}")
                for cell in column.cells
                if cell.error
            ]
        if len(blank) > 1:
            numbers = ", ".join(column.number for column in blank)
            self.summary.append((blank[0].cells[0].name, f"{numbers}: {BLANK}"))
        if self.reason_error:
            self.summary.append(("reason", self.reason_error))


def scale_text_of(rules: RuleSet) -> str:
    return f"{span_text(rules.scale.lowest, rules.scale.highest)}, {steps_text(rules.scale.step)}"


def criteria_of(rules: RuleSet) -> list[dict[str, str]]:
    """Key, name and the marks allowed, for the grid's head and its script."""
    return [
        {
            "key": each.key,
            "name": each.name,
            "allowed": " ".join(number_text(mark) for mark in allowed(rules, each.key)),
        }
        for each in rules.criteria
    ]


def _with_number(number: str, text: str) -> str:
    return text if text.startswith(number) else f"{number}: {text}"


def _column_error(column: Column) -> str:
    if column.no_marks and column.line.stands:
        return "marks stand for this box; only the head judge can dismiss them"
    if column.no_marks and column.filled:
        return "marks are typed and “no marks” is ticked: keep one of them"
    if not column.left_out and not column.filled:
        return BLANK
    return ""
