"""The address to which phones hand in: what is stored once, what is refused with a reason, what is never believed."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from contest.models import FailedTries, LogChain, LogRow, Sitting, TurnIn
from contest.services import throttle
from contest.services.passes import issue_pass, reissue_pass
from judging.models import Card, Mark, Reading
from judging.services.rulings import rule
from tests.chains import broken_row
from tests.factories import client_for, make_card, make_drawn, take_in
from tests.judging.phones import CARDS, Phone, card, marks, new_key

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    """Table 1 judges 201, 203, 205 (chicken) and 207, 209, 211 (ribs); table 2 the others."""
    return make_drawn(teams=6, tables=2, phones=True)


@pytest.fixture
def phone(contest):
    return Phone(contest)


def refused(answer, status, error):
    """The refusal's reason; nothing was stored."""
    assert (answer.status_code, answer.json()["error"]) == (status, error), answer.content
    assert not Reading.objects.exists()
    assert answer.json()["reason"].endswith(".")
    return answer.json()["reason"]


def test_a_card_is_stored_and_its_answer_names_its_key(phone):
    sent = card("203", number=4, time="2026-06-13T12:10:00.000Z")
    answer = phone.send(sent)
    assert (answer.status_code, answer.json()) == (201, {"key": sent["key"], "state": "stored"})
    assert answer["Cache-Control"] == "max-age=0, no-cache, no-store, must-revalidate, private"
    reading = Reading.objects.get()
    assert (reading.card.box.number, reading.card.seat.letter, reading.kind) == ("203", "A", "first")
    assert (reading.by, reading.standing, reading.client_key) == ("judge at table 1, seat A", True, sent["key"])
    assert (reading.client_number, reading.client_time) == (4, "2026-06-13T12:10:00.000Z")
    assert dict(Mark.objects.values_list("criterion", "value")) == {
        "appearance": Decimal(8),
        "taste": Decimal(9),
        "tenderness": Decimal(7),
    }
    row = LogRow.objects.get(chain__name="cards")
    assert row.what == "card handed in"
    assert json.loads(row.facts) == {"box": "203", "category": "chicken", "marks": marks(), "seat": "1A"}


def test_sending_again_stores_once(phone):
    sent = card()
    phone.send(sent)
    for _ in range(2):
        answer = phone.send(sent)
        assert (answer.status_code, answer.json()) == (200, {"key": sent["key"], "state": "already"})
    assert Reading.objects.count() == 1
    assert LogRow.objects.filter(chain__name="cards").count() == 1


def test_a_card_that_came_is_acknowledged_whatever_happened_since(contest, phone):
    sent = card()
    phone.send(sent)
    contest.marks_locked_at = timezone.now()
    contest.save()
    assert phone.send(sent).json()["state"] == "already"
    contest.state = "closed"
    contest.save()
    assert phone.send(sent).json()["state"] == "already"
    answer = phone.send(card("203"))
    assert (answer.status_code, answer.json()["error"]) == (401, "token")
    assert Reading.objects.count() == 1


def test_a_queue_that_arrives_in_another_order_or_twice_is_the_same_queue(phone):
    queue = [card(box, number=number) for number, box in enumerate(("201", "203", "205"), start=1)]
    states = [phone.send(each).json()["state"] for each in [*queue[::-1], *queue]]
    assert states == ["stored"] * 3 + ["already"] * 3
    assert Reading.objects.count() == 3


def test_other_marks_from_a_second_device_are_kept_as_a_conflict(contest, phone):
    other = Phone(contest)
    first, second = card(), card(marks=marks(taste="6"))
    phone.send(first)
    answer = other.send(second)
    assert (answer.status_code, answer.json()) == (200, {"key": second["key"], "state": "conflict"})
    stands, beside = Reading.objects.order_by("id")
    assert (stands.client_key, stands.kind, stands.standing) == (first["key"], "first", True)
    assert (beside.client_key, beside.kind, beside.standing) == (second["key"], "conflict", False)
    assert beside.marks.get(criterion="taste").value == 6
    assert stands.device != beside.device
    assert list(LogRow.objects.values_list("what", flat=True)) == ["card handed in", "card in conflict"]
    assert other.send(second).json()["state"] == "conflict"
    assert Reading.objects.count() == 2


