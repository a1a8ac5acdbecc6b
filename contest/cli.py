"""What the open commands have in common: a parser that refuses in one line, rule sets read, a result written.

Knows no Django: the open commands start without it.
"""

import argparse
import io
import sys
from pathlib import Path
from typing import NoReturn

from contest.commandline import program
from contest.rules.ruleset import RuleSet, RuleSetError, parse


class UsageError(ValueError):
    """Wrong arguments or input; the message is the one line to print."""


class Parser(argparse.ArgumentParser):
    """The arguments of an open command. Raises UsageError where argparse would print its usage and exit."""

    def __init__(self, command: str, description: str, epilog: str | None = None) -> None:
        super().__init__(prog=f"{program()} {command}", description=description, epilog=epilog, allow_abbrev=False)
        self._command = command

    def error(self, message: str) -> NoReturn:
        raise UsageError(f"{self._command}: {message}; see {self.prog} --help")


def print_problem(error: Exception | str) -> None:
    """What was wrong, in one line on standard error."""
    print(" ".join(str(error).split()), file=sys.stderr)


def print_result(text: str) -> None:
    """`text` on standard output as UTF-8, its line ends as they are."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(encoding="utf-8", newline="")
    sys.stdout.write(text)


def read_rules(path: str) -> RuleSet:
    """The rule set in a file. Raises UsageError, which names the file and what is wrong with it."""
    try:
        return parse(Path(path).read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise UsageError(f"{path}: no such file; check the path") from None
    except RuleSetError as error:
        raise UsageError(f"{path}: {error}") from None
    except UnicodeDecodeError:
        raise UsageError(f"{path}: not UTF-8 text; save it as UTF-8") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else error
        raise UsageError(f"{path}: cannot be read ({reason}); check the path and its permissions") from None
