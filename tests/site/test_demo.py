"""The demo, built by its command: what stands in it, and that it keeps away from everything else."""

import signal
import subprocess
from pathlib import Path

import pytest
from django.db import connection

from tests.site.served import command, environment, rows

pytestmark = pytest.mark.skipif(connection.vendor != "sqlite", reason="the demo has its own SQLite file on any server")


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command(*arguments), env=environment(folder), capture_output=True, text=True, timeout=1200)


def test_five_contests_are_published_and_the_newest_is_being_judged(demo_folder: Path) -> None:
    states = rows(demo_folder / "demo", "select name, state from contest_contest where kind = 'contest' order by date")
    assert states == [
        ("Example Cook-off One", "published"),
        ("Example Cook-off Two", "published"),
        ("Example Cook-off Three", "published"),
        ("Example Cook-off Four", "published"),
        ("Example Cook-off Five", "published"),
        ("Example Cook-off Six", "sealed"),
    ]
    assert rows(demo_folder / "demo", "select count(*) from reports_publication") == [(5,)]


def test_the_cook_has_practised(demo_folder: Path) -> None:
    practices = rows(demo_folder / "demo", "select question, closed_at is null from reports_practice order by id")
    assert practices == [("triangle", 0), ("score", 0), ("preference", 1)]
    assert rows(demo_folder / "demo", "select count(*) from reports_answer") == [(12,)]  # three tasters, four rounds


def test_the_newest_contest_has_sheets_to_enter(demo_folder: Path) -> None:
    """Of 24 teams at 4 tables: 6 boxes a flight, 6 seats; four sheets of chicken and ribs are to come."""
    cards = rows(
        demo_folder / "demo",
        "select category.key, count(*) from judging_card card join contest_box box on box.id = card.box_id "
        "join contest_category category on category.id = box.category_id "
        "join contest_contest contest on contest.id = box.contest_id "
        "where contest.slug = 'example-cook-off-six' group by category.key",
    )
    found = dict(cards)
    assert found["chicken"] == 24 * 6 - 6
    assert found["ribs"] == 24 * 6 - 3 * 6
    assert 1 <= found["pork"] <= 6
    assert "brisket" not in found


def test_every_happening_of_the_scenario_is_there(demo_folder: Path) -> None:
    data = demo_folder / "demo"
    assert sorted(rows(data, "select status, count(*) from contest_turnin where standing group by status")) == [
        ("absent", 1),
        ("accepted", 420),  # 360 of the published contests less the three, and 24 + 24 + 15 today
        ("late", 1),
        ("refused", 1),
    ]
    assert sorted(rows(data, "select kind, scope from judging_ruling")) == [
        ("disqualification", "box"),
        ("lost", "card"),
        ("penalty", "criterion"),
    ]
    assert rows(data, "select count(*) from contest_labelcorrection") == [(1,)]
    assert rows(data, "select kind, count(*) from judging_reading where kind != 'first' group by kind") == [
        ("correction", 1)
    ]
    assert rows(data, "select count(*) from contest_sitting where vacant") == [(2,)]  # pork and brisket
    decided = rows(data, "select outcome from judging_tally order by contest_id")
    assert '"decided_by": "lot"' in decided[2][0]
    assert '"decided_by": "lot"' in decided[4][0]
    assert '"decided_by": "counted_criterion:taste"' in decided[0][0]


CHECK = """
from judging.models import Tally
from judging.frozen import inputs_of, outcome_of
from judging.records import closing_records
from contest.selectors.categories import held_categories
from contest.models import Contest, LogChain
from tests.chains import broken_row
for tally in Tally.objects.all():
    records = closing_records(tally.contest)
    assert inputs_of(records) == tally.inputs, tally
    again = outcome_of(
        records, records.tally(),
        category_names={each.key: each.name for each in held_categories(tally.contest)},
        team_names={str(each.number): each.team.name for each in tally.contest.entries.select_related("team")},
    )
    assert again == tally.outcome, tally
assert all(broken_row(chain) is None for chain in LogChain.objects.all())
print("checked", Tally.objects.count(), LogChain.objects.count())
"""


def test_the_published_results_are_what_the_tally_makes_of_the_marks(demo_folder: Path) -> None:
    answer = run(demo_folder / "demo", "shell", "-v", "0", "-c", CHECK)
    assert answer.stdout.split() == ["checked", "5", "17"], answer.stderr  # one has no cards yet


def test_started_again_it_keeps_what_is_there_and_fresh_starts_over(demo_folder: Path, tmp_path: Path) -> None:
    import shutil

    shutil.copytree(demo_folder / "demo", tmp_path / "demo")
    real = tmp_path / "fairbox.sqlite3"
    real.write_bytes(b"a real contest")
    before = rows(tmp_path / "demo", "select uid from contest_contest order by id")
    assert "kept as it was left" in run(tmp_path, "demo", "--build-only").stdout
    assert rows(tmp_path / "demo", "select uid from contest_contest order by id") == before

    building = subprocess.Popen(
        command("demo", "--build-only", "--fresh"),
        env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert "Building" in building.stdout.readline()
    assert building.stdout.readline().startswith("1 of 6")
    building.send_signal(signal.SIGINT)
    _, errors = building.communicate(timeout=60)
    assert building.returncode != 0
    assert "Nothing half-built was kept" in errors
    assert rows(tmp_path / "demo", "select count(*) from contest_contest") == [(0,)]
    assert real.read_bytes() == b"a real contest"


def test_no_option_can_point_the_demo_at_a_real_contest(tmp_path: Path) -> None:
    answer = subprocess.run(
        [*command()[:1], "-m", "django", "demo", "--build-only", "--fresh"],
        env=environment(tmp_path), capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert answer.returncode == 1
    assert "keeps its data in a folder of its own" in answer.stderr