def test_the_same_marks_from_a_second_device_are_one_card(contest, phone):
    phone.send(card())
    assert Phone(contest).send(card(marks=marks("8", "9.0", "7,0"))).json()["state"] == "already"
    assert Reading.objects.count() == 1


def test_a_phone_against_the_clerks_paper_is_a_conflict_too(contest, phone):
    seat = phone.token.held_pass.seat
    make_card(contest.boxes.get(number="201"), seat, {"appearance": 8, "taste": 9, "tenderness": 6})
    assert phone.send(card()).json()["state"] == "conflict"


def test_a_key_belongs_to_one_card(contest, phone):
    sent = card()
    phone.send(sent)
    for again in ({**sent, "marks": marks("7")}, {**sent, "box": "203"}):
        answer = phone.send(again)
        assert (answer.status_code, answer.json()["error"]) == (409, "key")
    other = Phone(contest, seat="B").send({**sent, "seat": "1B"})
    assert (other.status_code, other.json()["error"]) == (409, "key")
    assert Reading.objects.count() == 1


def test_a_dismissed_card_is_replaced_by_one_marked_anew_and_by_no_other(contest, phone):
    phone.send(card())
    seat, box = phone.token.held_pass.seat, contest.boxes.get(number="201")
    rule(contest=contest, kind="dismissal", scope="card", box=box, seat=seat, reason="smelled of smoke", by="head")
    assert phone.send(card()).json()["state"] == "already"  # late from another phone: not marked anew
    assert phone.send(card(marks=marks("5"), anew=True)).json()["state"] == "stored"
    stands = Reading.objects.get(standing=True)
    assert (stands.kind, stands.marks.get(criterion="appearance").value) == ("correction", 5)


MALFORMED = {
    "nothing": b"",
    "no JSON": b"key=1",
    "half of it": b'{"key": "00',
    "not an object": b"[1, 2]",
    "bytes that are no text": b"\xff\xfe{}",
    "not a number": b'{"key": NaN}',
    "very deep": b"[" * 30_000,
    "a number of ten thousand digits": b"1" * 10_000,
}


@pytest.mark.parametrize("body", MALFORMED.values(), ids=MALFORMED.keys())
def test_what_is_no_card_is_refused(phone, body):
    answer = phone.send(body)
    refused(answer, 400, "json")
    assert answer.json()["key"] is None


WRONG = {
    "no key": ({"key": ""}, 400, "key"),
    "a key that is no text": ({"key": 5}, 400, "key"),
    "a key with a line end": ({"key": "0" * 32 + "\n"}, 400, "key"),
    "another seat": ({"seat": "1B"}, 403, "seat"),
    "an unknown seat": ({"seat": "9Z"}, 403, "seat"),
    "no box": ({"box": None}, 400, "box"),
    "a box of letters": ({"box": "20l"}, 400, "box"),
    "an unknown box": ({"box": "999"}, 404, "box"),
    "another table's box": ({"box": "202"}, 409, "table"),
    "no marks": ({"marks": None}, 400, "marks"),
    "marks in a list": ({"marks": ["8", "9", "7"]}, 400, "marks"),
    "a mark that is true": ({"marks": marks(True)}, 400, "marks"),
    "a mark that is no character": ({"marks": marks("\ud800")}, 400, "marks"),
    "a mark with a zero byte": ({"marks": marks("8\x00")}, 400, "marks"),
    "far too many marks": ({"marks": {str(number): "1" for number in range(1_000)}}, 400, "marks"),
    "above the scale": ({"marks": marks("10")}, 422, "marks"),
    "below the scale": ({"marks": marks("-1")}, 422, "marks"),
    "between two marks": ({"marks": marks("8.5")}, 422, "marks"),
    "a mark in full": ({"marks": marks("1e1")}, 422, "marks"),
    "a missing criterion": ({"marks": {"appearance": "8", "taste": "9"}}, 422, "marks"),
    "a criterion too many": ({"marks": {**marks(), "smoke": "8"}}, 422, "marks"),
}


