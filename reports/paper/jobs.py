"""Prints: asked for on a page, made by the background worker in a child process, kept for a day.

A worker may be killed at any moment. Its job's heartbeat then stops, and whoever looks at the job next gives it to
another worker; after a few attempts it has failed, and says so.
"""

from datetime import timedelta

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from contest.models import Contest
from contest.selectors.draw import standing_draw
from judging.models import Tally
from reports.jobs import PRINT_STALE, left_running
from reports.models import JobState, PrintJob
from reports.paper import catalogue
from reports.paper.held import folder, forget
from reports.paper.look import Options
from reports.paper.tasks import forget_print, make_print

KEPT = timedelta(days=1)
ATTEMPTS = 3


def _revision(contest: Contest) -> int:
    newest = Tally.objects.filter(contest=contest).order_by("-revision").values_list("revision", flat=True).first()
    return newest or 0


def _draw(contest: Contest) -> int:
    draw = standing_draw(contest)
    return draw.number if draw else 0


def start(*, contest: Contest, what: str, papers: list[str], options: Options, by: str) -> PrintJob:
    """Ask for a print. The caller has made sure that `by` may print all of `papers`."""
    clear_old()
    job = PrintJob.objects.create(
        contest=contest,
        what=what,
        papers=papers,
        options=options.to_json(),
        draw=_draw(contest),
        revision=_revision(contest),
        by=by,
        heartbeat=timezone.now(),
    )
    _hand_over(job)
    return job


def _hand_over(job: PrintJob) -> None:
    pk = job.pk
    transaction.on_commit(lambda: make_print.enqueue(pk))
    if job.attempt == 0:
        later = timezone.now() + KEPT
        transaction.on_commit(lambda: forget_print.using(run_after=later).enqueue(pk))


def look_after(job: PrintJob) -> PrintJob:
    """A job whose worker is gone is given to the next one, or has failed after `ATTEMPTS`."""
    left = left_running(PrintJob.objects.filter(pk=job.pk, attempt=job.attempt), PRINT_STALE)
    if job.state != JobState.RUNNING or not left.exists():
        return job
    if job.attempt >= ATTEMPTS:
        said = f"The print was broken off {ATTEMPTS} times. Print fewer papers at once, or restart Fairbox."
        left.update(state=JobState.FAILED, message=said)
    elif left.update(state=JobState.WAITING, heartbeat=timezone.now(), progress=0):
        _hand_over(job)
    job.refresh_from_db()
    return job


def clear_old() -> int:
    """Delete prints older than a day with their files, and files that no job knows; returns how many jobs went."""
    old = list(PrintJob.objects.filter(made_at__lt=timezone.now() - KEPT))
    for job in old:
        forget(job)
    known = set(PrintJob.objects.exclude(file="").values_list("file", flat=True))
    before = (timezone.now() - timedelta(hours=1)).timestamp()
    for path in folder().glob("*.pdf*"):
        try:
            if path.name not in known and path.stat().st_mtime < before:
                path.unlink()
        except FileNotFoundError:  # another worker was first
            continue
    return len(old)


def jobs_for(contest: Contest, parts: frozenset[str]) -> list[PrintJob]:
    """The prints of a contest that a viewer may have, newest first: of the draw and the tally that stand now."""
    may = {paper.key for paper in catalogue.printable(contest, parts)}
    found = PrintJob.objects.filter(contest=contest, made_at__gte=timezone.now() - KEPT)
    current = Q(draw__in=(0, _draw(contest))) & Q(revision__in=(0, _revision(contest)))
    return [job for job in found.filter(current) if may.issuperset(job.papers)]


def find_job(contest: Contest, parts: frozenset[str], key: object) -> PrintJob | None:
    """One of these prints by its key."""
    return next((job for job in jobs_for(contest, parts) if job.key == key), None)
