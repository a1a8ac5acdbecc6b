#!/usr/bin/env python3
"""Runs Fairbox's commands. The open commands need no database and no settings, so they start without Django."""

import os
import sys
from importlib import import_module
from pathlib import Path

# Command -> module with main(arguments) -> exit status. Nothing that these import may import Django.
OPEN_COMMANDS = {
    "draw": "contest.draw_cli",
    "severity": "reports.severity_cli",
    "tally": "judging.tally_cli",
    "verify": "reports.verify_cli",
}


# Linear algebra by one thread: on a laptop that also serves, threads that wait for each other cost ten times as much.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def main() -> int:
    if len(sys.argv) > 1 and sys.argv[1] in OPEN_COMMANDS:
        command = import_module(OPEN_COMMANDS[sys.argv[1]])
        return int(command.main(sys.argv[2:]))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "contest.config.settings")
    if sys.argv[1:2] == ["demo"]:
        keep_demo_apart()
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        print("Django is not installed here: run the project's own Python, .venv/bin/python", file=sys.stderr)
        return 1
    execute_from_command_line(sys.argv)
    return 0


def keep_demo_apart() -> None:
    """The demo has a data folder of its own, chosen before any setting is read: it never meets a real contest."""
    data = Path(os.environ.get("FAIRBOX_DATA", Path(__file__).resolve().parent / ".data"))
    os.environ["FAIRBOX_DATA"] = str(data / "demo")
    os.environ.pop("DATABASE_URL", None)


if __name__ == "__main__":
    sys.exit(main())
