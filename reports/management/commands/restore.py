"""`manage.py restore`: a backup put back, while the site is not served."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from contest.commandline import program
from reports.backup.archive import BackupError
from reports.backup.restore import restore


class Command(BaseCommand):
    help = "Put a backup in place of what is here, which is kept aside; end the site first."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", help=f"a file that {program()} backup made")
        parser.add_argument("--replace", action="store_true", help="although there is a contest or an account here")

    def handle(self, *, file: str, replace: bool, **options: Any) -> None:
        try:
            done = restore(Path(file), replace=replace)
        except BackupError as error:
            raise CommandError(str(error)) from error
        call_command("migrate", interactive=False, verbosity=0)
        if done.aside is not None:
            self.stdout.write(f"What was here is kept: {done.aside}")
        for note in done.notes:
            self.stdout.write(self.style.WARNING(note))
        self.stdout.write("Restored and checked: the same rows, and every log as it was.")
