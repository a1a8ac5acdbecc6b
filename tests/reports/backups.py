"""A contest in a database of its own, for tests that copy, break and replace whole databases."""

import hashlib
import json
import shutil
import subprocess
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from django.db import connection

from tests.site.served import command, environment

MADE = """
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.factories import give_part
from tests.running import close_and_publish, run_day
contest = run_day()
give_part(contest, "organiser")
close_and_publish(contest)
"""

#: What a restored database must give again: every place, and the rows of both log chains.
TOLD = """
import json
from contest.models import LogRow
from contest.services.passes import word_of
from contest.models import Pass
from judging.models import Tally
from reports.models import Publication
tally = Tally.objects.get()
print("TOLD", json.dumps({
    "places": [
        [group["key"], [[box["rank"], box["team"], box["total"]] for box in group["boxes"]]]
        for group in tally.outcome["categories"]
    ] + [[row["rank"], row["team"], row["total"]] for row in tally.outcome["overall"]],
    "log": [list(row) for row in LogRow.objects.order_by("chain__name", "number").values_list(
        "chain__name", "number", "at", "what", "facts", "previous", "hash")],
    "heads": dict(Publication.objects.get().log_heads),
    "package": Publication.objects.values_list("package_sum", flat=True).get(),
    "words": sorted(word_of(held) for held in Pass.objects.all()),
}))
"""


@dataclass(frozen=True)
class Home:
    """A data folder; on PostgreSQL with a database of its own."""

    data: Path
    url: str = ""

    @property
    def env(self) -> dict[str, str]:
        return environment(self.data, **({"DATABASE_URL": self.url} if self.url else {}))

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(command(*arguments), env=self.env, capture_output=True, text=True, cwd=self.data)

    def done(self, *arguments: str) -> str:
        ran = self.run(*arguments)
        assert ran.returncode == 0, ran.stderr
        return ran.stdout

    def refused(self, *arguments: str) -> str:
        """The one line that it says instead."""
        ran = self.run(*arguments)
        assert ran.returncode == 1, ran.stdout
        assert "Traceback" not in ran.stderr
        (line,) = ran.stderr.splitlines()
        return line

    def shell(self, code: str) -> str:
        return self.done("shell", "-v", "0", "-c", code)

    def told(self) -> dict[str, Any]:
        return json.loads(self.shell(TOLD).split("TOLD ")[1])

    def backup(self) -> Path:
        return Path(self.done("backup").splitlines()[0])

    @property
    def database(self) -> Path:
        return self.data / "fairbox.sqlite3"


class Homes:
    """Makes homes: one with a published contest, made when it is first asked for, and copies of it; empty ones."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.number, self.databases = folder, 0, []

    @cached_property
    def first(self) -> Home:
        home = self.empty()
        home.shell(MADE)
        return home

    def empty(self) -> Home:
        return self._home(template="")

    def copy(self) -> Home:
        home = self._home(template=self.first.url)
        for name in ("fairbox.sqlite3", "secret.key"):
            if (self.first.data / name).exists():
                shutil.copy2(self.first.data / name, home.data / name)
        return home

    def _home(self, template: str) -> Home:
        self.number += 1
        data = self.folder / f"home{self.number}"
        data.mkdir()
        if connection.vendor == "sqlite":
            return Home(data)
        name = f"{connection.settings_dict['NAME']}_home{self.number}"
        self._admin(f'CREATE DATABASE "{name}"' + (f' TEMPLATE "{template.rsplit("/", 1)[1]}"' if template else ""))
        self.databases.append(name)
        held = connection.settings_dict
        who = f"{held['USER']}:{held['PASSWORD']}@" if held["PASSWORD"] else f"{held['USER']}@"
        return Home(data, f"postgres://{who}{held['HOST']}:{held['PORT'] or 5432}/{name}")

    def _admin(self, sql: str) -> None:
        with connection._nodb_cursor() as cursor:
            cursor.execute(sql)

    def close(self) -> None:
        for name in self.databases:
            self._admin(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')


def chain_holds(rows: list[list[Any]]) -> bool:
    """Rows of (chain, number, at, what, facts, previous, hash): worked out from the description of the log alone."""
    previous: dict[str, str] = {}
    counted: dict[str, int] = {}
    for chain, number, at, what, facts, before, kept in rows:
        counted[chain] = counted.get(chain, 0) + 1
        again = hashlib.sha256(f"{number}\n{at}\n{what}\n{facts}\n{before}".encode()).hexdigest()
        if number != counted[chain] or before != previous.get(chain, "0" * 64) or again != kept:
            return False
        previous[chain] = kept
    return len(previous) == 2
