"""A print in the hands of a worker: taken, kept alive, finished, failed or forgotten, and where its file lies."""

import os
import secrets
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from reports.models import JobState, PrintJob


def folder() -> Path:
    """Where finished prints lie, readable by this account alone."""
    path = Path(settings.DATA_DIR) / "print"
    path.mkdir(parents=True, exist_ok=True)
    os.chmod(path, 0o700)
    return path


def new_file() -> str:
    """A name that nobody guesses."""
    return f"{secrets.token_hex(16)}.pdf"


def take(pk: int) -> PrintJob | None:
    """The job for the worker that calls, if it still waits for one."""
    waiting = PrintJob.objects.filter(pk=pk, state=JobState.WAITING)
    with transaction.atomic():
        job = waiting.select_for_update().first()
        if job is None:
            return None
        job.attempt += 1
        job.state, job.heartbeat, job.message = JobState.RUNNING, timezone.now(), ""
        job.save(update_fields=["attempt", "state", "heartbeat", "message"])
    return job


def take_next() -> PrintJob | None:
    """The job that has waited longest, for the worker that calls."""
    for pk in PrintJob.objects.filter(state=JobState.WAITING).order_by("pk").values_list("pk", flat=True):
        job = take(pk)
        if job is not None:
            return job
    return None


def beat(job: PrintJob, *, progress: int, total: int) -> bool:
    """Whether the job is still this worker's; its heartbeat and progress move."""
    own = PrintJob.objects.filter(pk=job.pk, attempt=job.attempt, state=JobState.RUNNING)
    return bool(own.update(heartbeat=timezone.now(), progress=progress, total=total))


def finish(job: PrintJob, *, file: str, pages: int) -> None:
    own = PrintJob.objects.filter(pk=job.pk, attempt=job.attempt, state=JobState.RUNNING)
    if not own.update(state=JobState.DONE, file=file, pages=pages, heartbeat=timezone.now()):
        (folder() / file).unlink(missing_ok=True)


def fail(job: PrintJob, message: str) -> None:
    own = PrintJob.objects.filter(pk=job.pk, attempt=job.attempt, state=JobState.RUNNING)
    own.update(state=JobState.FAILED, message=message[:300])


def forget(job: PrintJob) -> None:
    """Delete a job and its file."""
    if job.file:
        (folder() / job.file).unlink(missing_ok=True)
    job.delete()
