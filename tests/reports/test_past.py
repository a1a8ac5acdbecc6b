"""Results from contests elsewhere: keyed by hand, from a table, from a verified results package."""

import io
import json
import uuid
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from openpyxl import Workbook

from contest.models import Contest, Team
from judging.models import Tally
from reports.models import ImportedContest, PastResult, Publication, TeamAlias
from reports.rules.package.archive import pack, unpack
from reports.season.cards import card_rows
from reports.season.elsewhere import past_boxes
from reports.season.own import imported_rows
from tests.reports.cooks import clock, make_cook, page
from tests.running import close_and_publish, run_day

__all__ = ["clock"]
pytestmark = pytest.mark.django_db


@pytest.fixture
def cook():
    return make_cook()


def typed(**more):
    return {
        "contest_name": "Example Cook-off Far Away",
        "date": "2025-09-20",
        "category": "Pork Ribs",
        "place": "5",
        "field": "24",
        "total": "168,5",
        "possible": "180",
        "table": "3",
        "marks": "8 9 8 / 7 8.5 8",
        **more,
    }


# One by hand


def test_one_score_sheet_keyed_by_hand(cook):
    team, client = cook
    assert client.post(page("past", team), typed()).status_code == 302
    (box,) = past_boxes(team)
    assert (box.contest, box.date, box.key, box.category) == (
        "2025-09-20 example cook-off far away", date(2025, 9, 20), "pork-ribs", "Pork Ribs",
    )  # fmt: skip
    assert (box.place, box.field, box.total, box.possible, box.table) == (5, 24, "168.5", "180", "3")
    assert box.marks == [["8", "9", "8"], ["7", "8.5", "8"]]
    assert box.has_field is False
    shown = client.get(page("past", team)).content.decode()
    assert "5 of 24" in shown
    assert "nobody can tell a hard table from a weaker box" in shown


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"place": "25"}, "Place 25 of a field of 24: one of the two is wrong."),
        ({"total": "181"}, "181 points where 180 are possible: one is wrong."),
        ({"total": "many"}, "Points “many”: type points as a number, for example 168.5."),
        ({"total": "1e3000"}, "type points as a number"),
        ({"total": "NaN"}, "type points as a number"),
        ({"date": "2999-01-01"}, "still to come"),
        ({"category": "!!!"}, "begin it with a letter"),
        ({"marks": "8 9 / 7"}, "different numbers of marks"),
        ({"marks": "8 x 9"}, "judge 1: “8 x 9” are no marks"),
        ({"place": "", "total": "", "marks": ""}, "at least the place, the points or the marks"),
    ],
)
def test_what_cannot_be_is_refused_and_stays_typed(cook, more, said):
    team, client = cook
    answer = client.post(page("past", team), typed(**more))
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert 'value="Example Cook-off Far Away"' in answer.content.decode()
    assert not PastResult.objects.exists()


def test_the_same_box_twice_is_refused(cook):
    team, client = cook
    client.post(page("past", team), typed())
    answer = client.post(page("past", team), typed(place="6"))
    assert "among your past results already" in answer.content.decode()
    assert PastResult.objects.count() == 1


def test_a_result_is_changed_and_deleted_by_its_team_only(cook):
    team, client = cook
    client.post(page("past", team), typed())
    row = PastResult.objects.get()
    other, other_client = make_cook(Team.objects.create(name="Team Birch"))
    for owner in (team, other):
        assert other_client.get(page("past_result", owner, row.pk)).status_code == 404
        assert other_client.post(page("past_result", owner, row.pk), {"delete": "yes"}).status_code == 404
    assert 'value="8 9 8 / 7 8.5 8"' in client.get(page("past_result", team, row.pk)).content.decode()
    client.post(page("past_result", team, row.pk), typed(place="4"))
    assert PastResult.objects.get().place == 4
    client.post(page("past_result", team, row.pk), {"delete": "yes"})
    assert not PastResult.objects.exists()


# Many from a table

LINES = """contest,date,category,place,field,total,possible,table,marks
Example Cook-off Far Away,2025-09-20,Ribs,5,24,168.5,180,3,8 9 8 / 7 8 8
Example Cook-off Far Away,2025-09-20,ribs,6,24,160,180,,
Example Cook-off Near,20.9.2025,Pork,5,24,168.5,180,,
Example Cook-off Near,2025-09-27,Pork,fifth,24,,,,
,2025-09-27,,5,24,,,,
Example Cook-off Near,2999-01-01,Pork,5,,,,,
Example Cook-off Near,2025-09-27,Brisket,25,24,,,,
Example Cook-off Near,2025-09-27,Chicken,=1+1,24,,,,
Example Cook-off Near,2025-09-27,Dessert,,24,,,,
Example Cook-off Near,2025-10-04,Chicken,2,18,"171,25",180,,
"""


