"""The open command ``verify``: does a results package hold?

Exit status 0 where everything holds, 1 where something does not, 2 for a missing path or wrong usage.
"""

import argparse
import re
from collections.abc import Sequence
from pathlib import Path

from contest.cli import Parser, UsageError, print_problem
from reports.rules.package import PackageError, load
from reports.rules.verify import verify

DESCRIPTION = "Verify a results package: file sums, the draw, the logs, and the standings by a fresh tally."


def parser(prog: str = "manage.py verify") -> argparse.ArgumentParser:
    """The command's arguments, for the command itself and for ``manage.py help verify``."""
    made = Parser("verify", prog=prog, description=DESCRIPTION)
    made.add_argument("package", metavar="PACKAGE", help="the zip, or the folder it was unpacked to")
    made.add_argument("--draw", metavar="HEX", help="the draw's fingerprint as printed on the day")
    made.add_argument("--log", metavar="HEX", help="the head of a log as printed on the day")
    return made


def main(arguments: Sequence[str]) -> int:
    """Run the command; the exit status."""
    try:
        options = parser().parse_args(arguments)
        for name in ("draw", "log"):
            _check_sum(name, getattr(options, name))
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
    findings = verify(files, draw=options.draw, log=options.log)
    for finding in findings:
        print(f"{'holds' if finding.holds else 'FAILS'}  {finding.text}")
    if all(finding.holds for finding in findings):
        if options.draw is None:
            print("note   Without --draw a forger could have drawn anew: give the fingerprint printed on the day.")
        return 0
    return 1


def _check_sum(name: str, given: str | None) -> None:
    if given is not None and not re.fullmatch(r"\s*[0-9a-fA-F]{64}\s*", given):
        raise UsageError(f"--{name} {given}: not 64 hex digits; type the whole of what was printed")
