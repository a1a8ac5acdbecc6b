"""The server's own log: one line an event, in UTC, and nothing in it that opens a door.

Tracebacks are kept for what broke; a page that was refused needs none. Keys in addresses, which let whoever holds them
in, are cut short: a team's sheet is found by one.
"""

import logging
import re
import time
from typing import Any

_KEY = re.compile(r"\b([0-9a-f]{4})[0-9a-f]{4}-?(?:[0-9a-f]{4}-?){3}[0-9a-f]{12}\b", re.IGNORECASE)


def without_keys(text: str) -> str:
    """The text with every UUID cut to its first four digits, and with control characters made visible."""
    shown = "".join(sign if sign.isprintable() or sign in "\n\t" else repr(sign)[1:-1] for sign in text)
    return _KEY.sub(r"\1…", shown)


class Plain(logging.Filter):
    def filter(self, record: logging.LogRecord) -> bool:
        if record.name.startswith("django.") and record.levelno < logging.ERROR:
            record.exc_info = record.exc_text = None
        record.msg, record.args = without_keys(record.getMessage()).replace("\n", " "), ()
        return True


class InUtc(logging.Formatter):
    """Times as `2026-06-13T12:00:05Z`; a traceback is told without keys as well."""

    converter = staticmethod(time.gmtime)
    default_time_format = "%Y-%m-%dT%H:%M:%S"
    default_msec_format = ""

    def __init__(self, **options: str) -> None:
        super().__init__(options["format"], style="{")

    def formatException(self, trouble: Any) -> str:
        return without_keys(super().formatException(trouble))
