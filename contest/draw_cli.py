"""The open command ``draw``: a blind draw as CSV on standard output, its quality on standard error.

Needs no database, no settings and no writable folder. On bad input one line on standard error, nothing on standard
output, exit status 2.
"""

import argparse
import csv
import io
import secrets
import sys
from collections.abc import Sequence

from contest.cli import Parser, UsageError, print_problem, print_result
from contest.rules.csvfile import CsvError, CsvRow, load
from contest.rules.draw import DrawRefused, DrawRequest, Quality, draw_from_seed

DESCRIPTION = "Draw teams to tables, blind and balanced: who is judged where, when, and under which box number."
COLUMNS = ("category", "box", "table", "position", "team")
_MOST = 999


def parser() -> argparse.ArgumentParser:
    """Make the command's arguments, for the command itself and for Django's ``help draw``."""
    made = Parser("draw", DESCRIPTION)
    made.add_argument("--teams", required=True, type=_count, metavar="N", help="teams, numbered from 1")
    made.add_argument("--tables", required=True, type=_count, metavar="N", help="tables, numbered from 1")
    made.add_argument("--categories", required=True, type=_count, metavar="N", help="categories, numbered from 1")
    made.add_argument("--seed", metavar="TEXT", help="the same text gives the same draw; a random one where not given")
    made.add_argument("--skips", metavar="FILE", help="CSV team,category: who does not enter what")
    made.add_argument("--conflicts", metavar="FILE", help="CSV team,table: who must not be judged where")
    return made


def main(arguments: Sequence[str]) -> int:
    """Run the command; the exit status."""
    try:
        options = parser().parse_args(arguments)
        seed = secrets.token_hex(32) if options.seed is None else options.seed
        if "\udc80" <= max(seed, default="") <= "\udcff":
            raise UsageError("draw: argument --seed: not UTF-8 text; give other characters")
        result = draw_from_seed(request_from(options), seed)
    except (UsageError, CsvError) as error:
        print_problem(error)
        return 2
    except DrawRefused as error:
        print_problem(f"draw: {error}")
        return 2
    if options.seed is None:
        print(f"seed: {seed}", file=sys.stderr)
    for line in quality_lines(result.quality):
        print(line, file=sys.stderr)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows((p.category, p.box, p.table, p.position, p.team) for p in result.placed)
    print_result(text.getvalue())
    return 0


def request_from(options: argparse.Namespace) -> DrawRequest:
    """The request that the arguments and files describe. Raises CsvError."""
    teams, tables = range(1, options.teams + 1), range(1, options.tables + 1)
    categories = tuple(str(number) for number in range(1, options.categories + 1))
    skipped: set[tuple[int, int]] = set()
    if options.skips is not None:
        for row in load(options.skips, ("team", "category")).rows:
            pair = _number(row, "team", options.teams), _number(row, "category", options.categories)
            _add(skipped, pair, row, "category")
    forbidden: set[tuple[int, int]] = set()
    if options.conflicts is not None:
        for row in load(options.conflicts, ("team", "table")).rows:
            pair = _number(row, "team", options.teams), _number(row, "table", options.tables)
            _add(forbidden, pair, row, "table")
    return DrawRequest(
        categories=categories,
        entries={key: tuple(team for team in teams if (team, int(key)) not in skipped) for key in categories},
        tables={key: tuple(tables) for key in categories},
        forbidden=frozenset(forbidden),
    )


def quality_lines(quality: Quality) -> list[str]:
    """The quality figures, one a line, and the plain sentence."""
    return [
        f"repeats: {quality.repeats} (least possible {quality.least_repeats})",
        f"largest concurrence: {quality.largest_concurrence}",
        f"E_A: {_figure(quality.e_a)} (bound {_figure(quality.e_a_bound)})",
        f"E_B: {_figure(quality.e_b)} (bound {_figure(quality.e_b_bound)})",
        quality.sentence,
    ]


def _figure(value: float | None) -> str:
    return "none" if value is None else f"{value:.4f}"


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 9 and 1 <= int(text) <= _MOST):
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 1 to {_MOST}")
    return int(text)


def _number(row: CsvRow, column: str, most: int) -> int:
    text = row.filled(column)
    if not (text.isascii() and text.isdigit() and len(text) <= 9 and 1 <= int(text) <= most):
        raise row.error(column, f"{text!r} is no {column} of this draw; give a whole number from 1 to {most}")
    return int(text)


def _add(pairs: set[tuple[int, int]], pair: tuple[int, int], row: CsvRow, column: str) -> None:
    if pair in pairs:
        raise row.error(column, f"team {pair[0]} with {column} {pair[1]} is there twice; delete one")
    pairs.add(pair)
