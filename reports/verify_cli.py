"""The open command ``verify``: does a results package hold?

Exit status 0 where everything holds, 1 where something does not, 2 for a missing path or wrong usage.
"""

import argparse
from collections.abc import Sequence
from pathlib import Path

from contest.cli import Parser, UsageError, print_problem
from contest.rules.draw.commitment import read_sum
from reports.rules.package.archive import PackageError, load
from reports.rules.package.verify import UNPROVEN, verify

DESCRIPTION = "Check a results package: its files, the draw, the names, the logs, and the standings by a fresh tally."


def parser() -> argparse.ArgumentParser:
    """Make the command's arguments, for the command itself and for Django's ``help verify``."""
    epilog = "A value F noted on the day: all 64 hex digits, or the short form, the first 20 in five groups of four."
    made = Parser("verify", DESCRIPTION, epilog)
    made.add_argument("package", metavar="PACKAGE", help="the zip, or the folder it was unpacked to")
    made.add_argument("--draw", metavar="F", type=_noted, help="the draw's fingerprint")
    made.add_argument("--log", metavar="F", type=_noted, help="the head of a log, at its end or earlier that day")
    made.add_argument("--sum", metavar="F", type=_noted, help="the package's sum, the SHA-256 of its SHA256SUMS")
    return made


def main(arguments: Sequence[str]) -> int:
    """Run the command; the exit status."""
    try:
        options = parser().parse_args(arguments)
        files = load(Path(options.package))
    except UsageError as error:
        print_problem(error)
        return 2
    except FileNotFoundError:
        print_problem(f"{options.package}: no such file or folder; check the path")
        return 2
    except PackageError as error:
        print(f"FAILS  {options.package} {error}.")
        return 1
    findings = verify(files, draw=options.draw, log=options.log, whole=options.sum)
    for finding in findings:
        print(f"{'holds' if finding.holds else 'FAILS'}  {finding.text}")
    if not (options.draw or options.log or options.sum):
        print(f"note   {UNPROVEN}")
    return 0 if all(finding.holds for finding in findings) else 1


def _noted(typed: str) -> str:
    try:
        return read_sum(typed)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"“{typed}”: {error}") from None
