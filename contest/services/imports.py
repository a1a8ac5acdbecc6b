"""Many teams or judges at once: every row is checked first and nothing is written until the person confirms.

A bad row blocks only itself. The check is made again when the good rows are written, so that nothing is imported
that differs from what was shown.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import count

from django.core.exceptions import ValidationError
from django.db import transaction

from contest.models import Category, Contest, Judge, Team
from contest.selectors.people import fold, known_judges, known_teams
from contest.services.people import add_entry, add_judge, locked
from contest.tablefile import Rows

LONGEST = 120  # characters of a name
MOST_CONTESTS = 2000
LARGEST_NUMBER = 9999

#: Column → headings that are understood besides its own name, folded.
TEAM_COLUMNS: dict[str, frozenset[str]] = {
    "number": frozenset({"team number", "team no", "team no.", "no", "no.", "nr", "#"}),
    "team": frozenset({"team name", "name"}),
    "head cook": frozenset({"cook"}),
    "home": frozenset({"town", "place", "from", "city"}),
    "categories": frozenset({"category"}),
}
TEAM_HINTS = (
    "A whole number from 1 to 9999; empty: the next free one.",
    "The team's name; the only column that must be there.",
    "May stay empty.",
    "Town or region; may stay empty.",
    "Categories entered, parted by semicolons; empty: all of them.",
)
JUDGE_COLUMNS: dict[str, frozenset[str]] = {
    "name": frozenset({"judge", "judge name"}),
    "contests judged": frozenset({"contests judged before", "contests", "experience", "judged"}),
    "conflicts": frozenset({"conflict", "close to", "teams"}),
}
JUDGE_HINTS = (
    "The judge's name; the only column that must be there.",
    "Contests judged before, a whole number; empty: none.",
    "Numbers or names of teams the judge is close to (family, member, sponsor), parted by semicolons.",
)


@dataclass
class Row:
    """One row of the list as understood: `given` by column, what is wrong with it, and whom it means."""

    number: int
    given: dict[str, str]
    problems: list[str] = field(default_factory=list)
    known_from: str = ""
    team_number: int | None = None
    categories: list[Category] | None = None
    contests_judged: int = 0
    teams: list[Team] = field(default_factory=list)

    @property
    def good(self) -> bool:
        return not self.problems


@dataclass
class Preview:
    columns: list[str]
    rows: list[Row]
    notes: list[str]

    @property
    def good(self) -> list[Row]:
        return [row for row in self.rows if row.good]

    @property
    def bad(self) -> list[Row]:
        return [row for row in self.rows if not row.good]

    @property
    def good_numbers(self) -> list[int]:
        return [row.number for row in self.good]


# Reading rows into columns


def lay_out(
    rows: Rows,
    columns: Mapping[str, frozenset[str]],
    without_heading: Callable[[Sequence[str]], Sequence[str]],
    must: str,
) -> tuple[list[Row], list[str]]:
    """Rows by column, under a heading row if there is one; notes about columns that are not used."""
    numbered = [(number, cells) for number, cells in enumerate(rows.cells, start=1) if cells]
    by_heading = {alias: name for name, aliases in columns.items() for alias in (name, *aliases)}
    headings = [by_heading.get(fold(cell), "") for cell in numbered[0][1]]
    notes: list[str] = []
    if must in headings:
        unused = [cell for cell, name in zip(numbered[0][1], headings, strict=True) if cell and not name]
        notes = [f"The column “{cell}” is not used." for cell in unused]
        numbered = numbered[1:]
    else:
        headings = []
    laid_out: list[Row] = []
    for number, cells in numbered:
        names = headings or without_heading(cells)
        row = Row(number, dict.fromkeys(columns, ""))
        for name, cell in zip(names, cells, strict=False):
            if name:
                row.given[name] = cell
        if len(cells) > len(names):
            row.problems.append(
                f"{len(cells)} cells where {len(names)} are known: put “quotes” around a name with a comma in it."
            )
        row.problems += [
            f"The cell “{name}” holds a formula: type its value instead, or paste the sheet as values."
            for name, cell in row.given.items()
            if cell.startswith("=")
        ]
        row.problems += [
            f"The cell “{name}” holds the spreadsheet error {cell}: type its value instead."
            for name, cell in row.given.items()
            if re.fullmatch(r"#(N/A|REF!|VALUE!|NAME\?|DIV/0!|NUM!|NULL!)", cell)
        ]
        laid_out.append(row)
    return laid_out, notes


def _team_cells(cells: Sequence[str]) -> Sequence[str]:
    """Without a heading: number, team, head cook, home, categories; or the same without the number."""
    names = list(TEAM_COLUMNS)
    return names if re.fullmatch(r"[-+]?[\d.]*", cells[0]) else names[1:]


def _whole(row: Row, column: str, lowest: int, highest: int) -> int | None:
    text = row.given[column]
    if not text or text.startswith("="):
        return None
    if not re.fullmatch(r"\d{1,6}", text, re.ASCII) or not lowest <= int(text) <= highest:
        row.problems.append(f"{column.capitalize()} “{text}”: type a whole number from {lowest} to {highest}.")
        return None
    return int(text)


def _check_name(row: Row, column: str, seen: dict[str, int], there: Mapping[str, str]) -> None:
    name = row.given[column]
    if not name:
        row.problems.append(f"No {column}: type the {'name' if column == 'name' else 'team’s name'}.")
        return
    if len(name) > LONGEST:
        row.problems.append(f"The name has {len(name)} characters: shorten it to {LONGEST}.")
    folded = fold(name)
    if folded in there:
        row.problems.append(there[folded])
    elif folded in seen:
        row.problems.append(f"The same name as in row {seen[folded]}: delete one of them, or make the names differ.")
    else:
        seen[folded] = row.number


def _parts(text: str) -> list[str]:
    return [part.strip() for part in re.split(r"[;,|]", text) if part.strip()]


# Teams


def check_teams(contest: Contest, rows: Rows) -> Preview:
    """Every row with its problems; changes nothing."""
    laid_out, notes = lay_out(rows, TEAM_COLUMNS, _team_cells, "team")
    there = {entry.number: entry.team.name for entry in contest.entries.select_related("team")}
    names = {fold(name): f"{name} is entered already, as number {number}." for number, name in there.items()}
    categories = {fold(text): each for each in contest.categories.all() for text in (each.key, each.name)}
    known = known_teams(contest)
    seen_names: dict[str, int] = {}
    seen_numbers: dict[int, int] = {}
    for row in laid_out:
        row.team_number = _whole(row, "number", 1, LARGEST_NUMBER)
        _check_name(row, "team", seen_names, names)
        _check_team_number(row, there, seen_numbers)
        _check_categories(row, categories)
        for column in ("head cook", "home"):
            if len(row.given[column]) > LONGEST:
                row.problems.append(f"{column.capitalize()}: shorten it to {LONGEST} characters.")
        team = known.get(fold(row.given["team"]))
        row.known_from = _last_contest(team) if team else ""
    _number_the_rest(laid_out, {*there, *seen_numbers})
    return Preview(list(TEAM_COLUMNS), laid_out, [*rows.notes, *notes])


def _check_team_number(row: Row, there: Mapping[int, str], seen: dict[int, int]) -> None:
    number = row.team_number
    if number is None:
        return
    if number in there:
        row.problems.append(f"Number {number} belongs to {there[number]} already: choose another, or leave it empty.")
    elif number in seen:
        row.problems.append(f"Number {number} stands in row {seen[number]} too: choose another, or leave it empty.")
    else:
        seen[number] = row.number


def _check_categories(row: Row, categories: Mapping[str, Category]) -> None:
    if not row.given["categories"] or row.given["categories"].startswith("="):
        return
    row.categories = []
    for part in _parts(row.given["categories"]):
        category = categories.get(fold(part))
        if category is None:
            known = ", ".join(dict.fromkeys(each.name for each in categories.values())) or "none yet"
            row.problems.append(f"There is no category “{part}”; the categories are: {known}.")
        elif category not in row.categories:
            row.categories.append(category)


def _number_the_rest(rows: Iterable[Row], taken: set[int]) -> None:
    """Rows without a number get the free ones from 1 on; good rows only, in their order."""
    free = (number for number in count(1) if number not in taken)
    for row in rows:
        if row.good and row.team_number is None:
            row.team_number = next(free)


def _last_contest(person: Team | Judge) -> str:
    rows = person.entries if isinstance(person, Team) else person.attendances
    last = rows.select_related("contest").order_by("contest__date", "pk").last()
    return last.contest.name if last else ""


# Judges


def check_judges(contest: Contest, rows: Rows) -> Preview:
    """Every row with its problems; changes nothing."""
    laid_out, notes = lay_out(rows, JUDGE_COLUMNS, lambda cells: list(JUDGE_COLUMNS), "name")
    listed = [row.judge.name for row in contest.attendances.select_related("judge")]
    names = {fold(name): f"{name} is on the list already. Two of one name? Add an initial." for name in listed}
    entries = list(contest.entries.select_related("team"))
    teams = {str(entry.number): entry.team for entry in entries} | {
        fold(entry.team.name): entry.team for entry in entries
    }
    known = known_judges(contest)
    seen: dict[str, int] = {}
    for row in laid_out:
        _check_name(row, "name", seen, names)
        row.contests_judged = _whole(row, "contests judged", 0, MOST_CONTESTS) or 0
        for part in _parts(row.given["conflicts"]) if not row.given["conflicts"].startswith("=") else []:
            team = teams.get(fold(part))
            if team is None:
                row.problems.append(
                    f"There is no team “{part}” in this contest: type its number or name, or add it first."
                )
            elif team not in row.teams:
                row.teams.append(team)
        judge = known.get(fold(row.given["name"]))
        row.known_from = _last_contest(judge) if judge else ""
    return Preview(list(JUDGE_COLUMNS), laid_out, [*rows.notes, *notes])


# Writing


class Changed(Exception):
    """What may be imported is no longer what was shown; carries the new preview."""

    def __init__(self, preview: Preview) -> None:
        super().__init__("the list changed since it was shown")
        self.preview = preview


@transaction.atomic
def import_teams(*, contest: Contest, rows: Rows, shown: Sequence[int]) -> int:
    """Enter the teams of the good rows, `shown` by their row numbers; all of them or, raising Changed, none."""
    contest = locked(contest)
    preview = check_teams(contest, rows)
    if preview.good_numbers != list(shown):
        raise Changed(preview)
    known = known_teams(contest)
    for row in preview.good:
        given = row.given
        with _said_with_its_row(row):
            add_entry(
                contest=contest,
                number=row.team_number,
                team_name=given["team"],
                head_cook=given["head cook"],
                home=given["home"],
                categories=row.categories,
                known=known,
            )
    return len(preview.good)


@transaction.atomic
def import_judges(*, contest: Contest, rows: Rows, shown: Sequence[int]) -> int:
    """Put the judges of the good rows on the list; all of them or, raising Changed, none."""
    contest = locked(contest)
    preview = check_judges(contest, rows)
    if preview.good_numbers != list(shown):
        raise Changed(preview)
    known = known_judges(contest)
    for row in preview.good:
        with _said_with_its_row(row):
            add_judge(
                contest=contest,
                name=row.given["name"],
                contests_judged=row.contests_judged,
                conflicts=row.teams,
                known=known,
            )
    return len(preview.good)


@contextmanager
def _said_with_its_row(row: Row) -> Iterator[None]:
    """A refusal that the check did not foresee names the row it comes from."""
    try:
        yield
    except ValidationError as error:
        raise ValidationError([f"Row {row.number}: {text}" for text in error.messages]) from error
