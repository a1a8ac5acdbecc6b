"""Working a season out beside the site: asked for at publication or by hand, done in a child of the worker.

No statistics are imported here; the child does that, and its memory returns when it ends.
"""

import os
import subprocess
import sys
from datetime import timedelta

from django.conf import settings
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django_tasks import task
from django_tasks_db.models import DBTaskResult

from contest.models import Contest
from reports.models import SeasonWork, SeverityFit, Worked
from reports.season.cards import inputs_hash
from reports.season.own import brought_hash, members_of, own_keys
from reports.season.seasons import group_key, published_tallies

#: A run that has not moved for so long is dead: its worker was killed.
STALE = timedelta(minutes=3)
BEAT_SECONDS = 5.0
LIVE = (Worked.WAITING, Worked.RUNNING)


def ask(group: str) -> SeasonWork:
    """Have the season worked out. Who asks while a run waits joins it; one that runs may have begun too early."""
    live = live_work(group)
    if live is not None and live.state == Worked.WAITING:
        if timezone.now() - live.heartbeat > STALE:  # what was to start it may be lost; twice does no harm
            work_out.enqueue(live.pk)
        return live
    with transaction.atomic():  # a run that waits has a task that will start it
        work = SeasonWork.objects.create(group=group)
        work_out.enqueue(work.pk)
    return work


def ask_for(contest: Contest) -> None:
    """After publishing: the season, and what teams had worked out of it with their packages. No practice."""
    if contest.kind == Contest.Kind.CONTEST:
        group = group_key(contest)
        for each in (group, *own_keys(group)):
            ask(each)


def live_work(group: str) -> SeasonWork | None:
    """The run that waits or moves; one that stands still, or waits for a task that is gone, is marked as failed."""
    still = SeasonWork.objects.filter(group=group, heartbeat__lt=timezone.now() - STALE)
    ended = {"state": Worked.FAILED, "message": "The background worker ended before this was done."}
    still.filter(state=Worked.RUNNING).update(**ended)
    for waiting in still.filter(state=Worked.WAITING).values_list("pk", flat=True):
        tasks = DBTaskResult.objects.filter(task_path=work_out.module_path, args_kwargs__args__0=waiting)
        if not tasks.exclude(status__in=["SUCCESSFUL", "FAILED"]).exists():
            SeasonWork.objects.filter(pk=waiting, state=Worked.WAITING).update(**ended)
    return SeasonWork.objects.filter(group=group, state__in=LIVE).order_by("id").last()


def last_work(group: str) -> SeasonWork | None:
    live_work(group)
    return SeasonWork.objects.filter(group=group).first()


def is_up_to_date(group: str) -> bool:
    """Whether the kept fits are of the published results, and of a team's packages, as they stand."""
    members = members_of(group)
    made = SeverityFit.objects.current().filter(group=group).values_list("inputs_hash", flat=True).first()
    if not members or made is None:
        return False
    wanted = inputs_hash(members.contests, published_tallies(members.contests, "inputs", "outcome"))
    return made == (wanted if members.team is None else brought_hash(wanted, members))


@task()
def work_out(number: int) -> str:
    """Run the child for one `SeasonWork` and keep its heartbeat; answers how it ended."""
    work = SeasonWork.objects.filter(pk=number, state=Worked.WAITING)
    if not work.update(state=Worked.RUNNING, heartbeat=timezone.now()):
        return "done already"
    path = os.pathsep.join(filter(None, [str(settings.BASE_DIR), os.environ.get("PYTHONPATH")]))
    child = subprocess.Popen(  # noqa: S603  (a module of our own, a number)
        [sys.executable, "-m", "reports.season.child", str(number)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": path},
    )
    while True:
        try:
            _, errors = child.communicate(timeout=BEAT_SECONDS)
        except subprocess.TimeoutExpired:
            SeasonWork.objects.filter(pk=number).update(heartbeat=timezone.now())
            continue
        break
    if child.returncode:
        why = (errors.strip().splitlines() or [f"code {child.returncode}"])[-1][:240]
        failed(number, f"The calculation broke off: {why}")
        return "failed"
    return "done"


def run(number: int) -> None:
    """Work one `SeasonWork` out in this process; slow."""
    from reports.season.fits import fit_season  # imports slowly

    work = SeasonWork.objects.get(pk=number)

    def say(done: int, of: int) -> None:
        moved = {"progress": done, "of": of, "heartbeat": timezone.now()}
        SeasonWork.objects.filter(pk=number).update(state=Worked.RUNNING, **moved)

    fit_season(work.group, say)
    SeasonWork.objects.filter(pk=number).update(state=Worked.DONE, progress=F("of"), heartbeat=timezone.now())


def failed(number: int, why: str) -> None:
    SeasonWork.objects.filter(pk=number).update(state=Worked.FAILED, message=why[:300], heartbeat=timezone.now())
