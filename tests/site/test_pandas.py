"""pandas loads where cards are grouped; no page of the desk or a judge and no command at the field waits for it."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.running import close_and_publish, run_day

ROOT = Path(__file__).resolve().parents[2]
PAGES = """
import sys
from contest.config.wsgi import application  # loads what the server loads
from django.urls import get_resolver
get_resolver().namespace_dict  # reads all addresses, and with them all views
import reports.paper.tasks, reports.season.work  # and its worker
print("reports.season.views.season" in sys.modules, "pandas" in sys.modules)
"""
COMMAND = """
import sys
from contest.commandline import main
status = main()
print(status, "pandas" in sys.modules)
"""
TURNINS = ["--turnins", "fixtures/example-cook-off/turnins.csv"]
RULES = ["--rules", "contest/rules/ruleset/sets/taste-double.toml"]


def run(code: str, *arguments: str) -> str:
    """The last line that a fresh interpreter prints."""
    command = [sys.executable, "-c", code, *arguments]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()[-1]


def test_pages_of_the_site_load_without_pandas(monkeypatch):
    monkeypatch.setenv("DJANGO_SETTINGS_MODULE", "contest.config.settings")
    assert run(PAGES) == "True False"
    assert run(PAGES.replace("reports.season.work", "reports.season.fits")) == "True True", "the fit does load it"


@pytest.mark.parametrize(
    "arguments",
    [
        ["tally", "fixtures/example-cook-off/cards.csv", *TURNINS, *RULES],
        ["draw", "--teams", "12", "--tables", "2", "--categories", "3", "--seed", "x"],
    ],
    ids=["tally", "draw"],
)
def test_open_commands_run_without_pandas(arguments):
    assert run(COMMAND, *arguments) == "0 False"


@pytest.mark.django_db
def test_verify_checks_a_package_without_pandas(tmp_path):
    package = tmp_path / "package.zip"
    package.write_bytes(close_and_publish(run_day()).publications.get().package)
    assert run(COMMAND, "verify", str(package)) == "0 False"