@pytest.mark.parametrize(("fields", "status", "error"), WRONG.values(), ids=WRONG.keys())
def test_a_card_that_cannot_be_is_refused_and_named(phone, fields, status, error):
    sent = card(**fields)
    answer = phone.send(sent)
    refused(answer, status, error)
    named = sent["key"] if error != "key" else None
    assert answer.json()["key"] == named


def test_the_reason_says_what_is_wrong_and_what_is_right(phone):
    reason = refused(phone.send(card(marks={"appearance": "12", "taste": "9"})), 422, "marks")
    assert "Appearance: 12 is above the scale: 1 to 9" in reason.replace("from ", "")
    assert "Tenderness: no mark" in reason


def test_marks_may_be_numbers(phone):
    assert phone.send(card(marks=marks(8, 9, 7))).status_code == 201


@pytest.mark.parametrize("time", ["2026-06-12T12:00:00.000Z", "2031-01-01T00:00:00.000Z", "yesterday", 12, None])
def test_the_phones_clock_decides_nothing(phone, time):
    assert phone.send(card(time=time)).status_code == 201
    assert abs(Reading.objects.get().at - timezone.now()) < timedelta(minutes=1)


@pytest.mark.parametrize("number", [0, -1, 2.5, "4", None, 10**30])
def test_the_phones_count_decides_nothing(phone, number):
    assert phone.send(card(number=number)).status_code == 201


@pytest.mark.parametrize("status", ["absent", "late", "refused"])
def test_a_box_that_the_desk_kept_back_is_refused_without_the_reason_why(contest, phone, status):
    TurnIn.objects.create(box=contest.boxes.get(number="201"), status=status, reason="x", by="desk")
    reason = refused(phone.send(card()), 409, "not judged")
    assert reason == "201 is not judged: no marks are taken for it."


def test_a_cancelled_category_a_vacant_seat_and_a_lost_card_are_refused(contest, phone):
    seat, box = phone.token.held_pass.seat, contest.boxes.get(number="201")
    rule(contest=contest, kind="lost", scope="card", box=box, seat=seat, reason="torn", by="head judge")
    refused(phone.send(card()), 409, "lost")
    Sitting.objects.filter(seat=seat, category=box.category).update(vacant=True, judge=None)
    refused(phone.send(card("203")), 409, "vacant")
    contest.categories.filter(key="chicken").update(cancelled_at=timezone.now(), cancelled_why="storm")
    refused(phone.send(card("203")), 409, "cancelled")


def test_locked_marks_and_a_contest_on_paper_take_no_card(contest, phone):
    contest.marks_locked_at = timezone.now()
    contest.save()
    refused(phone.send(card()), 409, "locked")
    contest.marks_locked_at, contest.phones = None, False
    contest.save()
    refused(phone.send(card()), 403, "phones")


def test_a_box_of_another_contest_is_no_box_here(phone):
    other = make_drawn(teams=6, phones=True)
    other.boxes.filter(number="201").update(number="777")
    refused(phone.send(card("777")), 404, "box")


@pytest.mark.parametrize("size", [64 * 1024 + 1, 10 * 1024 * 1024])
def test_a_body_too_large_for_a_card_is_refused(phone, size):
    body = json.dumps(card()).encode()
    answer = phone.send(body + b" " * (size - len(body)))
    refused(answer, 413, "size")


def test_a_body_of_just_the_size_is_a_card(phone):
    body = json.dumps(card()).encode()
    assert phone.send(body + b" " * (64 * 1024 - len(body))).status_code == 201


