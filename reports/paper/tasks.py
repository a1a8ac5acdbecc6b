"""What the background worker does for prints: one child process a print, so that its memory is given back."""

import json
import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Iterator

from django.conf import settings
from django.db import connection
from django_tasks import task

from reports.models import PrintJob
from reports.paper import jobs

BEAT = 2.0
#: Longer than any print takes; a child that hangs is ended.
LIMIT = 600.0


@task()
def make_print(pk: int) -> None:
    """Make the file of a print job; does nothing where another worker has it."""
    job = jobs.take(pk)
    if job is not None:
        run(job)


@task()
def forget_print(pk: int) -> None:
    """Delete a print with its file; due a day after it was asked for."""
    job = PrintJob.objects.filter(pk=pk).first()
    if job is not None:
        jobs.forget(job)


def run(job: PrintJob) -> None:
    """Watch the child that makes the file: beat while it lives, keep its progress, and what it says when it fails."""
    file = jobs.new_file()
    target = jobs.folder() / file
    said: dict = {}
    ended = time.monotonic() + LIMIT
    with _child(job, str(target)) as child:
        for line in _lines(child):
            said.update(line)
            if time.monotonic() > ended:
                said["failed"] = "The print took more than ten minutes. Print fewer papers at once."
                child.kill()
            elif not jobs.beat(job, progress=said.get("progress", 0), total=said.get("total", 0)):
                child.kill()  # the job was taken from this worker, or deleted
                return
        code = child.wait()
    if code == 0 and "pages" in said:
        jobs.finish(job, file=file, pages=said["pages"])
        return
    target.unlink(missing_ok=True)
    jobs.fail(job, said.get("failed") or f"The printing process ended (code {code}). Try again, or print less at once.")


def _child(job: PrintJob, target: str) -> "subprocess.Popen[str]":
    path = os.pathsep.join(filter(None, [str(settings.BASE_DIR), os.environ.get("PYTHONPATH")]))
    return subprocess.Popen(  # noqa: S603
        [sys.executable, "-m", "reports.paper.child", str(job.pk), target],
        stdin=subprocess.PIPE,  # held open: at its end the child knows that the worker is gone
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": path, "FAIRBOX_PRINT_DATABASE": str(connection.settings_dict["NAME"])},
    )


def _lines(child: "subprocess.Popen[str]") -> Iterator[dict]:
    """What the child reports, as it comes; an empty report every `BEAT` seconds while it says nothing."""
    reports: queue.Queue[str | None] = queue.Queue()

    def read() -> None:
        for line in child.stdout or ():
            reports.put(line)
        reports.put(None)

    threading.Thread(target=read, daemon=True).start()
    last = 0.0
    waiting: dict = {}
    while True:
        try:
            line = reports.get(timeout=BEAT)
        except queue.Empty:
            line = "{}"
        if line is None:
            yield waiting
            return
        waiting.update(json.loads(line))
        if time.monotonic() - last >= BEAT / 2 or "total" not in waiting:
            last = time.monotonic()
            yield waiting
