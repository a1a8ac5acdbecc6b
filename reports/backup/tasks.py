"""Backups that make themselves: at every closing, revision and publication, by the background worker.

How each went is kept with the worker's own tasks; nothing else depends on it, so that no closing fails for a backup.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django_tasks import TaskContext, task
from django_tasks_db.models import DBTaskResult

from contest import day
from contest.commandline import program
from contest.models import Contest
from reports.backup.archive import BackupError
from reports.backup.make import make
from reports.jobs import BACKUP_STALE, tasks_of

#: A worker that runs looks for work every second.
PATIENCE = timedelta(seconds=30)


@task(takes_context=True)
def make_backup(context: TaskContext, contest: int, occasion: str) -> dict[str, str]:
    """Make a backup; its name, or the problem in words. `contest` is whose event asked for it: all are in it.

    Where one was begun after this one was asked for, it holds all that this one would.
    """
    later = _all().filter(status="SUCCESSFUL", started_at__gt=context.task_result.enqueued_at)
    for value in later.values_list("return_value", flat=True):
        if value is not None and "file" in value:
            return dict(value)
    try:
        return {"file": make(occasion=occasion).name}
    except BackupError as error:
        return {"problem": str(error)}


def ask(contest: Contest, occasion: str) -> None:
    """Have the background worker make a backup."""
    make_backup.enqueue(contest.pk, occasion)


@dataclass(frozen=True, slots=True)
class Asked:
    """A backup that was asked for. `state`: done, waiting or stopped; `text` says more, where there is more to say."""

    occasion: str
    at: datetime
    state: str
    word: str
    text: str = ""


def asked_for(contest: Contest) -> list[Asked]:
    """The backups that this contest asked for, newest first. No sizes: they would tell of marks and names."""
    return [_asked(each) for each in _all().filter(args_kwargs__args__0=contest.pk).order_by("-enqueued_at")[:10]]


def _all() -> QuerySet[DBTaskResult]:
    return tasks_of(make_backup)


def _asked(row: DBTaskResult) -> Asked:
    occasion, at, now = row.args_kwargs["args"][1], row.enqueued_at, timezone.now()
    if row.status == "SUCCESSFUL":
        value = row.return_value or {}
        if "problem" in value:
            return Asked(occasion, at, "stopped", "failed", value["problem"])
        return Asked(occasion, at, "done", "made", value.get("file", ""))
    if row.status == "FAILED" or (row.status == "RUNNING" and now - row.started_at > BACKUP_STALE):
        return Asked(occasion, at, "stopped", "broken off", "The background worker ended in the middle of it.")
    if row.status == "RUNNING":
        return Asked(occasion, at, "waiting", "being made")
    late = f"It waits for the background worker, which runs beside the site under {program()} serve."
    return Asked(occasion, at, "waiting", "waits", late if now - at > PATIENCE else "")


def notices(contest: Contest) -> list[day.Notice]:
    """What the organiser reads on the pages of the tally: that a backup failed, or, quietly, that there is one."""
    asked = asked_for(contest)
    if not asked:
        return []
    newest, url = asked[0], reverse("reports:backups", args=[contest.slug])
    if newest.state == "stopped":
        return [day.Notice(f"The last backup ({newest.occasion}) failed. {newest.text}", url, "Backups", urgent=True)]
    if newest.text and newest.state == "waiting":
        return [day.Notice(f"A backup is due ({newest.occasion}). {newest.text}", url, "Backups", urgent=True)]
    return [day.Notice(f"Backup {newest.word}: {newest.occasion}.", url, "Backups")]
