"""How long a way in stays open: a captain's and a judge's end with their contest."""

import json

import pytest
from django.test import Client

from contest.access import PASS_KEY
from contest.models import Contest, FailedTries, SeatToken
from contest.services.passes import issue_pass, reissue_pass, word_of
from contest.services.seat_tokens import text_of
from judging.services.tally import close_tally, lock_marks
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest() -> Contest:
    made = factories.make_drawn(teams=4, phones=True)
    factories.take_in(made)
    factories.mark_everything(made)
    return made


def entered(contest: Contest, opens: str) -> Client:
    """Somebody who typed the pass word of table 1, or of its seat A."""
    table = contest.tables.get(number=1)
    door = {"table": table} if opens == "table" else {"seat": table.seats.get(letter="A")}
    client = Client()
    answer = client.post("/in/", {"word": word_of(issue_pass(opens=opens, contest=contest, **door))})
    assert answer.status_code == 302
    return client


def test_a_captains_session_and_pass_word_end_with_the_contest(contest: Contest) -> None:
    captain = entered(contest, "table")
    page = f"/c/{contest.slug}/table/1/"
    assert captain.get(page).status_code == 200
    lock_marks(contest=contest, by="clerk")
    assert captain.get(page).status_code == 200  # marks may be unlocked again: the table is not done yet
    close_tally(contest=contest, by="clerk")
    assert captain.get(page)["Location"] == f"/sign-in/?next={page}"
    assert "Sign out" not in captain.get("/").content.decode()
    word = word_of(issue_pass(opens="table", contest=contest, table=contest.tables.get(number=1)))
    answer = Client().post("/in/", {"word": word})
    assert answer.status_code == 422
    assert "The tally of this contest is closed" in answer.content.decode()
    assert FailedTries.objects.count() == 0  # it was no wrong word


def test_a_part_of_a_page_that_outlives_the_session_has_the_page_loaded_anew(contest: Contest) -> None:
    captain = entered(contest, "table")
    close_tally(contest=contest, by="clerk")
    news = captain.get(f"/c/{contest.slug}/table/1/news/?category=chicken", headers={"hx-request": "true"})
    assert (news.status_code, news["HX-Refresh"], news.content) == (200, "true", b"")


def test_a_judges_session_and_token_end_with_the_contest(contest: Contest) -> None:
    judge = entered(contest, "seat")
    assert judge.get(f"/c/{contest.slug}/seat/").status_code == 200
    bearer = {"authorization": f"Bearer {text_of(SeatToken.objects.get())}"}
    phone = Client()
    assert phone.get("/api/seat/", headers=bearer).status_code == 200
    close_tally(contest=contest, by="clerk")
    assert judge.get(f"/c/{contest.slug}/seat/")["Location"].startswith("/sign-in/")
    assert phone.get("/api/seat/", headers=bearer).status_code == 401
    card = {"key": "a" * 32, "seat": "1A", "box": contest.boxes.first().number, "marks": {"appearance": "5"}}
    answer = phone.post("/api/cards/", json.dumps(card), content_type="application/json", headers=bearer)
    assert answer.status_code == 401
    assert "The tally is closed" in answer.json()["reason"]


def test_a_replaced_pass_ends_the_session_that_it_opened(contest: Contest) -> None:
    captain = entered(contest, "table")
    reissue_pass(held=issue_pass(opens="table", contest=contest, table=contest.tables.get(number=1)), by="organiser")
    assert captain.get(f"/c/{contest.slug}/table/1/")["Location"].startswith("/sign-in/")


def test_a_session_of_a_pass_ends_by_itself_and_begins_under_a_key_of_its_own(contest: Contest) -> None:
    captain = entered(contest, "table")
    assert captain.session.get_expiry_age() == pytest.approx(3 * 24 * 3600, abs=60)
    before = captain.session.session_key
    desk = word_of(issue_pass(opens="desk", contest=contest))
    captain.post("/in/", {"word": desk})
    assert captain.session.session_key != before  # nobody is signed in by a key that was known before
    assert captain.session[PASS_KEY]


def test_signing_out_ends_the_session_on_the_server(contest: Contest) -> None:
    captain = entered(contest, "table")
    stolen = captain.cookies["sessionid"].value
    captain.post("/sign-out/")
    thief = Client()
    thief.cookies["sessionid"] = stolen
    assert thief.get(f"/c/{contest.slug}/table/1/")["Location"].startswith("/sign-in/")
