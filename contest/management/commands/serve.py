"""`manage.py serve`: the site at a real field, on this machine's own network."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from contest import serving
from contest.tasks import upkeep

ADDRESS_CHANGED = """
************************************************************************
  THE ADDRESS HAS CHANGED
  last time: {before}
  now:       {now}

  A phone keeps cards it has not sent yet under the address where they
  were marked. Under the new address they are not seen, but not lost:
  get the old address back (give this machine a fixed address in the
  router, then start again), open it on those phones, and let them send.
  Printed sign-in slips with a QR code lead to the old address as well.
************************************************************************
"""


class Command(BaseCommand):
    help = "Run the site for everybody on this machine's network, with its background worker."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port to listen on (default 8000)")
        parser.add_argument("--loopback", action="store_true", help="answer this machine only")
        parser.add_argument(
            "--host", action="append", default=[], metavar="NAME", help="a further name or address the site answers to"
        )
        parser.add_argument(
            "--no-worker",
            action="store_true",
            help="for a second server on the same database: the first has the worker",
        )

    def handle(self, *, port: int, loopback: bool, host: list[str], no_worker: bool, **options: Any) -> None:
        if settings.DEBUG:
            raise CommandError("FAIRBOX_DEBUG=1 shows visitors the inside of the site. Unset it, then serve.")
        if not 1 <= port <= 65535:
            raise CommandError(f"--port {port}: a port is a number from 1 to 65535, for example 8000.")
        listen = "127.0.0.1" if loopback else "0.0.0.0"  # noqa: S104  (phones at the field are meant to reach it)
        addresses = [] if loopback else serving.own_addresses()
        try:
            serving.check_port(listen, port)
            call_command("migrate", interactive=False, verbosity=0)
            serving.allow_hosts([*addresses, *host])
            if not no_worker:
                upkeep.enqueue()
            serving.run(
                host=listen,
                port=port,
                say=self.say,
                ready=lambda: self.greet([*host, *addresses], port, loopback),
                worker=not no_worker,
            )
        except serving.CannotServe as error:
            raise CommandError(str(error)) from error

    def say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()

    def greet(self, names: list[str], port: int, loopback: bool) -> None:
        self.say(f"Data folder:      {settings.DATA_DIR}")
        self.say(f"On this machine:  http://127.0.0.1:{port}/")
        if loopback:
            self.say("Nobody else can reach it. End with Ctrl-C.")
            return
        if not names:
            self.say("No network found: phones cannot reach this machine. Join the field's Wi-Fi, then start again.")
            return
        scheme, tail = ("https", "") if settings.HTTPS else ("http", f":{port}")
        address = f"{scheme}://{names[0]}{tail}/"
        self.say(f"On the network:   {address}")
        for other in names[1:]:
            self.say(f"          also:   {scheme}://{other}{tail}/")
        try:
            self.say(serving.qr_text(address))
        except UnicodeEncodeError:  # a terminal that cannot draw blocks
            self.say("(This terminal cannot draw the QR code. Type the address.)")
        before = serving.changed_address(settings.DATA_DIR / "address.txt", address)
        if before is not None:
            self.say(self.style.WARNING(ADDRESS_CHANGED.format(before=before, now=address)))
        self.say("Whoever is on this network can read what passes over it. End with Ctrl-C.")