def test_cookies_open_nothing_here(contest):
    for part in ("judge", "tally", "organiser"):
        client = client_for(contest, part)
        answer = client.post(CARDS, json.dumps(card()), content_type="application/json")
        refused(answer, 401, "token")
        assert client.get("/api/seat/").status_code == 401


@pytest.mark.parametrize("wrong", ["", "Bearer", "Bearer x.y", "Bearer \xe9", "Basic {text}", "Bearer {text}0"])
def test_only_the_very_token_opens(contest, phone, wrong):
    sent = card()
    answer = phone.send(sent, authorization=wrong.format(text=phone.text))
    refused(answer, 401, "token")
    assert answer.json()["key"] == sent["key"]


def test_a_token_ends_with_its_pass(contest, phone):
    reissue_pass(held=phone.token.held_pass, by="organiser")
    assert "was replaced" in refused(phone.send(card()), 401, "token")
    assert Phone(contest).send(card()).status_code == 201


def test_the_token_is_not_kept(phone):
    _, _, secret = phone.text.partition(".")
    stored = [str(value) for row in type(phone.token).objects.values() for value in row.values()]
    assert len(secret) == 64
    assert not any(secret in value for value in stored)


def guess(phone, number, address="192.0.2.7"):
    name = phone.text.partition(".")[0]
    wrong = f"Bearer {name}.{number:064x}"
    data = json.dumps(card())
    return Client(REMOTE_ADDR=address).post(
        CARDS, data, content_type="application/json", headers={"authorization": wrong}
    )


def test_guessing_is_throttled_for_a_token_and_address_and_never_for_the_address(contest, phone):
    codes = [guess(phone, number).status_code for number in range(throttle.MOST_AT_AN_ADDRESS + 2)]
    assert codes == [401] * throttle.MOST_AT_AN_ADDRESS + [429] * 2
    assert guess(Phone(contest, seat="B"), 1).status_code == 401  # the same address
    assert phone.send(card()).status_code == 201  # a card with the right token always comes in
    FailedTries.objects.update(since=timezone.now() - throttle.WINDOW)
    assert guess(phone, 1).status_code == 401


def test_guesses_from_many_addresses_are_capped_for_each_token(phone):
    codes = [guess(phone, place, f"192.0.2.{place}").status_code for place in range(throttle.MOST_ALTOGETHER + 1)]
    assert codes == [401] * throttle.MOST_ALTOGETHER + [429]


def test_get_is_no_way_to_hand_in(phone):
    assert phone.client.get(CARDS).status_code == 405


def test_a_seat_asks_how_it_stands_and_learns_no_mark(contest, phone):
    phone.send(card("203"))
    take_in(contest, "late", [contest.boxes.get(number="205")])
    found = phone.client.get("/api/seat/", headers={"authorization": f"Bearer {phone.text}"}).json()
    chicken = found["categories"][0]
    assert chicken["boxes"] == [
        {"number": "201", "state": "open"},
        {"number": "203", "state": "in"},
        {"number": "205", "state": "closed"},
    ]
    assert [each["key"] for each in chicken["criteria"]] == ["appearance", "taste", "tenderness"]
    assert chicken["criteria"][0]["marks"][0] == ["9", "outstanding"]
    assert "202" not in json.dumps(found["categories"])


def test_a_later_log_is_whole(contest, phone):
    for box in ("201", "203", "205"):
        phone.send(card(box))
        Phone(contest).send(card(box, marks=marks("1"), key=new_key()))
    chain = LogChain.objects.get(contest=contest, name="cards")
    assert (chain.length, broken_row(chain)) == (6, None)
    assert Card.objects.count() == 3


def test_a_seat_pass_is_one_seat(contest):
    seat = contest.tables.get(number=1).seats.get(letter="A")
    first, second = (issue_pass(opens="seat", contest=contest, seat=seat) for _ in range(2))
    assert first == second
