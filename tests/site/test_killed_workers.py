"""A worker that is killed in the middle of its task, for every kind of task: noticed, said on the page, made good.

For prints tests/reports/test_paper_worker.py does so against the whole site; their clearing away is made good by the
next print.
"""

import re
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from importlib import import_module
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from contest.models import Contest
from contest.tasks import fail_abandoned_tasks, upkeep
from reports.models import SeasonWork
from reports.season import work as season_work
from tests.factories import client_for
from tests.reports.seasons import make_season
from tests.site.served import SITE, environment

pytestmark = pytest.mark.django_db(transaction=True)

WORKER = """
import sys, time
import django
django.setup()
from django.core.management import call_command

def hang(*arguments, **options):
    print("begun", flush=True)
    time.sleep(600)

{hang}
call_command("db_worker", queue_name="*", interval=0, startup_delay=False, verbosity=0)
"""


@dataclass(frozen=True)
class Kind:
    """`hang`: code by which the task never ends once it has begun; `page`: where its end is looked up, and what that
    says after the worker died; `again`: how a person has it done once more; `done`: whether it was; `mended`: the
    page that then no longer says it."""

    hang: str
    ask: Callable[[Contest], object]
    page: str
    says: str
    again: str
    done: Callable[[Contest], bool]
    mended: str


def season_of(contest: Contest) -> str:
    return season_work.group_key(contest)


KINDS = {
    "reports.backup.tasks.make_backup": Kind(
        hang="import reports.backup.tasks as tasks; tasks.make = hang",
        ask=lambda contest: import_module("reports.backup.tasks").ask(contest, "at closing"),
        page="reports:backups",
        says="The background worker ended in the middle of it.",
        again="reports:backups",
        done=lambda contest: "file" in DBTaskResult.objects.order_by("-enqueued_at")[0].return_value,
        mended="judging:tally",
    ),
    "reports.season.work.work_out": Kind(
        hang="import reports.season.work as work; work.subprocess.Popen = hang",
        ask=lambda contest: season_work.ask(season_of(contest)),
        page="reports:agreement",
        says="The background worker ended before this was done.",
        again="reports:agreement_work",
        done=lambda contest: SeasonWork.objects.order_by("-pk")[0].state == "done",
        mended="reports:agreement",
    ),
}
ELSEWHERE = {
    "contest.tasks.upkeep": "nobody waits for it: every start of the site asks for it anew; tested below",
    "reports.paper.tasks.make_print": "tests/reports/test_paper_worker.py",
    "reports.paper.tasks.forget_print": "every print clears away what is old: tests/reports/test_paper_jobs.py",
}


def test_every_kind_of_task_is_among_them() -> None:
    declared = set()
    for app in ("contest", "judging", "reports"):
        for path in Path(SITE, app).rglob("*.py"):
            if re.search(r"^@task\b", path.read_text(), re.MULTILINE):
                module = import_module(".".join(path.relative_to(SITE).with_suffix("").parts))
                declared |= {each.module_path for each in vars(module).values() if hasattr(each, "module_path")}
    assert declared == {*KINDS, *ELSEWHERE}


def kill_in_the_middle(hang: str, data: Path) -> None:
    """A worker takes the task, begins with it and is killed."""
    held = connection.settings_dict
    who = f"{held['USER']}:{held['PASSWORD']}@" if held["PASSWORD"] else f"{held['USER']}@"
    url = f"postgres://{who}{held['HOST']}:{held['PORT'] or 5432}/{held['NAME']}"
    if connection.vendor == "sqlite":
        url = f"sqlite:///{held['NAME']}"
    worker = subprocess.Popen(
        [sys.executable, "-c", WORKER.format(hang=hang)],
        env=environment(data, DATABASE_URL=url),
        stdout=subprocess.PIPE,
        text=True,
    )
    assert worker.stdout is not None
    assert worker.stdout.readline() == "begun\n"
    worker.send_signal(signal.SIGKILL)
    worker.communicate()
    assert worker.returncode == -signal.SIGKILL


def later(seconds: float) -> None:
    """Time passes: the hearts of what was going on stand still."""
    moved = timedelta(seconds=seconds)
    for work in SeasonWork.objects.all():
        SeasonWork.objects.filter(pk=work.pk).update(heartbeat=work.heartbeat - moved)


@pytest.mark.parametrize("path", list(KINDS))
def test_a_worker_killed_in_the_middle_is_noticed_told_and_made_good(
    path: str, tmp_path: Path, settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.DATA_DIR = tmp_path
    kind = KINDS[path]
    contest = make_season(2).contests.first()
    DBTaskResult.objects.all().delete()
    SeasonWork.objects.all().delete()
    kind.ask(contest)
    assert DBTaskResult.objects.get().task_path == path
    kill_in_the_middle(kind.hang, tmp_path)
    assert DBTaskResult.objects.get().status == "RUNNING"
    client: Client = client_for(contest, "organiser")
    page = reverse(kind.page, args=[contest.slug])
    assert kind.says not in client.get(page).content.decode()  # it might still be alive

    assert fail_abandoned_tasks() == 1  # the server starts the next worker
    later(181)
    text = client.get(page).content.decode()
    mended = reverse(kind.mended, args=[contest.slug])
    assert kind.says in text
    assert kind.says in client.get(mended).content.decode()
    again = reverse(kind.again, args=[contest.slug])
    assert f'action="{again}"' in text or again == page
    assert client.post(again).status_code == 302
    if connection.vendor == "sqlite":
        monkeypatch.setenv("DATABASE_URL", f"sqlite:///{connection.settings_dict['NAME']}")  # for the worker's child
        call_command("db_worker", queue_name="*", interval=0, batch=True, startup_delay=False, verbosity=0)
        assert kind.done(contest)
        assert kind.says not in client.get(mended).content.decode()
    else:
        assert DBTaskResult.objects.filter(status="READY").count() == 1


def test_a_run_whose_task_never_began_is_told_as_well() -> None:
    """The worker was killed between taking the task and beginning with it."""
    contest = make_season(2).contests.first()
    DBTaskResult.objects.all().delete()
    SeasonWork.objects.all().delete()
    asked = season_work.ask(season_of(contest))
    later(181)
    assert season_work.last_work(season_of(contest)).state == "waiting"  # its task is there
    DBTaskResult.objects.get().claim("a worker that is gone")
    fail_abandoned_tasks()
    assert season_work.last_work(season_of(contest)).state == "failed"
    assert season_work.ask(season_of(contest)).pk != asked.pk


def test_upkeep_that_was_broken_off_is_done_at_the_next_start(tmp_path: Path) -> None:
    upkeep.enqueue()
    kill_in_the_middle("import contest.tasks as tasks; tasks.import_module = hang", tmp_path)
    assert fail_abandoned_tasks() == 1
    upkeep.enqueue()
    DBTaskResult.objects.filter(status="FAILED").update(finished_at=timezone.now() - timedelta(days=31))
    call_command("db_worker", queue_name="*", interval=0, batch=True, startup_delay=False, verbosity=0)
    assert [each.status for each in DBTaskResult.objects.all()] == ["SUCCESSFUL"]  # the broken one was cleared away