def upload(client, team, data, name="past.csv"):
    return client.post(page("past_import", team), {"file": SimpleUploadedFile(name, data)})


def problems(answer) -> dict[int, list[str]]:
    return {row.number: row.problems for row in answer.context["preview"].rows}


def test_every_row_is_shown_with_its_reason_before_anything_is_kept(cook):
    team, client = cook
    answer = upload(client, team, LINES.encode())
    assert answer.status_code == 200
    found = problems(answer)
    assert [number for number, said in found.items() if not said] == [2, 11]
    said = {number: " ".join(texts) for number, texts in found.items() if texts}
    assert "The same contest, date and category as row 2" in said[3]
    assert "Date “20.9.2025”: type it as" in said[4]
    assert "Place “fifth”: type a whole number" in said[5]
    assert said[6] == "No contest: fill it in. No category: fill it in."
    assert "2999-01-01 is still to come" in said[7]
    assert "Place 25 of a field of 24" in said[8]
    assert "holds a formula" in said[9]
    assert "at least the place, the points or the marks" in said[10]
    assert all(text in answer.content.decode() for text in ("row 3", "stays out", "Import the 2 good rows"))
    assert not PastResult.objects.exists()
    confirmed = client.post(page("past_import", team), {"shown": answer.context["shown"]})
    assert confirmed.status_code == 302
    assert [(box.key, box.place, box.total) for box in past_boxes(team)] == [
        ("ribs", 5, "168.5"),
        ("chicken", 2, "171.25"),
    ]


def test_a_workbook_is_read_as_well(cook):
    """Dates as a spreadsheet stores them, whole numbers without a point."""
    team, client = cook
    book = Workbook()
    book.active.append(["Date", "Contest name", "Rank", "Category"])
    book.active.append([date(2025, 9, 20), "Example Cook-off Far Away", 7, "Brisket"])
    out = io.BytesIO()
    book.save(out)
    answer = upload(client, team, out.getvalue(), "past.xlsx")
    assert problems(answer) == {2: []}
    client.post(page("past_import", team), {"shown": answer.context["shown"]})
    (box,) = past_boxes(team)
    assert (box.date, box.place, box.field, box.total) == (date(2025, 9, 20), 7, None, "")


def test_the_empty_tables_are_read_back(cook):
    team, client = cook
    csv = client.get(page("past_table", team, "csv")).content
    row = b"Example Cook-off Far Away,2025-09-20,Ribs,5,,,,,\r\n"
    assert problems(upload(client, team, csv + row)) == {2: []}
    workbook = client.get(page("past_table", team, "xlsx")).content
    answer = upload(client, team, workbook, "past.xlsx")
    assert answer.context["preview"].rows == []
    assert client.get(page("past_table", team, "ods")).status_code == 404


def test_nothing_is_imported_that_differs_from_what_was_shown(cook):
    team, client = cook
    answer = upload(client, team, LINES.encode())
    client.post(page("past", team), typed(category="Ribs"))
    confirmed = client.post(page("past_import", team), {"shown": answer.context["shown"]})
    assert confirmed.status_code == 422
    assert "changed while you looked, so nothing was imported" in confirmed.content.decode()
    assert PastResult.objects.count() == 1
    broken = client.post(page("past_import", team), {"shown": answer.context["shown"] + "x"})
    assert "did not come back as it was shown" in broken.content.decode()
    other, other_client = make_cook(Team.objects.create(name="Team Birch"))
    swapped = other_client.post(page("past_import", other), {"shown": answer.context["shown"]})
    assert "did not come back as it was shown" in swapped.content.decode()


# A results package


@dataclass(frozen=True)
class Elsewhere:
    """A contest of another installation: its package, its teams' uids by number, and what its tally said."""

    package: bytes
    uid: uuid.UUID
    uids: dict[int, uuid.UUID]
    names: list[str]
    outcome: dict
    inputs: dict
    fingerprint: str


