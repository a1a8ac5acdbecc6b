"""The public result: who sees it when, what it says, and what it keeps to itself."""

import pytest
from django.urls import reverse

from contest.models import Contest
from contest.services.log import write_log
from contest.services.passes import issue_pass, reissue_pass
from contest.services.sealing import open_seal
from judging.services.tally import close_tally, sign_off
from reports.results.publishing import publish
from tests.factories import client_for, make_contest, make_drawn, mark_everything, take_in, unguarded

pytestmark = pytest.mark.django_db

PAGES = ("results", "results_table", "results_csv", "results_xlsx")
ALL = ("visitor", "stranger", "organiser", "announcer", "head_judge", "tally", "desk", "desk pass", "captain", "judge")


def make_ready(**fields):
    contest = make_drawn(make_contest(teams=6, tables=2, seats=6, **fields))
    take_in(contest)
    mark_everything(contest)
    return contest


def make_published(**fields):
    contest = make_ready(**fields)
    sign_off(tally=close_tally(contest=contest, by="head judge"), by="head judge")
    publish(contest=contest, by="organiser")
    contest.refresh_from_db()
    return contest


def address(contest, name="results", **more):
    return reverse(f"reports:{name}", kwargs={"slug": contest.slug, **more})


@pytest.mark.parametrize("stage", ["preparing", "sealed", "closed", "signed"])
def test_before_publishing_there_is_no_such_page_for_anybody(stage):
    contest = make_contest() if stage == "preparing" else make_ready()
    if stage in ("closed", "signed"):
        tally = close_tally(contest=contest, by="head judge")
        if stage == "signed":
            sign_off(tally=tally, by="head judge")
    for part in ALL:
        client = client_for(contest, part)
        for name in PAGES:
            assert client.get(address(contest, name)).status_code == 404, (part, name)


def test_afterwards_everybody_sees_it():
    contest = make_published()
    for part in ALL:
        client = client_for(contest, part)
        for name in PAGES:
            assert client.get(address(contest, name)).status_code == 200, (part, name)


def test_a_practice_has_no_page_of_results_for_anybody(client):
    contest = make_published(kind=Contest.Kind.PRACTICE)
    assert client.get(address(contest)).status_code == 404
    assert client_for(contest, "organiser").get(address(contest)).status_code == 404


def test_champions_first_then_places_with_names(client):
    contest = make_published()
    text = client.get(address(contest)).content.decode()
    winner = contest.boxes.get(number="203").pairing.entry
    assert text.index("Grand champion") < text.index("Chicken") < text.index("Overall")
    assert winner.team.name in text
    assert ">184<" in text
    # Everything of a row opens by a link that works without a script.
    working = address(contest, "result_working", revision=1, key="chicken", number=winner.number)
    assert f'href="{working}"' in text
    page = client.get(working).content.decode()
    assert "Total 184." in page
    fold = client.get(working, headers={"HX-Request": "true"}).content.decode()
    assert "Total 184." in fold
    assert "<html" not in fold


def test_public_workings_name_no_table_and_no_seat(client):
    contest = make_published()
    for entry in contest.entries.all():
        for more in ({"key": "chicken"}, {"key": "ribs"}, {}):
            name = "result_working" if more else "overall_working"
            text = client.get(
                address(contest, name, revision=1, number=entry.number, **more), headers={"HX-Request": "true"}
            ).content.decode()
            assert text.count("<p>") >= 2
            assert "Table" not in text
            assert "eat A" not in text


def test_an_overall_working_speaks_of_teams_by_name(client):
    contest = make_published()
    entry = contest.entries.get(number=1)
    text = client.get(address(contest, "overall_working", revision=1, number=1)).content.decode()
    assert entry.team.name in text
    assert "Chicken" in text
    assert "Together" in text


@pytest.mark.parametrize("more", [{"key": "pork", "number": 1}, {"key": "ribs", "number": 99}])
def test_a_working_that_there_is_not(client, more):
    contest = make_published()
    assert client.get(address(contest, "result_working", revision=1, **more)).status_code == 404
    assert client.get(address(contest, "overall_working", revision=1, number=99)).status_code == 404


def test_how_the_contest_was_sealed_is_told_from_the_log(client):
    contest = make_ready(one_person=True)
    held = issue_pass(opens="table", contest=contest, table=contest.tables.get(number=2))
    reissue_pass(held=held, by="organiser")
    write_log(contest=contest, chain="day", what="desk signed in", facts={}, by="turn-in desk", address="192.0.2.7")
    write_log(
        contest=contest,
        chain="day",
        what="labels corrected",
        facts={"category": "ribs", "boxes": ["207", "209"], "reason": "read out wrongly", "tally": "sealed"},
        by="Desk Person",
    )
    open_seal(contest=contest, name=contest.name, reason="a claim of illness", by="organiser")
    sign_off(tally=close_tally(contest=contest, by="head judge"), by="head judge")
    publish(contest=contest, by="organiser")
    text = client.get(address(contest)).content.decode()
    for line in (
        "f" * 64,
        "c" * 64,
        "One person worked both the turn-in desk and the tally",
        "A new pass word was made for a table captain of table 2",
        "Somebody signed in at the turn-in desk.",
        "corrected two swapped labels: boxes 207 and 209. Reason: read out wrongly",
        "The seal was opened early: the organiser saw names beside boxes from here on. Reason: a claim of illness",
        "The tally was closed.",
        "The head judge signed off revision 1.",
        "Revision 1 was published.",
    ):
        assert line in text, line
    for private in ("192.0.2.7", "Desk Person", "secret\n"):
        assert private not in text


def test_a_box_that_was_not_judged_says_why_once_published(client):
    contest = make_ready()
    with unguarded():
        contest.boxes.get(number="201").turn_ins.update(status="late", reason="twelve minutes")
        contest.boxes.get(number="202").turn_ins.update(status="absent")
    sign_off(tally=close_tally(contest=contest, by="head judge"), by="head judge")
    publish(contest=contest, by="organiser")
    text = client.get(address(contest)).content.decode()
    assert "came late" in text
    assert "not handed in" in text


def test_the_table_sorts_by_any_column(client):
    contest = make_published()
    plain = client.get(address(contest, "results_table")).content.decode()
    ribs = client.get(address(contest, "results_table"), {"sort": "c1_place"}).content.decode()
    down = client.get(address(contest, "results_table"), {"sort": "-c1_place"}).content.decode()
    best = contest.boxes.filter(category__key="ribs").get(number="211").pairing.entry.team.name
    assert contest.entries.count() == 6
    assert ribs.count("<tr>") == plain.count("<tr>")
    # Box 211 is the best of the ribs: 211 mod 4 is 3.
    names = list(contest.entries.values_list("team__name", flat=True))
    assert min(names, key=lambda name: ribs.index(name)) == best
    assert max(names, key=lambda name: down.index(name)) == best


def test_the_front_page_leads_to_the_result(client):
    contest = make_published()
    client_for(contest, "organiser")
    assert address(contest) in client.get("/").content.decode()


def test_the_page_takes_few_queries(client, django_assert_max_num_queries):
    contest = make_published()
    with django_assert_max_num_queries(12):
        client.get(address(contest))
