"""A print against the real site: its worker makes it; a worker that is killed in the middle of one is made good."""

import os
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.site.served import Served, command, environment, rows, wait_for

MADE = """
from django.core.management import call_command
call_command("migrate", verbosity=0)
from reports.paper import jobs
from reports.paper.look import Options
from tests import factories
contest = factories.make_drawn(teams=36, tables=6, categories=("chicken", "ribs", "pork", "brisket"))
job = jobs.start(contest=contest, what="score", papers=["score"], options=Options(), by="clerk")
from contest.services.passes import word_of, issue_pass
print("WORD", word_of(issue_pass(opens="account", account=factories.give_part(contest, "tally"))))
print("SLUG", contest.slug, job.key)
"""


@pytest.fixture
def made(tmp_path: Path) -> dict[str, str]:
    ran = subprocess.run(
        command("shell", "-v", "0", "-c", MADE), env=environment(tmp_path), capture_output=True, text=True
    )
    assert ran.returncode == 0, ran.stderr
    lines = dict(line.split(" ", 1) for line in ran.stdout.splitlines() if line.startswith(("WORD", "SLUG")))
    slug, key = lines["SLUG"].split()
    return {"word": lines["WORD"], "slug": slug, "key": key}


@pytest.fixture
def served(made: dict[str, str], tmp_path: Path) -> Iterator[Served]:
    site = Served(tmp_path, "--loopback")
    yield site
    site.close()


def job_of(data: Path) -> tuple:
    return rows(data, "select state, attempt, progress, total, pages, file, message from reports_printjob")[0]


def children(of: int) -> list[int]:
    return [int(pid) for pid in Path(f"/proc/{of}/task/{of}/children").read_text().split()]


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


LOOK = """
from reports.models import PrintJob
from reports.paper import jobs
jobs.look_after(PrintJob.objects.get())
"""

CLEAR = """
from reports.paper import jobs
jobs.clear_old()
"""


def test_a_worker_killed_in_the_middle_of_a_print_is_noticed_and_the_print_is_made(
    made: dict[str, str], served: Served, tmp_path: Path
) -> None:
    wait_for(lambda: job_of(tmp_path)[0] == "running" and job_of(tmp_path)[2] > 0, 120)
    (worker,) = served.workers()
    (printing,) = children(worker)
    os.kill(worker, signal.SIGKILL)
    wait_for(lambda: not alive(printing), 10)  # it does not go on printing for nobody
    assert job_of(tmp_path)[:2] == ("running", 1)

    def looked_at() -> bool:
        subprocess.run(command("shell", "-v", "0", "-c", LOOK), env=environment(tmp_path), check=True)
        return job_of(tmp_path)[1] == 2 or job_of(tmp_path)[0] == "waiting"

    wait_for(looked_at, 60)
    wait_for(lambda: job_of(tmp_path)[0] == "done", 180)
    state, attempt, _, _, pages, file, message = job_of(tmp_path)
    assert (state, attempt, pages, message) == ("done", 2, 144, "")  # six tables, six seats, four categories
    assert (tmp_path / "print" / file).read_bytes().startswith(b"%PDF-")
    # Killed between the last page and its word to the job, the first attempt leaves a file: it goes within the hour.
    for path in (tmp_path / "print").iterdir():
        os.utime(path, (0, 0))
    subprocess.run(command("shell", "-v", "0", "-c", CLEAR), env=environment(tmp_path), check=True)
    assert [path.name for path in (tmp_path / "print").iterdir()] == [file]
