"""`manage.py demo`: an invented season to look around in, in a data folder of its own, for this machine only."""

import time
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from contest import serving
from contest.commandline import program
from reports.demo import build


class Command(BaseCommand):
    help = "Show an invented season of six contests on this machine; kept from one start to the next."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port to listen on (default 8000)")
        parser.add_argument("--fresh", action="store_true", help="throw the demo's data away and start over")
        parser.add_argument("--build-only", action="store_true", help="build the season and end")

    def handle(self, *, port: int, fresh: bool, build_only: bool, **options: Any) -> None:
        # `keep_demo_apart` chose the folder before anything was read: no option of the demo can reach a real contest.
        if settings.DATA_DIR.name != "demo" or connection.vendor != "sqlite":
            raise CommandError(f"The demo keeps its data in a folder of its own. Start it as: {program()} demo")
        try:
            if not build_only:
                serving.check_port("127.0.0.1", port)
            if fresh:
                self.throw_away()
            self.build()
        except serving.CannotServe as error:
            raise CommandError(str(error)) from error
        except KeyboardInterrupt:
            raise CommandError("Broken off. Nothing half-built was kept.") from None
        if not build_only:
            self.introduce(port)
            call_command("serve", port=port, loopback=True, stdout=self.stdout, stderr=self.stderr)

    def throw_away(self) -> None:
        connection.close()
        for ending in ("", "-wal", "-shm"):
            (settings.DATA_DIR / f"fairbox.sqlite3{ending}").unlink(missing_ok=True)

    def build(self) -> None:
        call_command("migrate", interactive=False, verbosity=0)
        if build.is_built():
            self.say(f"The season is kept as it was left. {build.how_late()} --fresh starts it over.")
            return
        self.say("Building an invented season:")
        started = time.monotonic()
        build.build(self.say)
        build.work_out(self.say)
        self.say(f"Built in {time.monotonic() - started:.0f} s. The five published results are the real tally's.")

    def introduce(self, port: int) -> None:
        self.say("\nSign in as (each link signs out whoever was signed in before; a private window keeps two apart):")
        for who, word in build.sign_ins():
            self.say(f"  {who + ':':24} http://127.0.0.1:{port}/in/#{word}")
        self.say("")

    def say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()
