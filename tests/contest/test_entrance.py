"""The ways in."""

import pytest
from django.core.management import call_command
from django.urls import reverse

from contest.models import Account, ContestRole, LogRow
from contest.services.passes import find_pass, issue_pass, reissue_pass, word_of
from tests.factories import give_part, make_account, make_contest, make_drawn

pytestmark = pytest.mark.django_db


def test_a_new_installation_asks_for_its_first_account(client):
    assert client.get("/").url == reverse("contest:first_account")
    answer = client.post(
        reverse("contest:first_account"),
        {"username": "cook", "password1": "brisket-at-dawn", "password2": "brisket-at-dawn"},
    )
    assert answer.status_code == 302
    assert Account.objects.get().username == "cook"
    assert client.get(reverse("contest:first_account")).status_code == 302


def test_a_pass_opens_its_door_and_ends_the_session_before(client):
    contest = make_drawn()
    organiser = give_part(contest, "organiser")
    client.force_login(organiser)
    word = word_of(issue_pass(opens="desk", contest=contest))
    client.post(reverse("contest:pass_in"), {"word": word.upper().replace("-", " ")})
    assert "_auth_user_id" not in client.session
    assert client.get(reverse("contest:day", args=[contest.slug])).status_code == 403
    assert LogRow.objects.get().what == "desk signed in"


def test_the_desks_pass_leads_to_check_in_before_the_draw_and_to_the_desk_after_it(client):
    for contest, room in ((make_contest(), "contest:check_in"), (make_drawn(), "contest:desk")):
        word = word_of(issue_pass(opens="desk", contest=contest))
        answer = client.post(reverse("contest:pass_in"), {"word": word})
        assert answer.url == reverse(room, args=[contest.slug])


def test_a_replaced_pass_no_longer_opens(client):
    contest = make_drawn()
    held = issue_pass(opens="table", contest=contest, table=contest.tables.get())
    word = word_of(held)
    reissue_pass(held=held, by="organiser")
    assert find_pass(word) is None
    answer = client.post(reverse("contest:pass_in"), {"word": word})
    assert answer.status_code == 422
    assert "No such pass word" in answer.content.decode()


def test_wrong_password_is_said_and_nothing_lost(client):
    make_account("cook")
    answer = client.post(reverse("contest:sign_in"), {"username": "cook", "password": "nope", "next": "/x"})
    assert answer.status_code == 422
    assert 'value="cook"' in answer.content.decode()


def test_a_visitor_is_asked_to_sign_in_whether_or_not_the_contest_exists(client):
    make_account()
    contest = make_contest()
    there = client.get(reverse("contest:day", args=[contest.slug]))
    nowhere = client.get(reverse("contest:day", args=["no-such-contest"]))
    assert (there.status_code, nowhere.status_code) == (302, 302)


def test_the_desk_holds_no_other_role():
    from django.db import IntegrityError, transaction

    contest = make_contest()
    for part in ("organiser", "announcer", "head_judge", "tally"):
        with pytest.raises(IntegrityError), transaction.atomic():
            ContestRole.objects.create(contest=contest, account=make_account(), desk=True, **{part: True})


def test_every_page_has_an_access_mark():
    call_command("check")
