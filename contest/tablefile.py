"""A table from a CSV or Excel file, or from pasted lines, as rows of text; and empty tables to fill in."""

import csv
import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from contest.rules.csvfile import CsvError, decode, parse_records

LARGEST = 1024 * 1024  # bytes; a list of three hundred teams is a fiftieth of it
LARGEST_UNPACKED = 20 * 1024 * 1024
MOST_MEMBERS = 200  # files inside a workbook
MOST_ROWS = 1000
MOST_COLUMNS = 40


class TableFileError(ValueError):
    """The file as a whole cannot be read; the message says why and how to mend it."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows as in the file, row 1 first, cells stripped; blank rows stay, so that numbers agree. `notes` for the reader.

    A cell that holds a formula is its text, which begins with "=".
    """

    cells: list[list[str]]
    notes: list[str]


def read_file(name: str, data: bytes) -> Rows:
    """Read an uploaded file: what it is decides its content, not its name. Raises TableFileError."""
    if len(data) > LARGEST:
        raise TableFileError(f"{name} is larger than {LARGEST // 2**20} MB: keep only the list itself, and try again.")
    if not data.strip():
        raise TableFileError(f"{name} is empty.")
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise TableFileError(f"{name} is an old Excel file or has a password: save it as .xlsx without one, or as CSV.")
    if data.startswith(b"PK"):
        return _checked(name, _read_workbook(name, data))
    if name.lower().endswith((".xlsx", ".xlsm")):
        raise TableFileError(f"{name} is not an Excel file inside: open it, save it as .xlsx or CSV, and try again.")
    try:
        text, note = decode(name, data)
        return _checked(name, Rows(_split(name, text), [note] if note else []))
    except CsvError as error:
        raise TableFileError(f"{error}.") from None


def read_lines(text: str) -> Rows:
    """Read pasted or typed lines; cells are parted by tabs (copied from a sheet), commas or semicolons."""
    try:
        return _checked("The list", Rows(_split("The list", text), []))
    except CsvError as error:
        raise TableFileError(f"{error}.") from None


def to_lines(rows: Rows) -> str:
    """The rows as lines that `read_lines` reads back, for mending in the page."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for row in rows.cells:
        if row:
            writer.writerow(row)
        else:
            out.write("\n")
    return out.getvalue()


def empty_csv(headings: Sequence[str]) -> bytes:
    """A table to fill in; the byte order mark makes spreadsheets read accents right."""
    return ("\ufeff" + ",".join(headings) + "\r\n").encode()


def empty_workbook(title: str, headings: Sequence[str], hints: Sequence[str]) -> bytes:
    """A workbook to fill in: the headings on the first sheet, what goes into each column on the second."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    sheet = book.active
    sheet.title = title
    sheet.append(list(headings))
    sheet.freeze_panes = "A2"
    guide = book.create_sheet("How to fill it in")
    for heading, hint in zip(headings, hints, strict=True):
        guide.append([heading, hint])
    for column, heading in zip("ABCDEFGH", headings, strict=False):
        sheet[f"{column}1"].font = guide[f"A{'ABCDEFGH'.index(column) + 1}"].font = Font(bold=True)
        sheet.column_dimensions[column].width = max(14, len(heading) + 4)
    guide.column_dimensions["A"].width, guide.column_dimensions["B"].width = 20, 80
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _split(name: str, text: str) -> list[list[str]]:
    lines = [line for line in text.splitlines() if line.strip()]
    first = lines[0] if lines else ""
    delimiter = max("\t,;", key=first.count)
    if first.count(delimiter) == 0:  # a name alone on the first line: the others tell
        delimiter = max("\t,;", key=text.count)
    return parse_records(name, text.replace("\r\n", "\n").replace("\r", "\n"), delimiter)


def _checked(name: str, rows: Rows) -> Rows:
    cells = [_stripped(row) for row in rows.cells]
    while cells and not cells[-1]:
        cells.pop()
    if not cells:
        raise TableFileError(f"{name} has no rows: one line for each, for example 1, Team Alder.")
    if sum(1 for row in cells if row) > MOST_ROWS:
        raise TableFileError(f"{name} has more than {MOST_ROWS} rows: keep only the list itself.")
    if max(len(row) for row in cells) > MOST_COLUMNS:
        raise TableFileError(f"{name} has more than {MOST_COLUMNS} columns: keep only those of the list.")
    return Rows(cells, rows.notes)


def _stripped(row: Sequence[str]) -> list[str]:
    cells = [" ".join(cell.split()) for cell in row]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _read_workbook(name: str, data: bytes) -> Rows:
    not_excel = TableFileError(f"{name} is not an Excel workbook, or it is damaged: save it again as .xlsx or as CSV.")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
            if len(members) > MOST_MEMBERS or sum(member.file_size for member in members) > LARGEST_UNPACKED:
                raise TableFileError(f"{name} is too large once unpacked: keep only the list itself, and try again.")
            # A workbook's XML may declare no document type (ECMA-376 part 2, use of XML): entities grow without end.
            declared = any(b"<!DOCTYPE" in archive.read(member).replace(b"\0", b"") for member in members)
    except TableFileError:
        raise
    except Exception:  # a damaged zip fails in many ways
        raise not_excel from None
    if declared or "[Content_Types].xml" not in {member.filename for member in members}:
        raise not_excel

    from openpyxl import load_workbook

    try:
        book = load_workbook(io.BytesIO(data), read_only=True)
        sheet = book.worksheets[0]
        cells = [
            [_cell_text(cell) for cell in row]
            for row in sheet.iter_rows(max_row=MOST_ROWS * 2, max_col=MOST_COLUMNS + 1)
        ]
        others = [other.title for other in book.worksheets[1:]]
    except Exception:  # a damaged workbook fails in many ways
        raise not_excel from None
    notes = [f"Only the first sheet, “{sheet.title}”, was read."] if others else []
    return Rows(cells, notes)


def _cell_text(cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, datetime | date):
        return value.isoformat()
    return str(value)
