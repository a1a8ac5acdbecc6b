"""Backups that make themselves: asked for at every closing and publication, never in the way, and told on the pages."""

import errno
import json
import os
import zipfile
from datetime import timedelta
from unittest.mock import patch

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from contest.models import Contest
from contest.tasks import fail_abandoned_tasks
from judging.models import Tally
from judging.services.tally import close_tally, revise, sign_off, unlock_marks
from reports.backup import make as making
from reports.backup.archive import BackupError
from reports.backup.make import folder, keep_newest, make, target_of
from reports.backup.tasks import asked_for
from reports.results.publishing import publish
from tests.factories import client_for, make_card, make_contest, make_drawn, mark_everything, take_in

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _own_folder(settings, tmp_path):
    settings.DATA_DIR = tmp_path


def ready(**fields) -> Contest:
    contest = make_drawn(make_contest(teams=4, categories=("chicken",), **fields))
    take_in(contest)
    mark_everything(contest)
    return contest


def closed() -> Contest:
    contest = ready()
    close_tally(contest=contest, by="clerk")
    contest.refresh_from_db()
    return contest


def work() -> None:
    """The background worker, until nothing is left to do."""
    call_command("db_worker", queue_name="*", interval=0, batch=True, startup_delay=False, verbosity=0)


def tasks() -> list[DBTaskResult]:
    return list(DBTaskResult.objects.filter(task_path__endswith="make_backup").order_by("enqueued_at"))


def page(contest: Contest, name: str = "reports:backups", part: str = "organiser") -> str:
    return client_for(contest, part).get(reverse(name, args=[contest.slug])).content.decode()


def test_closing_revising_and_publishing_ask_for_a_backup_each():
    contest = closed()
    sign_off(tally=Tally.objects.get(), by="head judge")
    publish(contest=contest, by="organiser")
    unlock_marks(contest=contest, reason="misread", by="clerk")
    box = contest.boxes.order_by("number").first()
    reading = box.cards.get(seat__letter="A").readings.get()
    reading.standing = False
    reading.save()
    make_card(box, reading.card.seat, {"appearance": 2, "taste": 2, "tenderness": 2}, kind="correction", reason="x")
    revise(contest=contest, reason="misread", by="clerk")
    assert [each.args_kwargs["args"] for each in tasks()] == [
        [contest.pk, "at closing"],
        [contest.pk, "at publication"],
        [contest.pk, "at the revision"],
    ]


def test_the_worker_makes_it_and_the_pages_say_so():
    contest = closed()
    assert "waits" in page(contest)
    work()
    (made,) = folder().iterdir()
    with zipfile.ZipFile(made) as archive:
        facts = json.loads(archive.read("backup.json"))
    assert facts["occasion"] == "at closing"
    assert facts["rows"]["judging_tally"] == 1
    for name in ("reports:backups", "judging:tally"):
        assert "made" in page(contest, name)
    assert made.name in page(contest)


def test_what_was_asked_for_before_a_backup_began_is_in_it():
    contest = closed()
    sign_off(tally=Tally.objects.get(), by="head judge")
    publish(contest=contest, by="organiser")
    work()
    assert len(list(folder().iterdir())) == 1
    assert len({each.return_value["file"] for each in tasks()}) == 1
    client_for(contest, "organiser").post(reverse("reports:backups", args=[contest.slug]))
    work()
    assert len(list(folder().iterdir())) == 2


