"""Starts every command, for manage.py and for the installed `fairbox`.

The open commands need no database and no settings, so they start without Django.
"""

import os
import sys
from importlib import import_module
from pathlib import Path

from contest.config.installation import data_folder, is_checkout

# Command -> module with main(arguments) -> exit status. Nothing that these import may import Django.
OPEN_COMMANDS = {
    "draw": "contest.draw_cli",
    "severity": "reports.severity_cli",
    "tally": "judging.tally_cli",
    "verify": "reports.verify_cli",
}


def main() -> int:
    """Run the command that `sys.argv` names; the exit status."""
    # Linear algebra by one thread: on a laptop that also serves, threads that wait for each other cost ten times as
    # much.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if len(sys.argv) > 1 and sys.argv[1] in OPEN_COMMANDS:
        command = import_module(OPEN_COMMANDS[sys.argv[1]])
        return int(command.main(sys.argv[2:]))
    if sys.argv[1:] == ["--version"]:  # Django would name its own
        print(f"Fairbox {version()}")
        return 0
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "contest.config.settings")
    if sys.argv[1:2] == ["demo"]:
        keep_demo_apart()
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        print("Django is not installed for this Python. In a checkout, run .venv/bin/python manage.py", file=sys.stderr)
        return 1
    execute_from_command_line(sys.argv)
    return 0


def keep_demo_apart() -> None:
    """Give the demo a data folder of its own, before any setting is read: it never meets a real contest."""
    os.environ["FAIRBOX_DATA"] = str(data_folder() / "demo")
    os.environ.pop("DATABASE_URL", None)


def program() -> str:
    """Name the program as a reader of this process's messages can start it."""
    if is_checkout() and Path(sys.argv[0]).stem != "fairbox":
        return "manage.py"
    return "fairbox"


def version() -> str:
    """Give the installed version; a checkout that was never installed has none."""
    from importlib import metadata  # takes longer to import than an open command may wait

    try:
        return metadata.version("fairbox")
    except metadata.PackageNotFoundError:
        return "(a checkout, not installed)"
