"""What somebody sees when a page is not theirs, not there, or broken: words and a way on, never the inside."""

import pytest
from django.http import HttpResponse
from django.template.loader import render_to_string
from django.test import Client

from tests import factories

pytestmark = pytest.mark.django_db


def text_of(response: HttpResponse) -> str:
    return response.content.decode()


def test_a_page_that_is_not_there(client: Client) -> None:
    response = client.get("/no-such-page/")
    assert response.status_code == 404
    assert "There is no such page" in text_of(response)
    assert "Sign in" in text_of(response)


def test_a_page_of_another_role() -> None:
    contest = factories.make_drawn(teams=4)
    response = factories.client_for(contest, "desk").get(f"/c/{contest.slug}/tally/")
    assert response.status_code == 403
    assert "This page belongs to another role" in text_of(response)


def test_a_form_that_is_too_old() -> None:
    response = Client(enforce_csrf_checks=True).post("/sign-out/")
    assert response.status_code == 403
    assert "Nothing was changed" in text_of(response)


def test_a_broken_page_says_nothing_of_the_inside(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*arguments: object) -> None:
        raise RuntimeError("an inside matter")

    monkeypatch.setattr("contest.views.entrance.published_contests", broken)
    factories.make_account()
    client.raise_request_exception = False
    response = client.get("/")
    assert response.status_code == 500
    assert "Something broke on the server" in text_of(response)
    assert "inside matter" not in text_of(response)


def test_the_page_for_a_broken_server_needs_neither_database_nor_request() -> None:
    assert "Something broke" in render_to_string("500.html")


def test_too_many_wrong_passwords_are_answered_in_words(client: Client, settings: object) -> None:
    settings.AXES_ENABLED = True
    factories.make_account("organiser")
    wrong = {"username": "organiser", "password": "not this one"}
    answers = [client.post("/sign-in/", wrong) for _ in range(9)]
    assert [answer.status_code for answer in answers[:7]] == [422] * 7
    assert answers[-1].status_code == 429
    assert "rests for a quarter of an hour" in text_of(answers[-1])
    right = {"username": "organiser", "password": "a long password"}
    assert client.post("/sign-in/", right).status_code == 429
    assert client.post("/sign-in/", right, REMOTE_ADDR="192.0.2.44").status_code == 302


def test_a_form_without_its_hidden_part_says_so(client: Client) -> None:
    client.force_login(factories.make_account(), backend="django.contrib.auth.backends.ModelBackend")
    answer = client.post("/new/", {"name": "Example Cook-off", "date": "2026-06-13", "time_zone": "UTC"})
    assert answer.status_code == 422
    assert "hidden part of this form is missing" in text_of(answer)


def test_what_the_server_cannot_read_is_answered_in_words(client: Client) -> None:
    answer = client.post("/in/", b"word=" + b"x" * 2_200_000, content_type="application/x-www-form-urlencoded")
    assert answer.status_code == 400
    assert "Nothing was stored" in text_of(answer)


def test_keys_searches_and_columns_that_no_database_takes_break_nothing() -> None:
    owner = factories.make_account()
    owner.is_staff = owner.is_superuser = True
    owner.save()
    contest = factories.make_contest(teams=2)
    client = factories.client_for(contest, "organiser")
    answer = client.post(f"/c/{contest.slug}/judges/", {"name": "Judge Larch", "conflicts": ["9" * 40, "1"]})
    assert (answer.status_code, "not a valid" in text_of(answer)) == (422, True)
    client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    assert client.get("/site-admin/contest/account/", {"q": "7 " * 2000}).status_code == 200
    assert client.get("/site-admin/contest/team/", {"q": "7 " * 2000}).status_code == 200
    assert client.get(f"/site-admin/contest/account/{owner.pk}/change/").status_code == 200
    assert client.get("/site-admin/auth/group/").status_code == 404


def test_seats_that_stand_fast_say_so() -> None:
    contest = factories.make_drawn(teams=2)
    type(contest).objects.update(state="closed")
    answer = factories.client_for(contest, "organiser").post(f"/c/{contest.slug}/seating/exchange/", {"one": "x"})
    assert (answer.status_code, "the seats stand as they are" in text_of(answer)) == (422, True)
    answer = factories.client_for(contest, "organiser").post(f"/c/{contest.slug}/set-up/delete/", {})
    assert (answer.status_code, "a contest whose boxes are drawn stays" in text_of(answer)) == (422, True)
