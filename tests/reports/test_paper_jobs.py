"""Prints as jobs: made in a child process, watched, retried, deleted; and what the page says of them."""

import io
import subprocess
import sys
from datetime import timedelta
from types import SimpleNamespace

import pdfplumber
import pytest
from django.utils import timezone

from reports.jobs import PRINT_STALE
from reports.models import PrintJob
from reports.paper import catalogue, child, held, jobs, pdf, tasks
from reports.paper.look import Options
from tests import factories

BOTH = pytest.mark.django_db(transaction=True)  # the printing process has a connection of its own


@pytest.fixture
def contest():
    return factories.make_drawn(teams=6, tables=1, categories=("chicken",))


def start(contest, *papers: str, what: str = "score") -> PrintJob:
    return jobs.start(contest=contest, what=what, papers=list(papers or ["score"]), options=Options(), by="clerk")


@BOTH
def test_a_print_is_made_in_another_process_and_says_how_far_it_is(contest, monkeypatch) -> None:
    job = start(contest, "score", "captains", what="judges-packet")
    seen = []
    beat = held.beat
    monkeypatch.setattr(held, "beat", lambda job, **facts: seen.append(facts) or beat(job, **facts))
    tasks.make_print.call(job.pk)
    job.refresh_from_db()
    assert (job.state, job.message, job.pages, job.attempt) == ("done", "", 7, 1)
    assert {facts["total"] for facts in seen} >= {3}  # a flight's score sheets, its captain's, and writing
    path = held.folder() / job.file
    with pdfplumber.open(path) as found:
        assert len(found.pages) == 7
        assert found.doc.catalog["Lang"] == b"en"
        assert found.doc.catalog["MarkInfo"]["Marked"]
        assert found.metadata["Title"] == f"Judges’ packet · {contest.name}"
    assert path.stat().st_mode & 0o077 == 0 or path.parent.stat().st_mode & 0o077 == 0
    tasks.forget_print.call(job.pk)
    assert not path.exists()
    assert not PrintJob.objects.exists()


@BOTH
@pytest.mark.parametrize("lanes", [1, 2])
def test_one_task_makes_all_that_waits(contest, monkeypatch, lanes: int) -> None:
    monkeypatch.setattr(tasks, "LANES", lanes)
    at_once = []
    alive: list[subprocess.Popen] = []

    def counted(*command, **more) -> subprocess.Popen:
        alive.append(popen(*command, **more))
        at_once.append(sum(each.poll() is None for each in alive))
        return alive[-1]

    popen = subprocess.Popen
    monkeypatch.setattr(subprocess, "Popen", counted)
    first, second, third = start(contest, "captains"), start(contest), start(contest, "judges")
    for job in (first, second, third):  # the later tasks find nothing left to do
        tasks.make_print.call(job.pk)
    assert [(job.state, job.pages, job.attempt) for job in PrintJob.objects.order_by("pk")] == [
        ("done", 1, 1),
        ("done", 6, 1),
        ("done", 2, 1),
    ]
    assert max(at_once) == lanes
    assert all(each.poll() == 0 for each in alive)
    for job in PrintJob.objects.all():
        held.forget(job)


@BOTH
def test_a_fault_in_one_print_leaves_the_others_alone(contest, monkeypatch) -> None:
    build = catalogue.parts_of

    def parts(contest, title: str, papers, options):
        if papers[0].key == "captains":
            raise KeyError("turned over")
        return build(contest, title, papers, options)

    monkeypatch.setattr(catalogue, "parts_of", parts)
    bad, good = start(contest, "captains"), start(contest)
    tasks.make_print.call(bad.pk)
    bad.refresh_from_db()
    good.refresh_from_db()
    assert (bad.state, bad.message) == ("failed", "The print failed: KeyError: 'turned over'")
    assert (good.state, good.pages) == ("done", 6)
    held.forget(good)


def test_the_printing_process_carries_no_framework() -> None:
    """It stays small, and holds nothing that could read the database: what it prints is all it is given."""
    asked = "import sys; import reports.paper.child; print([m for m in ('django', 'numpy') if m in sys.modules])"
    ran = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


@BOTH
def test_a_print_that_fails_says_why_and_leaves_nothing(contest) -> None:
    job = start(contest, "calls", what="calls")  # nothing is signed off yet
    tasks.make_print.call(job.pk)
    job.refresh_from_db()
    assert (job.state, job.message) == ("failed", "There is nothing to print yet.")
    assert list(held.folder().glob("*.part")) == []
    page = factories.client_for(contest, "organiser").get(f"/c/{contest.slug}/paper/")
    assert "There is nothing to print yet." not in page.content.decode()  # the call sheet is not this state's


