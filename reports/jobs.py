"""Work that runs beside the site: its processes, and how a job is found whose worker is gone.

A worker may be killed at any moment, and its task then stays *running* for ever. So each job moves a heartbeat while it
is worked on; one that has not moved for as long as its kind allows was left, and whoever looks at it next gives it to
another worker or says that it has failed. A backup has no row of its own and no heartbeat: the task is the job, and
its limit is longer than any backup takes.
"""

import os
import subprocess
import sys
from datetime import timedelta
from typing import Any, TypeVar

from django.conf import settings
from django.db.models import Model, QuerySet
from django.utils import timezone
from django_tasks.base import Task
from django_tasks_db.models import DBTaskResult

from reports.models import JobState

#: How long a job of each kind may go without a sign of life: a print's worker beats every second, a season's child
#: after every fit and its worker every five seconds, on a machine that may be busy with both.
PRINT_STALE = timedelta(seconds=15)
SEASON_STALE = timedelta(minutes=3)
BACKUP_STALE = timedelta(minutes=10)

Row = TypeVar("Row", bound=Model)


def left_running(jobs: QuerySet[Row], stale: timedelta) -> QuerySet[Row]:
    """Those of `jobs` that run without a worker: their heartbeat has not moved for `stale`."""
    return jobs.filter(state=JobState.RUNNING, heartbeat__lt=timezone.now() - stale)


def tasks_of(task: "Task[Any, Any]") -> QuerySet[DBTaskResult]:
    """The runs of a task that the worker keeps: those to come, the one that runs, those that ended."""
    return DBTaskResult.objects.filter(task_path=task.module_path)


def will_start(task: "Task[Any, Any]", number: int) -> bool:
    """Whether a task that has not ended will take, or has taken, the job of this number."""
    runs = tasks_of(task).filter(args_kwargs__args__0=number)
    return runs.exclude(status__in=["SUCCESSFUL", "FAILED"]).exists()


def start_child(module: str, *arguments: str, **options: Any) -> "subprocess.Popen[str]":
    """A process of its own for `module`, so that its memory returns when it ends; text goes in and out as UTF-8."""
    path = os.pathsep.join(filter(None, [str(settings.BASE_DIR), os.environ.get("PYTHONPATH")]))
    return subprocess.Popen(  # noqa: S603  (a module of our own, and plain values)
        [sys.executable, "-m", module, *arguments],
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONPATH": path, "PYTHONIOENCODING": "utf-8"},
        **options,
    )
