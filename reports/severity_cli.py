"""The open command ``severity``: fit the crossed model to any CSV file, print the fit as JSON.

Needs no database, no settings and no writable folder. On bad input one line on standard error, nothing on standard
output, exit status 2.
"""

import argparse
import json
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import isfinite
from typing import TYPE_CHECKING

from contest.cli import Parser, UsageError, print_problem, print_result, read_rules
from contest.rules.csvfile import CsvError, CsvFile, CsvRow, load
from contest.rules.ruleset import RuleSet
from contest.rules.say import listed
from judging.rules.scale import MarkError, parse_mark

if TYPE_CHECKING:  # numpy and scipy take longer to import than --help may last
    from reports.rules.severity.model import Fit

DESCRIPTION = "Fit a linear mixed model with crossed random effects to a CSV file: whose doing a mark was."
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")


@dataclass(slots=True)
class _Table:
    """What of the file the model takes: scores, and each term's level by row."""

    scores: list[float] = field(default_factory=list)
    levels: dict[str, list[str]] = field(default_factory=dict)
    left_out: int = 0


def parser() -> argparse.ArgumentParser:
    """Make the command's arguments, for the command itself and for Django's ``help severity``."""
    made = Parser("severity", DESCRIPTION)
    made.add_argument("file", metavar="FILE.csv", help="one row a score; columns that are not named are passed over")
    made.add_argument("--score", metavar="COLUMN", help="the column of scores; rows where it is empty are left out")
    made.add_argument(
        "--random",
        required=True,
        metavar="team,judge,contest:table",
        help="columns whose levels have random effects; a:b is the interaction of two",
    )
    made.add_argument(
        "--fixed", metavar="contest:category", help="the column or interaction whose cells have fixed means"
    )
    made.add_argument("--rules", metavar="RULES.toml", help="the score is the card's weighted mark by this rule set")
    return made


def main(arguments: Sequence[str]) -> int:
    """Run the command; the exit status."""
    try:
        options = parser().parse_args(arguments)
        found, left_out, note = run(options)
    except (UsageError, CsvError) as error:
        print_problem(error)
        return 2
    for line in [note, *_notes(found)]:
        if line:
            print(line, file=sys.stderr)
    text = json.dumps(to_json(found, left_out), ensure_ascii=False, allow_nan=False, indent=1)
    print_result(text + "\n")
    return 0


def run(options: argparse.Namespace) -> "tuple[Fit, int, str | None]":
    """The fit, the number of rows left out, and the note on the file's reading. Raises UsageError or CsvError."""
    random = _terms("--random", options.random)
    fixed = _terms("--fixed", options.fixed) if options.fixed is not None else {}
    if len(fixed) > 1:
        raise UsageError(f"--fixed {options.fixed}: one column or interaction; write {':'.join(fixed)} for its cells")
    for name in fixed:
        if name in random:
            raise UsageError(f"--fixed {name}: it is in --random too; name it in one of them")
    rules = _rules(options)
    marks = [criterion.key for criterion in rules.criteria] if rules else [options.score]
    terms = random | fixed
    columns = list(dict.fromkeys([*(column for each in terms.values() for column in each), *marks]))
    file = load(options.file, columns, others=True)
    table = _read(file, terms, marks, _weighted(rules) if rules else _score(options.score))
    if not table.scores:
        raise CsvError(options.file, f"no row has a score; fill {listed(marks)}", row=2)
    return _fit(options.file, table, list(random), next(iter(fixed), None)), table.left_out, file.note


def _fit(name: str, table: _Table, random: Sequence[str], fixed: str | None) -> "Fit":
    from reports.rules.severity.model import SeverityError, fit

    factors = {term: table.levels[term] for term in random}
    try:
        return fit(table.scores, factors, fixed=table.levels[fixed] if fixed else None)
    except SeverityError as error:
        raise UsageError(f"{name}: {error}") from None