def full(*_: object, **__: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_backup_that_fails_fails_no_closing_and_says_why_until_one_is_made(monkeypatch):
    contest = closed()
    with monkeypatch.context() as full_disk:
        full_disk.setattr("os.fsync", full)
        work()
    assert list(folder().iterdir()) == []  # nothing half-made stays
    contest.refresh_from_db()
    assert contest.state == Contest.State.CLOSED
    for name in ("reports:backups", "judging:tally"):
        assert "No space left on device" in page(contest, name)
    assert "Try again" in page(contest)
    answer = client_for(contest, "organiser").post(reverse("reports:backups", args=[contest.slug]))
    assert answer.status_code == 302
    work()
    assert len(list(folder().iterdir())) == 1
    assert "No space left" not in page(contest, "judging:tally")


def test_a_worker_that_cannot_even_be_asked_fails_no_closing(caplog):
    contest = ready()
    with patch("reports.backup.tasks.make_backup") as task:
        task.enqueue.side_effect = RuntimeError("no such table")
        close_tally(contest=contest, by="clerk")
        sign_off(tally=Tally.objects.get(), by="head judge")
        publish(contest=contest, by="organiser")
    contest.refresh_from_db()
    assert contest.state == Contest.State.PUBLISHED
    assert "no such table" in caplog.text


def test_a_closing_that_is_refused_asks_for_nothing():
    contest = ready()
    contest.boxes.first().cards.first().readings.all()
    with patch("judging.services.tally.closing_records", side_effect=RuntimeError), pytest.raises(RuntimeError):
        close_tally(contest=contest, by="clerk")
    assert tasks() == []


def test_a_backup_whose_worker_was_killed_is_told_and_made_at_the_second_try():
    contest = closed()
    (task,) = tasks()
    task.claim("a worker that is gone")
    assert asked_for(contest)[0].word == "being made"
    DBTaskResult.objects.update(started_at=timezone.now() - timedelta(minutes=11))
    assert asked_for(contest)[0].word == "broken off"  # nobody started a worker again
    DBTaskResult.objects.update(started_at=timezone.now())
    assert fail_abandoned_tasks() == 1  # the next worker's watcher saw it
    assert "The background worker ended in the middle of it." in page(contest, "judging:tally")
    client_for(contest, "organiser").post(reverse("reports:backups", args=[contest.slug]))
    work()
    assert [each.word for each in asked_for(contest)] == ["made", "broken off"]


def test_without_a_worker_the_page_says_what_it_waits_for():
    contest = closed()
    assert "It waits for the background worker" not in page(contest)
    DBTaskResult.objects.update(enqueued_at=timezone.now() - timedelta(minutes=1))
    for name in ("reports:backups", "judging:tally"):
        assert "It waits for the background worker" in page(contest, name)


@pytest.mark.parametrize("part", ["tally", "head_judge"])
def test_backups_are_the_organisers_business(part: str):
    contest = closed()
    assert "Backup" not in page(contest, "judging:tally", part)


def test_nobody_downloads_a_backup():
    contest = closed()
    work()
    client: Client = client_for(contest, "organiser")
    text = client.get(reverse("reports:backups", args=[contest.slug])).content.decode()
    (made,) = folder().iterdir()
    assert f'{made.name}"' not in text  # named, not linked
    for path in (f"/backups/{made.name}", f"/c/{contest.slug}/backups/{made.name}", f"/static/{made.name}"):
        assert client.get(path).status_code == 404


def test_another_contest_of_the_same_site_is_not_mentioned():
    first, second = closed(), ready()
    work()
    assert len(asked_for(first)) == 1
    assert asked_for(second) == []


def test_the_newest_of_those_made_by_themselves_are_kept_and_all_made_by_hand():
    for second in range(25):
        (folder() / f"fairbox-20260613T1200{second:02}Z-by-itself.zip").touch()
    (folder() / "fairbox-20200101T000000Z.zip").touch()
    (folder() / "something-else.zip").touch()
    gone = keep_newest()
    assert gone == [f"fairbox-20260613T1200{second:02}Z-by-itself.zip" for second in range(5)]
    assert len(list(folder().iterdir())) == 22


@pytest.mark.parametrize("step", ["os.fsync", "os.replace", "zipfile.ZipFile.write", "reports.backup.archive.sum_of"])
def test_a_full_disk_at_any_step_leaves_no_file_that_looks_like_a_backup(step: str, monkeypatch):
    closed()
    target = target_of("", now=timezone.now())
    with monkeypatch.context() as full_disk:
        full_disk.setattr(step, full)
        with pytest.raises(BackupError, match="No space left on device"):
            make(target)
    assert list(folder().iterdir()) == []


def test_a_copy_that_is_not_what_was_copied_is_no_backup(monkeypatch):
    """The reading back is what makes it one: here the disk gives back something else than was written."""
    closed()
    honest = making.archive.DATABASES[connection.vendor].read

    def short_of_a_row(path):
        content = honest(path)
        return type(content)({**content.rows, "contest_box": 3}, content.chains, content.migrations)

    monkeypatch.setattr(making.archive.DATABASES[connection.vendor], "read", short_of_a_row)
    with pytest.raises(BackupError, match="contest_box has 3 rows instead of 4"):
        make(target_of("", now=timezone.now()))
    assert list(folder().iterdir()) == []


def test_halves_that_a_power_cut_left_are_swept_away():
    closed()
    old, young = folder() / ".fairbox-1.zip.part", folder() / ".fairbox-2.zip.part"
    old.touch()
    young.touch()
    os.utime(old, (1, 1))
    made = make(target_of("", now=timezone.now()))
    assert {path.name for path in folder().iterdir()} == {made.name, young.name}