@BOTH
def test_a_child_that_is_killed_is_told_from_one_that_failed(contest, monkeypatch) -> None:
    job = start(contest)
    killed = [sys.executable, "-c", "import os; os.kill(os.getpid(), 9)"]
    monkeypatch.setattr(
        tasks, "_child", lambda *_: subprocess.Popen(killed, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    )
    tasks.make_print.call(job.pk)
    job.refresh_from_db()
    assert job.state == "failed"
    assert "(code -9)" in job.message


@pytest.mark.django_db
def test_a_job_goes_to_one_worker_only_and_the_last_alone_may_finish_it(contest) -> None:
    job = start(contest)
    first = held.take(job.pk)
    assert held.take(job.pk) is None
    assert held.beat(first, progress=1, total=4)
    PrintJob.objects.update(heartbeat=timezone.now() - PRINT_STALE)
    waiting = jobs.look_after(PrintJob.objects.get())
    assert (waiting.state, waiting.attempt) == ("waiting", 1)
    second = held.take(job.pk)
    assert second.attempt == 2
    assert not held.beat(first, progress=4, total=4)
    held.fail(first, "too late")
    late = held.folder() / "late.pdf"
    late.write_bytes(b"%PDF-")
    held.finish(first, file="late.pdf", pages=9)
    job.refresh_from_db()
    assert (job.state, job.pages, late.exists()) == ("running", 0, False)
    held.finish(second, file="right.pdf", pages=3)
    job.refresh_from_db()
    assert (job.state, job.file) == ("done", "right.pdf")


@pytest.mark.django_db
def test_a_job_is_given_up_after_three_workers(contest) -> None:
    job = start(contest)
    for attempt in (1, 2, 3):
        assert held.take(job.pk).attempt == attempt
        PrintJob.objects.update(heartbeat=timezone.now() - PRINT_STALE)
        job = jobs.look_after(PrintJob.objects.get())
    assert job.state == "failed"
    assert "broken off 3 times" in job.message


@pytest.mark.django_db
def test_a_beating_heart_is_left_alone(contest) -> None:
    job = held.take(start(contest).pk)
    PrintJob.objects.update(heartbeat=timezone.now() - PRINT_STALE + timedelta(seconds=2))
    assert jobs.look_after(PrintJob.objects.get()).state == "running"
    assert job.attempt == 1


@pytest.mark.django_db
def test_prints_go_after_a_day_with_their_files(contest) -> None:
    old, new = start(contest), start(contest)
    for job, name in ((old, "old.pdf"), (new, "new.pdf")):
        (held.folder() / name).write_bytes(b"%PDF-")
        PrintJob.objects.filter(pk=job.pk).update(state="done", file=name)
    PrintJob.objects.filter(pk=old.pk).update(made_at=timezone.now() - jobs.KEPT - timedelta(minutes=1))
    assert [job.pk for job in jobs.jobs_for(contest, frozenset({"tally"}))] == [new.pk]  # even before it is deleted
    assert jobs.clear_old() == 1
    assert [path.name for path in held.folder().glob("*.pdf") if path.name in ("old.pdf", "new.pdf")] == ["new.pdf"]
    held.forget(PrintJob.objects.get())


def test_a_full_disk_and_missing_libraries_are_told_in_words() -> None:
    assert "Make room on the disk" in child.reason(OSError(28, "No space left on device"))
    assert "library" in child.reason(OSError("cannot load library 'libpango-1.0-0'"))


@pytest.mark.parametrize(
    "source", ["http://field.test/x.png", "file:///etc/hostname", "contest/mark.svg", "data:text/css,x"]
)
def test_nothing_is_fetched(source: str) -> None:
    from weasyprint.urls import FatalURLFetchingError

    html = f'<html lang="en"><title>x</title><body><img src="{source}" alt="x">'
    if "mark.svg" in source:  # has no base to lie under: it is dropped before anything is asked
        pdf.write([pdf.Part(html, "")], io.BytesIO())
        return
    with pytest.raises(FatalURLFetchingError):
        pdf.write([pdf.Part(html, "")], io.BytesIO())


@pytest.mark.django_db
def test_the_page_shows_how_far_a_print_is(contest) -> None:
    client = factories.client_for(contest, "tally")
    with_form = client.get(f"/c/{contest.slug}/paper/").content.decode()
    assert "Score sheets" in with_form
    assert "Ledger" not in with_form
    answer = client.post(f"/c/{contest.slug}/paper/print/", {"what": "score", "size": "letter"})
    assert answer["Location"] == f"/c/{contest.slug}/paper/#files"
    job = PrintJob.objects.get()
    assert (job.what, job.papers, job.options["size"], job.draw) == ("score", ["score"], "letter", 1)
    fragment = f"/c/{contest.slug}/paper/{job.key}/"
    headers = {"hx-request": "true"}
    assert "waits" in client.get(fragment, headers=headers).content.decode()
    PrintJob.objects.update(heartbeat=timezone.now() - PRINT_STALE - timedelta(seconds=1))
    assert "manage.py serve" in client.get(fragment, headers=headers).content.decode()
    PrintJob.objects.update(state="running", heartbeat=timezone.now(), progress=2, total=5)
    running = client.get(fragment, headers=headers).content.decode()
    assert 'max="5" value="2"' in running
    assert "hx-get" in running
    PrintJob.objects.update(state="failed", message="The disk is full.")
    failed = client.get(fragment, headers=headers).content.decode()
    assert "The disk is full." in failed
    assert "hx-get" not in failed


@pytest.mark.django_db
def test_the_printing_process_is_asked_once_whether_it_can(monkeypatch) -> None:
    pdf.can_print.cache_clear()
    asked = []
    monkeypatch.setattr(subprocess, "run", lambda *a, **k: asked.append(a) or SimpleNamespace(returncode=1))
    assert not pdf.can_print()
    assert not pdf.can_print()
    assert len(asked) == 1
    pdf.can_print.cache_clear()
