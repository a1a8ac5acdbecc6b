"""Working a season out beside the site: asked for at publication or by hand, done in a child of the worker.

No statistics are imported here; the child does that, and its memory returns when it ends.
"""

import subprocess

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django_tasks import task

from contest.models import Contest
from reports.jobs import SEASON_STALE, left_running, start_child, will_start
from reports.models import JobState, SeasonWork, SeverityFit
from reports.season.cards import inputs_hash
from reports.season.own import brought_hash, members_of, own_keys
from reports.season.seasons import group_key, published_tallies

BEAT_SECONDS = 5.0
LIVE = (JobState.WAITING, JobState.RUNNING)


def ask(group: str) -> SeasonWork:
    """Have the season worked out. Who asks while a run waits joins it; one that runs may have begun too early."""
    live = live_work(group)
    if live is not None and live.state == JobState.WAITING:
        if timezone.now() - live.heartbeat > SEASON_STALE:  # what was to start it may be lost; twice does no harm
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
    runs = SeasonWork.objects.filter(group=group)
    ended = {"state": JobState.FAILED, "message": "The background worker ended before this was done."}
    left_running(runs, SEASON_STALE).update(**ended)
    still = runs.filter(state=JobState.WAITING, heartbeat__lt=timezone.now() - SEASON_STALE)
    for waiting in still.values_list("pk", flat=True):
        if not will_start(work_out, waiting):
            SeasonWork.objects.filter(pk=waiting, state=JobState.WAITING).update(**ended)
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
    work = SeasonWork.objects.filter(pk=number, state=JobState.WAITING)
    if not work.update(state=JobState.RUNNING, heartbeat=timezone.now()):
        return "done already"
    child = start_child("reports.season.child", str(number), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
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
        SeasonWork.objects.filter(pk=number).update(state=JobState.RUNNING, **moved)

    fit_season(work.group, say)
    SeasonWork.objects.filter(pk=number).update(state=JobState.DONE, progress=F("of"), heartbeat=timezone.now())


def failed(number: int, why: str) -> None:
    SeasonWork.objects.filter(pk=number).update(state=JobState.FAILED, message=why[:300], heartbeat=timezone.now())
