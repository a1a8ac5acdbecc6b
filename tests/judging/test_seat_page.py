"""The judge's page as the server makes it, the switch in the set-up, the slips, and the captain's word on portions."""

import json
import re

import pytest
from django.test import Client
from django.urls import reverse

from contest.models import LogRow, SeatToken
from contest.services import throttle
from contest.services.passes import find_pass, issue_pass, word_of
from contest.services.seat_tokens import find_token
from judging.models import Card, PortionsRound, Reading
from judging.services.rulings import rule
from tests.factories import client_for, make_card, make_drawn
from tests.judging.pages import address
from tests.judging.phones import Phone, card, make_token, marks, new_key

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    return make_drawn(teams=6, tables=2, phones=True)


@pytest.fixture
def judge(contest):
    return client_for(contest, "judge")


def state_of(answer):
    found = re.search(r'<script id="seat-state" type="application/json">(.*?)</script>', answer.content.decode())
    return json.loads(found[1])


def plain_form(client, contest, number, **fields):
    page = client.get(f"{address(contest, 'seat')}?box={number}").content.decode()
    key = re.search(r'name="key" value="([0-9a-f]{32})"', page)[1]
    return {"key": key, "box": number, "mark-appearance": "8", "mark-taste": "9", "mark-tenderness": "7", **fields}


def test_the_page_shows_the_own_tables_boxes_and_nobodys_marks_or_teams(contest, judge):
    other = contest.tables.get(number=1).seats.get(letter="B")
    make_card(contest.boxes.get(number="201"), other, {"appearance": 3, "taste": 3, "tenderness": 3})
    answer = judge.get(address(contest, "seat"))
    state = state_of(answer)
    assert [box["number"] for box in state["categories"][0]["boxes"]] == ["201", "203", "205"]
    assert [box["state"] for box in state["categories"][0]["boxes"]] == ["open"] * 3
    assert '"202"' not in json.dumps(state["categories"])
    assert not [entry.team.name for entry in contest.entries.all() if entry.team.name in answer.content.decode()]
    assert set(state["categories"][0]) == {"key", "name", "portions", "vacant", "criteria", "boxes"}


def test_a_sign_in_brings_one_token_that_opens_the_own_seat(contest):
    seat = contest.tables.get(number=2).seats.get(letter="C")
    word = word_of(issue_pass(opens="seat", contest=contest, seat=seat))
    client = Client()
    answer = client.post(reverse("contest:pass_in"), {"word": word})
    assert answer.url == address(contest, "seat")
    texts = {re.search(r'data-token="([^"]+)"', client.get(answer.url).content.decode())[1] for _ in range(2)}
    assert len(texts) == 1
    assert find_token(texts.pop()).held_pass.seat == seat
    client.post(reverse("contest:pass_in"), {"word": word})
    client.get(answer.url)
    assert SeatToken.objects.count() == 2  # another sign-in, another token; the first stays good


def test_a_contest_on_paper_gives_no_token(contest, judge):
    contest.phones = False
    contest.save()
    assert "on paper score sheets" in judge.get(address(contest, "seat")).content.decode()
    assert not SeatToken.objects.exists()


def test_without_a_script_a_box_is_one_form(contest, judge):
    form = plain_form(judge, contest, "203")
    for _ in range(2):  # pressed twice
        answer = judge.post(address(contest, "seat"), form)
        assert answer.url == f"{address(contest, 'seat')}?in=203"
    assert Reading.objects.get().client_key == form["key"]
    page = judge.get(answer.url).content.decode()
    assert "203 is handed in." in page
    assert "?box=203" not in page


def test_a_plain_form_that_cannot_stand_keeps_what_was_chosen(contest, judge):
    form = plain_form(judge, contest, "203")
    del form["mark-taste"]
    answer = judge.post(address(contest, "seat"), form)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Taste: no mark" in page
    assert f'value="{form["key"]}"' in page
    assert 'name="mark-appearance" value="8" checked' in page
    assert not Card.objects.exists()


