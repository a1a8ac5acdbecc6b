"""Makes one print: `python -m reports.paper.child TARGET`. Reports on standard output, a JSON object a line.

What to print comes as one line of JSON on standard input: `{"style": TEXT, "parts": [[HTML, RULES, [SEAT…]]…]}`. The
input then stays open: at its end the worker that asked is gone, even if it was killed, and so is this process.
"""

import gc
import json
import os
import sys
import threading
from pathlib import Path
from typing import Any

from reports.paper import pdf


def report(**facts: Any) -> None:
    print(json.dumps(facts), flush=True)


def _end_with_parent() -> None:
    while os.read(sys.stdin.fileno(), 1024):
        pass
    os._exit(3)


def main(target: str) -> int:
    # Laying out makes a great many objects that stay: looking through them again and again takes a seventh of the time.
    gc.set_threshold(100_000, 50, 1000)
    asked = json.loads(sys.stdin.readline())
    threading.Thread(target=_end_with_parent, daemon=True).start()
    parts = [pdf.Part(html, rules, tuple(seats)) for html, rules, seats in asked["parts"]]
    half = Path(f"{target}.part")
    pages = pdf.write(parts, half, style=asked["style"], done=lambda count: report(progress=count))
    os.replace(half, target)
    report(progress=len(parts) + 1, pages=pages)  # the file is written at the end
    return 0


def run(arguments: list[str]) -> int:
    try:
        return main(*arguments)
    except OSError as error:
        report(failed=reason(error))
    except BaseException as error:  # also what stops a fetch, which is no Exception
        report(failed=f"The print failed: {type(error).__name__}: {error}"[:300])
        raise
    return 1


def reason(error: OSError) -> str:
    """A full disk, or libraries that are not there."""
    if error.errno is None:
        return f"A library for PDFs is missing on this machine: {error}"[:300]
    return f"The file could not be written: {error.strerror}. Make room on the disk of Fairbox’s data, then try again."


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