def _run_elsewhere() -> Elsewhere:
    """Runs a day inside a transaction that is rolled back: here it never was."""
    with transaction.atomic():
        contest = close_and_publish(run_day())
        tally = Tally.objects.get(contest=contest)
        teams = {entry.number: entry.team for entry in contest.entries.select_related("team")}
        kept = Elsewhere(
            package=bytes(Publication.objects.get(contest=contest).package),
            uid=contest.uid,
            uids={number: team.uid for number, team in teams.items()},
            names=[team.name for team in teams.values()],
            outcome=tally.standings,
            inputs=tally.source,
            fingerprint=contest.draws.last().fingerprint,
        )
        transaction.set_rollback(True)
    return kept


@pytest.fixture(scope="module")
def elsewhere(django_db_setup, django_db_blocker):
    with django_db_blocker.unblock():
        return _run_elsewhere()


def imported(team):
    """The cards of all that the team brought and that is kept."""
    return [row for each in ImportedContest.objects.filter(team=team, pending=None) for row in imported_rows(each)]


def bring(client, team, package, **more):
    return client.post(page("past_package", team), {"package": SimpleUploadedFile("package.zip", package), **more})


def test_a_team_known_by_its_uid_is_kept_at_once(elsewhere):
    team, client = make_cook(Team.objects.create(name="Team Alder", uid=elsewhere.uids[3]))
    answer = bring(client, team, elsewhere.package)
    assert answer.status_code == 302
    boxes = {box.key: box for box in past_boxes(team)}
    expected = {
        category.key: (box.rank, sum(other.rank is not None for other in category.boxes), box.total or "")
        for category in elsewhere.outcome.categories
        for box in category.boxes
        if box.team == "3"
    }
    assert {key: (box.place, box.field, box.total) for key, box in boxes.items()} == expected
    assert all(box.has_field and box.contest == str(elsewhere.uid) for box in boxes.values())
    assert "verified" in client.get(page("past", team)).content.decode()
    assert not TeamAlias.objects.exists()
    # Uneven weights: five cards of 20 × (0.6875 + 1.9125 + 1.15) = 75 each
    assert {box.possible for box in boxes.values()} == {"375"}


def test_the_field_is_kept_without_names(elsewhere):
    team, client = make_cook(Team.objects.create(name="Team of Ours", uid=elsewhere.uids[3]))
    bring(client, team, elsewhere.package)
    kept = ImportedContest.objects.get()
    stored = json.dumps([kept.boxes, kept.rules], default=str)
    assert not [name for name in elsewhere.names if name in stored]
    assert kept.pending is None
    rows = imported(team)
    accepted = [box for box in elsewhere.inputs.boxes if box.status == "accepted"]
    assert len(rows) == sum(len(box.cards) for box in accepted) > 30
    assert {row.team for row in rows} == {str(elsewhere.uids[int(box.team)]) for box in accepted}
    assert str(team.uid) in {row.team for row in rows}
    row = rows[0]
    assert row.judge == f"{elsewhere.uid}:{row.table}{row.seat}"
    # Uneven weights: marks 1 to 20, so a share is (mark − 1) / 19; the weights add up to 3.75.
    weights = {"appearance": 0.6875, "taste": 1.9125, "tenderness": 1.15}
    assert row.shares["weighted"] == pytest.approx(sum(weights[key] * row.shares[key] for key in weights) / 3.75)


def test_an_imported_field_can_be_fitted():
    """What the season's model says of the tables of a contest that was run here, it says of the same contest read
    from its package."""
    with transaction.atomic():
        contest = close_and_publish(run_day())
        package = bytes(Publication.objects.get(contest=contest).package)
        tally = Tally.objects.get(contest=contest)
        here = list(card_rows(contest, tally))
        uid = contest.entries.get(number=3).team.uid
        transaction.set_rollback(True)
    team, client = make_cook(Team.objects.create(name="Team Alder", uid=uid))
    bring(client, team, package)
    there = imported(team)
    facts = [
        sorted((row.category, row.box, row.table, row.seat, row.team, sorted(row.shares.items())) for row in rows)
        for rows in (here, there)
    ]
    assert facts[0] == facts[1]
    # Judges are named here; elsewhere each is a seat of its table, and there as many of them.
    assert len({row.judge for row in there}) == len({row.judge for row in here}) == 12


