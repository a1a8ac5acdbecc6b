"""Work that runs beside the site, on the background worker."""

from datetime import timedelta
from importlib import import_module

from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from django.conf import settings
from django.utils import timezone
from django_tasks import task
from django_tasks_db.models import DBTaskResult

KEEP_ATTEMPTS = timedelta(days=7)
KEEP_TASKS = timedelta(days=30)


@task()
def upkeep() -> dict[str, int]:
    """Clear what a contest no longer needs: expired sessions, old sign-in attempts, finished tasks.

    Returns how many rows went, by kind; sessions are not counted by their store.
    """
    import_module(settings.SESSION_ENGINE).SessionStore.clear_expired()
    now = timezone.now()
    attempts = 0
    for model in (AccessAttempt, AccessFailureLog, AccessLog):
        attempts += model.objects.filter(attempt_time__lt=now - KEEP_ATTEMPTS).delete()[0]
    tasks = DBTaskResult.objects.finished().filter(finished_at__lt=now - KEEP_TASKS).delete()[0]
    return {"sign-in attempts": attempts, "tasks": tasks}


class WorkerEnded(Exception):
    """The worker ended while it ran this task."""


def fail_abandoned_tasks() -> int:
    """Mark tasks as failed that a worker took and can no longer finish; call only while no worker runs.

    A worker that is killed leaves its task *running* for ever, and whoever waits for it would wait as long.
    """
    abandoned = list(DBTaskResult.objects.running())
    for result in abandoned:
        result.set_failed(WorkerEnded("The worker ended before this task did. Start it again."))
    return len(abandoned)