def _terms(option: str, given: str) -> dict[str, tuple[str, ...]]:
    """Term, as it will be named in the answer → its columns."""
    terms: dict[str, tuple[str, ...]] = {}
    for item in given.split(","):
        columns = tuple(column.strip() for column in item.split(":"))
        if not all(columns):
            raise UsageError(f"{option} {given}: a name is missing; write for example team,judge,contest:table")
        if len(set(columns)) < len(columns):
            raise UsageError(f"{option} {item.strip()}: a column is named twice; name each once")
        if any(set(columns) == set(other) for other in terms.values()):
            raise UsageError(f"{option} {item.strip()}: named twice; name each once")
        if columns == ("residual",):
            raise UsageError(f"{option} residual: the answer has a residual of its own; rename the column")
        terms[":".join(columns)] = columns
    return terms


def _rules(options: argparse.Namespace) -> RuleSet | None:
    if options.rules is None:
        if not (options.score or "").strip():
            raise UsageError("severity: no score; give --score COLUMN, or --rules RULES.toml for weighted marks")
        options.score = options.score.strip()
        return None
    if options.score is not None:
        raise UsageError("severity: --score and --rules each say what the score is; give one of them")
    return read_rules(options.rules)


def _read(
    file: CsvFile, terms: dict[str, tuple[str, ...]], marks: Sequence[str], score: Callable[[CsvRow], float]
) -> _Table:
    table = _Table(levels={term: [] for term in terms})
    made_of: dict[tuple[str, str], tuple[str, ...]] = {}
    for row in file.rows:
        if not any(row.cells[column] for column in marks):
            table.left_out += 1
            continue
        table.scores.append(score(row))
        for term, columns in terms.items():
            values = tuple([row.cells[column] or row.filled(column) for column in columns])
            level = ":".join(values)
            if len(columns) > 1 and made_of.setdefault((term, level), values) != values:
                raise row.error(columns[0], f"two pairs of {term} are both called {level}; leave out the colons")
            table.levels[term].append(level)
    return table


def _score(column: str) -> Callable[[CsvRow], float]:
    def read(row: CsvRow) -> float:
        text = row.cells[column]
        number = float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else float("nan")
        if not isfinite(number):
            raise row.error(column, f"“{text[:30]}” is not a number; type one, or empty the cell to leave the row out")
        return number

    return read


def _weighted(rules: RuleSet) -> Callable[[CsvRow], float]:
    known: dict[tuple[str, str], float] = {}

    def read(row: CsvRow) -> float:
        total = 0.0
        for criterion in rules.criteria:
            text = row.cells[criterion.key]
            part = known.get((criterion.key, text))
            if part is None:
                try:
                    mark = parse_mark(text, rules, criterion.key, penalty=True)
                except MarkError as error:
                    raise row.error(criterion.key, str(error)) from None
                part = known[criterion.key, text] = float(criterion.weight * mark)
            total += part
        return total

    return read


def to_json(found: "Fit", left_out: int) -> dict[str, object]:
    """The fit as the command's JSON values; levels and fixed cells by name, in the order of the file."""

    def pairs(listed_: dict[str, tuple[float, float]]) -> dict[str, dict[str, float]]:
        return {str(level): {"estimate": estimate, "se": error} for level, (estimate, error) in listed_.items()}

    return {
        "observations": found.observations,
        "left_out": left_out,
        "reml_criterion": found.reml_criterion,
        "variances": found.variances | {"residual": found.residual},
        "fixed": pairs(found.fixed),
        "effects": {name: pairs(levels) for name, levels in found.effects.items()},
        "at_boundary": list(found.at_boundary),
        "connected": found.connected,
    }


def _notes(found: "Fit") -> list[str]:
    notes = []
    if found.at_boundary:
        notes.append(f"note: estimated at nought: {listed(found.at_boundary)}; their levels do not differ measurably")
    if not found.connected:
        parts = 1 + max(part for levels in found.components.values() for part in levels.values())
        notes.append(f"note: the levels fall into {parts} parts that nothing joins; compare within a part only")
    return notes
