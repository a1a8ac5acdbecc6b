"""The open command ``tally``: CSV files and rule sets in, the result as JSON or CSV out.

Needs no database, no settings and no writable folder. On bad input one line on standard error, nothing on standard
output, exit status 2.
"""

import argparse
import json
import sys
from collections.abc import Sequence

from contest.cli import Parser, UsageError, print_problem, print_result, read_rules
from contest.rules.csvfile import CsvError, load
from contest.rules.ruleset import RuleSet
from contest.rules.say import listed
from judging.rules.contest_files import TURNIN_COLUMNS, ContestFiles, card_columns
from judging.rules.tally import LotNeeded, Tally, tally, to_json
from judging.rules.tally_csv import result_csv
from judging.rules.workings import ignored_text

DESCRIPTION = "Tally a contest from a file of cards: exact totals, ranks, dropped cards and what broke each tie."


def parser() -> argparse.ArgumentParser:
    """Make the command's arguments, for the command itself and for Django's ``help tally``."""
    made = Parser("tally", DESCRIPTION)
    made.add_argument("cards", metavar="CARDS.csv", help="category,box,table,seat,<a column per criterion>[,team]")
    made.add_argument("--rules", required=True, metavar="RULES.toml", help="the contest's rule set")
    made.add_argument(
        "--rules-for",
        action="append",
        default=[],
        metavar="CATEGORY=RULES.toml",
        help="a category's own rule set; may be given for several",
    )
    made.add_argument("--turnins", metavar="TURNINS.csv", help="category,box,status[,team]; accepted where not named")
    made.add_argument("--overall", metavar="CATEGORY,…", help="the counting categories; all where not given")
    made.add_argument("--seed", metavar="TEXT", help="the text that lots are drawn from")
    made.add_argument("--format", choices=("json", "csv"), default="json", help="json where not given")
    return made


def main(arguments: Sequence[str]) -> int:
    """Run the command; the exit status."""
    try:
        options = parser().parse_args(arguments)
        result, notes = run(options)
        text = _FORMATS[options.format](result)
    except (UsageError, CsvError) as error:
        print_problem(error)
        return 2
    for note in notes:
        print(note, file=sys.stderr)
    print_result(text)
    return 0


def run(options: argparse.Namespace) -> tuple[Tally, list[str]]:
    """The tally and the notes for standard error. Raises UsageError or CsvError."""
    contest = read_rules(options.rules)
    own = _rules_for(options.rules_for)
    counting = _named(options.overall)
    files = ContestFiles(contest, own, counting or ())
    cards = load(options.cards, card_columns(own, contest), ("team",))
    files.add_cards(cards)
    notes = [cards.note]
    if options.turnins is not None:
        turnins = load(options.turnins, TURNIN_COLUMNS, ("team",))
        files.add_turnins(turnins)
        notes.append(turnins.note)
    if not files.drafts:
        raise CsvError(options.cards, "no cards; add a row for each card", row=2)
    boxes = files.boxes()
    for category in own:
        _check_category("--rules-for", category, files.categories)
    overall = _overall(counting, files)
    try:
        result = tally(
            {category: files.rules(category) for category in files.categories},
            boxes,
            overall=overall,
            seed=_seed(options.seed),
            overall_rules=contest,
        )
    except LotNeeded as error:
        raise UsageError(f"{options.cards}: {error}; give --seed TEXT for the lot") from None
    return result, [note for note in notes if note] + [f"note: {ignored_text(entry)}" for entry in result.warnings]


def _rules_for(given: Sequence[str]) -> dict[str, RuleSet]:
    rules: dict[str, RuleSet] = {}
    for item in given:
        category, sign, path = item.partition("=")
        category = category.strip()
        if not (category and sign and path):
            raise UsageError(f"--rules-for {item}: write CATEGORY=RULES.toml, for example dessert=OTHER.toml")
        if category in rules:
            raise UsageError(f"--rules-for {item}: {category} has rules already; give one for each category")
        rules[category] = read_rules(path)
    return rules


def _check_category(option: str, category: str, categories: Sequence[str]) -> None:
    if category not in categories:
        raise UsageError(f"{option} {category}: no such category in the files; there is {listed(categories)}")


def _named(given: str | None) -> list[str] | None:
    """The categories that --overall names; None where it is not given."""
    if given is None:
        return None
    return list(dict.fromkeys(category.strip() for category in given.split(",") if category.strip()))


def _overall(chosen: list[str] | None, files: ContestFiles) -> list[str] | None:
    if chosen is None:
        return files.categories if files.has_teams else None
    if not files.has_teams:
        raise UsageError("--overall ranks teams, and the files name none; add a column team")
    if not chosen:
        raise UsageError(f"--overall names no category; write for example {','.join(files.categories)}")
    for category in chosen:
        _check_category("--overall", category, files.categories)
    return chosen


def _seed(given: str | None) -> str | None:
    try:
        (given or "").encode()
    except UnicodeEncodeError:
        raise UsageError("--seed: not UTF-8 text; type it again") from None
    return given


def _json(result: Tally) -> str:
    return json.dumps(to_json(result), ensure_ascii=False, indent=1) + "\n"


_FORMATS = {"json": _json, "csv": result_csv}
