"""The process dies at every step of everything that is written: nothing is half there. See `power_cut`."""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.db import connection

from tests.reports.backups import Home, Homes

pytestmark = pytest.mark.django_db(transaction=True)

#: What must be among the steps at which each act was broken off: a run that meets fewer has tested nothing.
STEPS = {
    "draw": {"INSERT contest_draw", "INSERT contest_box", "INSERT contest_pairing", "INSERT contest_logrow"},
    "redraw": {"UPDATE contest_draw", "INSERT contest_draw", "INSERT contest_box", "INSERT contest_pairing"},
    "new pass": {"UPDATE contest_pass", "INSERT contest_pass", "INSERT contest_logrow"},
    "turn-in": {"UPDATE contest_turnin", "INSERT contest_turnin", "INSERT contest_logrow", "UPDATE contest_logchain"},
    "undo": {"UPDATE contest_turnin", "INSERT contest_turnin", "INSERT contest_logrow"},
    "labels": {"INSERT contest_labelcorrection", "INSERT contest_turnin", "INSERT contest_logrow"},
    "hand-in": {"INSERT judging_card", "INSERT judging_reading", "INSERT judging_mark", "INSERT contest_logrow"},
    "correction": {"UPDATE judging_reading", "INSERT judging_reading", "INSERT judging_mark"},
    "phone": {"INSERT judging_card", "INSERT judging_reading", "INSERT judging_mark", "INSERT contest_logrow"},
    "ruling": {"INSERT judging_ruling", "INSERT contest_logrow"},
    "seal": {"UPDATE contest_contest", "INSERT contest_logrow"},
    "close": {"INSERT judging_tally", "UPDATE contest_contest", "INSERT contest_logrow"},
    "publish": {"INSERT reports_publication", "UPDATE contest_contest", "INSERT contest_logrow"},
}
ON_DISK = {
    "backup": {"copyfileobj", "fsync", "replace", "unlink"},
    "restore": {"copyfileobj", "fsync", "link", "replace", "unlink"},
}


@pytest.fixture
def home(tmp_path: Path) -> Iterator[Home]:
    homes = Homes(tmp_path)
    yield homes.empty()
    homes.close()


def run(home: Home, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tests.load.power_cut", *arguments], env=home.env, capture_output=True, text=True
    )


def test_a_process_that_dies_at_any_step_leaves_nothing_half_done(home: Home) -> None:
    ran = run(home)
    assert ran.returncode == 0, ran.stderr
    found = {act["act"]: act["steps"] for act in map(json.loads, ran.stdout.splitlines())}
    on_sqlite = connection.vendor == "sqlite"
    assert set(found) == set(STEPS) | (set(ON_DISK) if on_sqlite else set())
    for act, steps in STEPS.items():
        assert steps <= set(found[act]), act
        assert {"commit", "committed"} <= set(found[act]), act
    for act, steps in ON_DISK.items() if on_sqlite else ():
        assert steps <= set(found[act]), act
    # The backup is asked for in the closing itself: there is no moment in which one holds without the other.
    for act in ("close", "publish") if on_sqlite else ():
        asked = found[act].index("INSERT django_tasks_database_dbtaskresult")
        assert asked < found[act].index("commit")


def test_the_search_finds_an_act_that_is_no_transaction(home: Home) -> None:
    ran = run(home, "--planted")
    assert ran.returncode == 1
    assert "planted, dead at step" in ran.stderr
