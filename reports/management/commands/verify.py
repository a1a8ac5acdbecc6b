"""Lists the open command in Django's ``help``; `contest.commandline` runs it before Django is set up."""

import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from reports import verify_cli


class Command(BaseCommand):
    help = verify_cli.DESCRIPTION
    requires_system_checks: list[str] = []

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> ArgumentParser:  # type: ignore[override]
        return verify_cli.parser()

    def run_from_argv(self, argv: list[str]) -> None:
        sys.exit(verify_cli.main(argv[2:]))
