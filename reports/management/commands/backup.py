"""`manage.py backup`: everything in one file, while the site is in use."""

from argparse import ArgumentParser
from datetime import UTC, datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from reports.backup.archive import BackupError
from reports.backup.make import make, target_of


class Command(BaseCommand):
    help = "Write everything (database and secret key) to one file and read it back; the site may be in use."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "where", nargs="?", default="", help="a folder, or the file to write; default: backups in the data folder"
        )

    def handle(self, *, where: str, **options: Any) -> None:
        try:
            made = make(target_of(where, now=datetime.now(UTC)))
        except BackupError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{made}\nWritten, read back, and the same as the database. It opens every door: guard it.")
