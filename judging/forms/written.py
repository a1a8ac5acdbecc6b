"""A score sheet with blank numbers, on which the judge wrote the box numbers by hand: a number, then its marks."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from contest.rules.ruleset import RuleSet
from contest.rules.say import listed
from judging.forms.sheet import Cell, criteria_of, scale_text_of
from judging.selectors.cards import Line
from judging.services.cards import SheetRefused, read_marks

REST = "rest"


@dataclass
class Slot:
    """One line of the paper as typed: a number and its marks."""

    name: str
    number: str = ""
    cells: list[Cell] = field(default_factory=list)
    error: str = ""
    first: bool = False

    @property
    def typed(self) -> bool:
        return bool(self.number) or any(cell.value for cell in self.cells)


class WrittenForm:
    """As many lines as boxes of the flight are still missing for the seat.

    `elsewhere` says of every box number of the contest where it is judged: "ribs, table 2".
    """

    def __init__(
        self, lines: list[Line], rules: RuleSet, elsewhere: Mapping[str, str], data: Mapping[str, str] | None = None
    ) -> None:
        self.rules, self.data, self.elsewhere = rules, data, dict(elsewhere)
        self.lines = {line.box.number: line for line in lines}
        self.due = [number for number, line in self.lines.items() if not line.why_not and not line.stands]
        self.summary: list[tuple[str, str]] = []
        self.message = ""
        self.rest = data is not None and REST in data
        # Cards that came in while this sheet was typed take no line away: what was typed is answered, not dropped.
        count = len(self.due) if data is None else len(self.lines)
        self.slots = [
            slot for place in range(1, count + 1) if (slot := self._slot(place)).typed or place <= len(self.due)
        ]
        self._mark_first()

    def _slot(self, place: int) -> Slot:
        data = self.data or {}
        name = f"slot-{place}"
        cells = [
            Cell(f"{name}-{each.key}", each.name, data.get(f"{name}-{each.key}", "").strip()[:20])
            for each in self.rules.criteria
        ]
        return Slot(name, data.get(f"{name}-number", "").strip()[:10], cells)

    @property
    def criteria(self) -> list[dict[str, str]]:
        return criteria_of(self.rules)

    @property
    def scale_text(self) -> str:
        return scale_text_of(self.rules)

    @property
    def places(self) -> dict[str, str]:
        """For the page's script: what is wrong with a number that is typed, empty where it is due."""
        return {number: "" if number in self.due else self._wrong(number) for number in self.elsewhere}

    def _wrong(self, number: str) -> str:
        line = self.lines.get(number)
        if line is not None and line.stands:
            return f"{number} is in already: correct it on the numbered sheet."
        if line is not None and line.why_not:
            return f"{number}: {line.why_not}."
        if number in self.elsewhere:
            return f"{number} is not of this flight: it is a box of {self.elsewhere[number]}."
        return f"There is no box {number}. Read it again, or ask the table."

    @property
    def filled(self) -> list[Slot]:
        return [slot for slot in self.slots if slot.typed]

    def marks(self) -> dict[str, dict[str, str]]:
        return {slot.number: {_key(cell): cell.value for cell in slot.cells} for slot in self.filled}

    def versions(self) -> dict[str, str]:
        data = self.data or {}
        return {number: data.get(f"{number}-version", "0")[:12] for number in self.due}

    def is_valid(self) -> bool:
        seen: set[str] = set()
        for slot in self.filled:
            if not slot.number:
                slot.error = "Type the box number above these marks."
            elif slot.number not in self.due:
                slot.error = self._wrong(slot.number)
            elif slot.number in seen:
                slot.error = f"{slot.number} stands twice here: each box has one line."
            seen.add(slot.number)
            self._read(slot)
        left = [number for number in self.due if number not in seen and not self.lines[number].optional]
        self._summarise()
        if left and not self.rest and not self.summary:
            text = f"Not on the sheet: {listed(left)}. Type them, or tick that the paper has no line for them."
            self.summary.append((REST, text))
        if self.summary:
            self.message = "Nothing was handed in yet."
        self._mark_first()
        return not self.summary

    def _read(self, slot: Slot) -> None:
        _, wrong = read_marks({slot.name: {_key(cell): cell.value for cell in slot.cells}}, self.rules)
        for cell in slot.cells:
            cell.error = wrong.get((slot.name, _key(cell)), "")

    def refuse(self, error: SheetRefused) -> None:
        self.message = str(error)
        for slot in self.slots:
            slot.error = error.lines.get(slot.number, "")
        self._summarise()

    def _summarise(self) -> None:
        self.summary = []
        for slot in self.slots:
            if slot.error:
                self.summary.append((f"{slot.name}-number", slot.error))
            self.summary += [
                (cell.name, f"{slot.number or 'no number'}, {cell.label.lower()}: {cell.error}")
                for cell in slot.cells
                if cell.error
            ]

    def _mark_first(self) -> None:
        for slot in self.slots:
            slot.first = False
        wanted = [slot for slot in self.slots if slot.error] or [slot for slot in self.slots if not slot.typed]
        for slot in wanted[:1]:
            slot.first = True

    @property
    def hidden_versions(self) -> list[tuple[str, str]]:
        kept = self.versions() if self.data is not None else {}
        return [(f"{number}-version", kept.get(number, self.lines[number].version)) for number in self.due]


def _key(cell: Cell) -> str:
    return cell.name.split("-", 2)[2]