def test_another_tables_box_has_no_form(contest, judge):
    answer = judge.get(f"{address(contest, 'seat')}?box=202")
    assert 'name="key"' not in answer.content.decode()
    judge.post(address(contest, "seat"), {"key": new_key(), "box": "202", "mark-appearance": "8"})
    assert not Card.objects.exists()


def test_a_dismissed_card_stands_open_again(contest, judge):
    Phone(contest).send(card())
    seat, box = contest.tables.get(number=1).seats.get(letter="A"), contest.boxes.get(number="201")
    rule(contest=contest, kind="dismissal", scope="card", box=box, seat=seat, reason="smoke", by="head judge")
    assert state_of(judge.get(address(contest, "seat")))["categories"][0]["boxes"][0] == {
        "number": "201",
        "state": "anew",
        "times": 1,
    }
    form = plain_form(judge, contest, "201", **{"mark-taste": "4"})
    judge.post(address(contest, "seat"), form)
    assert Reading.objects.get(standing=True).kind == "correction"


def test_the_captain_says_that_portions_go_round(contest):
    captain, where = client_for(contest, "captain"), address(contest, "captain", 1)
    assert "Portions are going round" in captain.get(where).content.decode()
    for _ in range(2):
        captain.post(where, {"category": "ribs", "do": "portions"})
    assert PortionsRound.objects.get().table.number == 1
    assert LogRow.objects.get().what == "portions go round"
    portions = [
        each["portions"] for each in state_of(client_for(contest, "judge").get(address(contest, "seat")))["categories"]
    ]
    assert portions == [False, True]
    there = client_for(contest, "judge", table=2).get(address(contest, "seat"))
    assert not any(each["portions"] for each in state_of(there)["categories"])


def test_without_phones_the_captain_is_not_asked_about_portions(contest):
    contest.phones = False
    contest.save()
    captain, where = client_for(contest, "captain"), address(contest, "captain", 1)
    assert "Portions are going round" not in captain.get(where).content.decode()
    assert captain.post(where, {"category": "ribs", "do": "portions"}).status_code == 422
    assert not PortionsRound.objects.exists()


def test_phones_are_off_until_they_are_switched_on_and_only_before_the_first_card():
    contest = make_drawn(teams=3)
    organiser, where = client_for(contest, "organiser"), reverse("contest:setup_phones", args=[contest.slug])
    slips = reverse("contest:slips", args=[contest.slug])
    assert "Judge at table" not in organiser.get(slips).content.decode()
    organiser.post(where, {"phones": "on"})
    contest.refresh_from_db()
    assert contest.phones
    assert organiser.get(slips).content.decode().count("Judge at table 1, seat") == 6
    make_card(contest.boxes.first(), contest.tables.get().seats.first(), marks())
    answer = organiser.post(where, {"phones": "off"}, follow=True)
    assert "was settled before the first" in answer.content.decode()
    contest.refresh_from_db()
    assert contest.phones
    assert list(LogRow.objects.filter(chain__name="day").values_list("what", flat=True)) == ["phones switched on"]


def test_a_seats_slip_opens_the_seat(contest):
    organiser = client_for(contest, "organiser")
    page = organiser.get(reverse("contest:slips", args=[contest.slug]) + "?for=seat-2B").content.decode()
    word = re.search(r'class="pass-word">([^<]+)<', page)[1]
    assert str(find_pass(word).seat.table.number) + find_pass(word).seat.letter == "2B"


def test_wrong_pass_words_are_counted_for_their_beginning_and_never_for_the_address(contest):
    word = word_of(make_token(contest).held_pass)
    wrong, other = word[:-1] + ("2" if word[-1] != "2" else "3"), word_of(make_token(contest, 2).held_pass)
    client, where = Client(), reverse("contest:pass_in")
    for _ in range(throttle.MOST_AT_AN_ADDRESS):
        assert "No such pass word" in client.post(where, {"word": wrong}).content.decode()
    answer = client.post(where, {"word": word})
    assert answer.status_code == 422
    assert "wrong too often" in answer.content.decode()
    assert client.post(where, {"word": other}).status_code == 302
    assert Client(REMOTE_ADDR="192.0.2.9").post(where, {"word": word}).status_code == 302
