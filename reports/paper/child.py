"""Makes one print: `python -m reports.paper.child JOB TARGET`. Reports on standard output, a JSON object a line.

It ends with the worker that started it, even if that was killed: the worker holds the other end of its input.
"""

import gc
import json
import os
import sys
import threading
from pathlib import Path
from typing import Any


def report(**facts: Any) -> None:
    print(json.dumps(facts), flush=True)


def _end_with_parent() -> None:
    while os.read(sys.stdin.fileno(), 1024):
        pass
    os._exit(3)


def main(pk: str, target: str) -> int:
    threading.Thread(target=_end_with_parent, daemon=True).start()
    # Laying out makes a great many objects that stay: looking through them again and again takes a seventh of the time.
    gc.set_threshold(100_000, 50, 1000)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "contest.config.settings")
    from django.conf import settings

    database = os.environ.get("FAIRBOX_PRINT_DATABASE")
    if database:  # the worker's, which need not be the one that the settings name
        settings.DATABASES["default"]["NAME"] = database
    import django

    django.setup()
    from reports.models import PrintJob
    from reports.paper import catalogue, pdf
    from reports.paper.look import Options

    job = PrintJob.objects.select_related("contest__rule_set").get(pk=pk)
    papers = [catalogue.named(key) for key in job.papers]
    title = catalogue.title_of(job.what)
    parts = catalogue.parts_of(job.contest, f"{title} · {job.contest}", papers, Options.of(job.options))
    if not parts:
        report(failed="There is nothing to print yet.")
        return 1
    total = len(parts) + 1  # the file is written at the end
    report(progress=0, total=total)
    half = Path(f"{target}.part")
    pages = pdf.write(parts, half, done=lambda count: report(progress=count, total=total))
    os.replace(half, target)
    report(progress=total, total=total, pages=pages)
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
