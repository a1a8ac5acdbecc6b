"""Tables as files: CSV and XLSX answers whose cells a spreadsheet reads as text, never as a formula."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from django.http import HttpResponse
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.worksheet._write_only import WriteOnlyWorksheet

Cell = str | int | Decimal | None
Sheet = tuple[Sequence[str], Iterable[Sequence[Cell]]]

#: What a spreadsheet may take for the start of a formula, after blanks too.
RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%", "＝", "＋", "－", "＠")
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def is_risky(value: Cell) -> bool:
    """Whether a text could be taken for a formula. Numbers are numbers."""
    return isinstance(value, str) and (value.startswith(RISKY) or value.lstrip().startswith(RISKY))


def harmless(value: Cell) -> Cell:
    """The value for a CSV cell: an apostrophe before a text that a spreadsheet could calculate."""
    return f"'{value}" if is_risky(value) else value


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow([harmless(each) for each in header])
    writer.writerows([["" if each is None else harmless(each) for each in row] for row in rows])
    return file.getvalue()


def csv_answer(filename: str, header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> HttpResponse:
    """A CSV file to download: UTF-8 with a byte order mark, without which spreadsheets guess wrong."""
    answer = HttpResponse("\ufeff" + csv_text(header, rows), content_type="text/csv; charset=utf-8")
    return _attached(answer, filename)


def xlsx_answer(filename: str, sheets: Mapping[str, Sheet]) -> HttpResponse:
    """A workbook to download; sheet title → header and rows. Every text is stored as text."""
    book = Workbook(write_only=True)
    used: set[str] = set()
    for title, (header, rows) in sheets.items():
        sheet = book.create_sheet(_sheet_title(title, used))
        sheet.freeze_panes = "A2"
        sheet.append([_cell(sheet, each, bold=True) for each in header])
        for row in rows:
            sheet.append([_cell(sheet, each) for each in row])
    file = io.BytesIO()
    book.save(file)
    return _attached(HttpResponse(file.getvalue(), content_type=XLSX_TYPE), filename)


def _cell(sheet: WriteOnlyWorksheet, value: Cell, *, bold: bool = False) -> WriteOnlyCell:
    cell = WriteOnlyCell(sheet, value=None)
    if isinstance(value, str):
        # Set by hand: the library takes a text that begins with "=" for a formula. Control characters are not XML.
        cell._value = "".join(sign for sign in value if sign >= " " or sign in "\t\n")
        cell.data_type = "s"
        if is_risky(value):
            cell.quotePrefix = True
    else:
        cell.value = value
    if bold:
        cell.font = Font(bold=True)
    return cell


def _sheet_title(title: str, used: set[str]) -> str:
    """At most 31 signs, none that a workbook forbids, no two alike."""
    plain = "".join("-" if sign in r"[]:*?/\'" or sign < " " else sign for sign in title)[:31].strip() or "Sheet"
    number, found = 1, plain
    while found.casefold() in used:
        number += 1
        found = f"{plain[:27]} {number}"
    used.add(found.casefold())
    return found


def _attached(answer: HttpResponse, filename: str) -> HttpResponse:
    answer["Content-Disposition"] = f'attachment; filename="{filename}"'
    return answer
