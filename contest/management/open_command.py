"""Lists an open command in ``manage.py help``; manage.py itself runs it before Django is set up."""

import sys
from argparse import ArgumentParser
from types import ModuleType
from typing import Any

from django.core.management.base import BaseCommand


class OpenCommand(BaseCommand):
    """The command of `module`, which has a DESCRIPTION, a parser() and a main(arguments) → exit status."""

    module: ModuleType
    requires_system_checks: list[str] = []

    @property
    def help(self) -> str:  # type: ignore[override]  # Django only reads it
        return self.module.DESCRIPTION

    # The command's own parser, not Django's kind of parser: its options are the command's alone.
    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> ArgumentParser:  # type: ignore[override]
        return self.module.parser()

    def run_from_argv(self, argv: list[str]) -> None:
        sys.exit(self.module.main(argv[2:]))