def test_a_team_of_another_name_is_asked_for_once(elsewhere):
    team, client = make_cook()
    answer = bring(client, team, elsewhere.package, draw=elsewhere.fingerprint)
    aside = ImportedContest.objects.get()
    assert answer["Location"] == page("past_package_team", team, aside.pk)
    assert (past_boxes(team), imported(team)) == ([], [])
    assert "say which of its teams is yours" in client.get(page("past", team)).content.decode()
    shown = client.get(answer["Location"]).content.decode()
    assert all(name in shown for name in elsewhere.names)
    refused = client.post(answer["Location"], {})
    assert refused.status_code == 422
    assert "Choose which of the teams is yours." in refused.content.decode()
    client.post(answer["Location"], {"number": "2"})
    assert TeamAlias.objects.get().uid == elsewhere.uids[2]
    assert len(past_boxes(team)) == 2
    assert str(team.uid) in {row.team for row in imported(team)}, "the alias stands for the team"
    assert str(elsewhere.uids[2]) not in {row.team for row in imported(team)}
    kept = ImportedContest.objects.get()
    assert (kept.pending, kept.against_print) == (None, True)
    assert bring(client, team, elsewhere.package)["Location"] == page("past", team), "known from now on"
    assert ImportedContest.objects.count() == 1


def test_a_package_laid_aside_can_be_let_go(elsewhere):
    team, client = make_cook()
    answer = bring(client, team, elsewhere.package)
    client.post(answer["Location"], {"discard": "yes"})
    assert not ImportedContest.objects.exists()


def test_a_package_that_does_not_hold_is_not_kept(elsewhere):
    team, client = make_cook(Team.objects.create(name="Team Alder", uid=elsewhere.uids[3]))
    files = unpack(elsewhere.package)
    lines = files["cards.csv"].decode().split("\n")
    first = lines[1].split(",")
    first[5] = "9" if first[5] != "9" else "2"
    files["cards.csv"] = "\n".join([lines[0], ",".join(first), *lines[2:]]).encode()
    answer = bring(client, team, pack(files))
    assert answer.status_code == 422
    assert "does not hold, so nothing was kept" in answer.content.decode()
    assert "not what the log says" in answer.content.decode()
    answer = bring(client, team, elsewhere.package, draw="0" * 64)
    assert answer.status_code == 422
    assert "not what was printed on the day" in answer.content.decode()
    answer = bring(client, team, b"no zip at all")
    assert answer.status_code == 422
    assert "cannot be unpacked" in answer.content.decode()
    assert not ImportedContest.objects.exists()
    assert not PastResult.objects.exists()


def test_a_contest_that_was_run_here_is_not_imported(cook):
    contest = close_and_publish(run_day())
    team, client = make_cook(contest.entries.get(number=1).team)
    package = bytes(Publication.objects.get(contest=contest).package)
    answer = bring(client, team, package)
    assert answer.status_code == 422
    assert "was run here" in answer.content.decode()
    assert Contest.objects.filter(uid=contest.uid).exists()


def test_what_was_typed_gives_way_to_the_package(elsewhere):
    team, client = make_cook(Team.objects.create(name="Team Alder", uid=elsewhere.uids[3]))
    facts = json.loads(unpack(elsewhere.package)["contest.json"])
    client.post(page("past", team), typed(contest_name=facts["name"], date=facts["date"], category="Ribs"))
    bring(client, team, elsewhere.package)
    rows = PastResult.objects.filter(team=team, key="ribs")
    assert [row.imported_id is not None for row in rows] == [True]
    imported = rows.get()
    assert client.get(page("past_result", team, imported.pk)).status_code == 404, "proven results are not edited"
    client.post(page("past_package_delete", team, imported.imported_id))
    assert not PastResult.objects.exists()


def test_one_teams_import_is_no_other_teams(elsewhere):
    team, client = make_cook(Team.objects.create(name="Team Alder", uid=elsewhere.uids[3]))
    bring(client, team, elsewhere.package)
    other, other_client = make_cook(Team.objects.create(name="Team Birch"))
    assert imported(other) == []
    assert past_boxes(other) == []
    number = ImportedContest.objects.get().pk
    for owner in (team, other):
        assert other_client.post(page("past_package_delete", owner, number)).status_code == 404
        assert other_client.get(page("past_package_team", owner, number)).status_code == 404
    bring(other_client, other, elsewhere.package)
    assert ImportedContest.objects.count() == 2, "each team has its own"


def test_totals_of_a_package_are_exact(elsewhere):
    """A box with a lost card counts five cards scaled to the full number: p/q stays p/q."""
    team, client = make_cook(Team.objects.create(name="Team Alder", uid=elsewhere.uids[3]))
    bring(client, team, elsewhere.package)
    for box in past_boxes(team):
        assert box.total == "" or 0 < Fraction(box.total) <= Fraction(box.possible)
