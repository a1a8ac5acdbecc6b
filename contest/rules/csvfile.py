"""CSV files as people save them, read with exact places for every complaint.

Accepts UTF-8 with or without a byte order mark, UTF-16 with one, and Windows-1252 where nothing speaks against it;
commas, semicolons or tabs; blank rows. Row 1 is the header, as in a spreadsheet.
"""

import csv
import io
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

LARGEST = 64 * 1024 * 1024  # bytes; a season of cards is a thousandth of it


class CsvError(ValueError):
    """Bad input; the message is one line: file, row, column, what is wrong and how to mend it."""

    def __init__(self, file: str, problem: str, *, row: int | None = None, column: str | None = None) -> None:
        self.file, self.row, self.column, self.problem = file, row, column, problem
        place = file
        if row is not None:
            place += f" row {row}"
        if column is not None:
            place += f" column {column}"
        super().__init__(" ".join(f"{place}: {problem}".split()))


@dataclass(frozen=True, slots=True)
class CsvRow:
    """One row; ``cells`` by column name, stripped of blanks at both ends, "" for an optional column not there."""

    file: str
    number: int
    cells: dict[str, str]

    def error(self, column: str, problem: str) -> CsvError:
        return CsvError(self.file, problem, row=self.number, column=column)

    def filled(self, column: str) -> str:
        """The cell's text. Raises CsvError where it is empty."""
        text = self.cells[column]
        if not text:
            raise self.error(column, f"empty; type the {column}")
        return text


@dataclass(frozen=True, slots=True)
class CsvFile:
    """A file read whole. ``columns``: those present; ``note``: what a person should know about the reading."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[CsvRow, ...]
    note: str | None


def load(path: str | Path, required: Sequence[str], optional: Sequence[str] = (), *, others: bool = False) -> CsvFile:
    """Read a file of the disk; its name in complaints is the path as given. Raises CsvError."""
    name = str(path)
    try:
        with open(path, "rb") as file:
            data = file.read(LARGEST + 1)
    except FileNotFoundError:
        raise CsvError(name, "no such file; check the path") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise CsvError(name, f"cannot be read ({reason}); check the path and its permissions") from None
    return read(name, data, required, optional, others=others)


def read(
    name: str, data: bytes, required: Sequence[str], optional: Sequence[str] = (), *, others: bool = False
) -> CsvFile:
    """Read a file's bytes. Columns come in any order; one that is neither required nor optional is refused, or with
    ``others`` passed over.

    Raises CsvError with file, row and column.
    """
    if len(data) > LARGEST:
        raise CsvError(name, f"larger than {LARGEST // 2**20} MB; split it")
    text, note = decode(name, data)
    records = parse_records(name, text)
    if not records:
        raise CsvError(name, f"empty; begin with the header {','.join(required)}", row=1)
    header = _header(name, records[0], required, optional, others)
    missing = dict.fromkeys((*required, *optional), "")
    rows: list[CsvRow] = []
    for number, record in enumerate(records[1:], 2):
        cells = [cell.strip() for cell in record]
        if not any(cells):
            continue
        if len(cells) != len(header):
            _check_width(name, number, cells, header)
            cells += [""] * (len(header) - len(cells))
        rows.append(
            CsvRow(name, number, missing | {key: cell for key, cell in zip(header, cells, strict=False) if key})
        )
    return CsvFile(name, tuple(key for key in header if key), tuple(rows), note)


def decode(name: str, data: bytes) -> tuple[str, str | None]:
    """A file's text, and a note where the encoding had to be guessed. Raises CsvError with the row."""
    note = None
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            text = data.decode("utf-16")
        except UnicodeDecodeError:
            raise CsvError(name, "begins as UTF-16 but is not; save it as CSV UTF-8") from None
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            text = _windows(name, data, error.start)
            note = f"{name}: not UTF-8, read as Windows-1252; check the accents in names"
    for place, character in enumerate(text):
        if character < " " and character not in "\t\r\n":
            row = text.count("\n", 0, place) + 1
            fix = "save it as CSV UTF-8" if character == "\0" else "delete it"
            raise CsvError(name, f"a control character, U+{ord(character):04X}; {fix}", row=row)
    return text, note


def _windows(name: str, data: bytes, start: int) -> str:
    """Windows-1252, if every byte beyond ASCII makes a letter or a sign that names have."""
    row = data.count(b"\n", 0, start) + 1
    refused = CsvError(name, "not UTF-8 text; save it as CSV UTF-8", row=row)
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        raise refused from None
    beyond = {character for character in text if character > "\x7f"}
    if not all(
        unicodedata.category(character) in ("Lu", "Ll") or character in "‘’“”–—…°·´ªº\xa0" for character in beyond
    ):
        raise refused
    return text


def parse_records(name: str, text: str, delimiter: str = "") -> list[list[str]]:
    """The cells of every row; the delimiter is the first row's most frequent unless given. Raises CsvError."""
    first = text.partition("\n")[0]
    delimiter = delimiter or max(",;\t", key=first.count)
    records: list[list[str]] = []
    try:
        records.extend(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise CsvError(name, f"{error}; check the quotes of this row", row=len(records) + 1) from None
    return records


def _header(
    name: str, record: Sequence[str], required: Sequence[str], optional: Sequence[str], others: bool
) -> list[str]:
    known = {key.casefold(): key for key in (*required, *optional)}
    header: list[str] = []
    for given in (cell.strip() for cell in record):
        key = known.get(given.casefold(), "")
        if given and not key and not others:
            names = ", ".join((*required, *optional))
            raise CsvError(name, f"unknown column; delete it or rename it, known are {names}", row=1, column=given)
        if key and key in header:
            raise CsvError(name, "there twice; delete one", row=1, column=key)
        header.append(key)
    absent = [key for key in required if key not in header]
    if absent:
        raise CsvError(name, f"missing; the header needs {','.join(required)}", row=1, column=absent[0])
    return header


def _check_width(name: str, number: int, cells: Sequence[str], header: Sequence[str]) -> None:
    if any(cells[len(header) :]):
        problem = f"{len(cells)} cells where the header has {len(header)}; remove or quote what is too much"
        raise CsvError(name, problem, row=number)
    if len(cells) < len(header) and any(header[len(cells) :]):
        column = next(key for key in header[len(cells) :] if key)
        problem = f"the row ends before it: {len(cells)} cells where the header has {len(header)}; add what is missing"
        raise CsvError(name, problem, row=number, column=column)
