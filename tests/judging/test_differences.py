"""Where two readings of one card are not alike: shown side by side, settled by the paper, in the way until then."""

import json

import pytest

from contest import day
from contest.models import LogRow
from contest.refusals import Refused
from judging.models import Reading, Resolution
from judging.selectors.keying import differences
from judging.services.cards import hand_in_sheet
from judging.services.keying import key_again, resolve
from judging.services.rulings import rule
from judging.services.tally import close_tally, lock_marks
from tests.chains import broken_row
from tests.factories import client_for, make_card, make_drawn, mark_everything, take_in
from tests.judging.pages import address, name_teams_unmistakably, names_a_team, permute_pairing, plain

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    """Everything is in; one card came from two devices, with another taste."""
    contest = make_drawn(teams=4, categories=("chicken",))
    take_in(contest)
    mark_everything(contest)
    conflict(contest, "202", "B", "7 2 7")
    return contest


def conflict(contest, number, letter, text):
    """A second phone's reading of a card, stored beside the one that stands."""
    marks = dict(zip(("appearance", "taste", "tenderness"), text.split(), strict=True))
    box, seat = contest.boxes.get(number=number), contest.tables.get().seats.get(letter=letter)
    make_card(box, seat, marks, kind="conflict", standing=False, device="a second phone", by="judge at table 1, seat B")


def standing(contest, number="202", letter="B"):
    reading = Reading.objects.get(standing=True, card__box__number=number, card__seat__letter=letter)
    return {mark.criterion: int(mark.value) for mark in reading.marks.all()}


def settle(contest, chosen, reason="asked at the table", **more):
    (found,) = differences(contest)
    return resolve(contest=contest, reading=found.reading, chosen=chosen, reason=reason, by="clerk", **more)


def test_a_conflict_is_listed_with_both_marks(contest):
    (found,) = differences(contest)
    assert (found.box, found.label, found.kind) == ("202", "1B", "conflict")
    assert [mark for _, mark, _ in found.standing] == ["7", "7", "7"]
    assert [mark for _, mark, _ in found.other] == ["7", "2", "7"]
    assert [differs for _, _, differs in found.other] == [False, True, False]
    text = client_for(contest, "tally").get(address(contest, "differences")).content.decode()
    assert "Two devices handed in this card" in text
    assert "judge at table 1, seat B" in text


def test_choosing_the_other_marks_corrects_the_card_with_its_reason(contest):
    settle(contest, "other")
    assert standing(contest) == {"appearance": 7, "taste": 2, "tenderness": 7}
    kept = Reading.objects.filter(card__box__number="202", card__seat__letter="B").order_by("id")
    assert [(each.kind, each.standing) for each in kept] == [
        ("first", False), ("conflict", False), ("correction", True)
    ]  # fmt: skip
    assert kept[2].reason == "looked up on the paper: asked at the table"
    assert differences(contest) == []
    rows = LogRow.objects.filter(chain__contest=contest, chain__name="cards").order_by("number")
    assert [row.what for row in rows] == ["difference settled", "card corrected"]
    assert json.loads(rows[0].facts) == {
        "box": "202", "category": "chicken", "chosen": "other", "kind": "conflict", "seat": "1B",
    }  # fmt: skip
    assert broken_row(rows[0].chain) is None


def test_choosing_what_stands_changes_no_mark_and_keeps_why(contest):
    made = settle(contest, "standing", "the phone was handed on before it was cleared")
    assert standing(contest) == {"appearance": 7, "taste": 7, "tenderness": 7}
    assert (made.chosen, made.by) == ("standing", "clerk")
    assert Resolution.objects.get().reason == "the phone was handed on before it was cleared"
    assert Reading.objects.filter(kind="correction").count() == 0
    assert differences(contest) == []


@pytest.mark.parametrize(
    ("chosen", "reason", "said"),
    [
        ("other", "  ", "Say what the paper shows"),
        ("", "seen", "Choose the marks"),
        ("both", "seen", "Choose the marks"),
    ],
)
def test_a_choice_and_a_reason_are_asked_for_and_what_was_typed_stays(contest, chosen, reason, said):
    (found,) = differences(contest)
    client = client_for(contest, "tally")
    data = {"reading": found.reading, "chosen": chosen, "reason": reason}
    answer = client.post(address(contest, "differences"), data)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert said in text
    assert (f'value="{reason.strip()}"' in text) or not reason.strip()
    assert ('value="other" checked' in text) is (chosen == "other")
    assert len(differences(contest)) == 1


def test_two_who_settle_one_difference_settle_it_once(contest):
    (found,) = differences(contest)
    settle(contest, "standing")
    with pytest.raises(Refused, match="settled already"):
        resolve(contest=contest, reading=found.reading, chosen="other", reason="no", by="another clerk")
    assert standing(contest)["taste"] == 7


def test_settled_by_page(contest):
    (found,) = differences(contest)
    client = client_for(contest, "tally")
    data = {"reading": found.reading, "chosen": "other", "reason": "the judge meant 2"}
    answer = client.post(address(contest, "differences"), data, follow=True)
    assert "202 is settled: the marks are corrected." in answer.content.decode()
    assert "none open" not in answer.content.decode()
    assert standing(contest)["taste"] == 2


@pytest.mark.parametrize("reading", ["", "x", "99999999", "-1"])
def test_a_difference_that_is_not_there_is_refused(contest, reading):
    client = client_for(contest, "tally")
    data = {"reading": reading, "chosen": "other", "reason": "seen"}
    answer = client.post(address(contest, "differences"), data)
    assert answer.status_code == 422
    assert "settled already" in answer.content.decode()


def test_an_open_conflict_stands_in_the_way_of_closing_with_a_link(contest):
    with pytest.raises(Refused) as refused:
        close_tally(contest=contest, by="head judge")
    (todo,) = refused.value.todos
    assert todo.text == "One difference between two readings of a card (202): look at the paper."
    assert todo.url == address(contest, "differences")
    settle(contest, "standing")
    assert close_tally(contest=contest, by="head judge").revision == 1


def test_the_day_and_the_marks_page_name_differences_only_while_there_are_any(contest):
    client = client_for(contest, "organiser")
    day_address = f"/c/{contest.slug}/"
    link = address(contest, "differences")
    assert [link in client.get(url).content.decode() for url in (day_address, address(contest, "marks"))] == [True] * 2
    settle(contest, "standing")
    assert [link in client.get(url).content.decode() for url in (day_address, address(contest, "marks"))] == [False] * 2


def test_nothing_is_settled_while_the_marks_are_locked(contest):
    lock_marks(contest=contest, by="clerk")
    with pytest.raises(Refused, match="locked"):
        settle(contest, "standing")
    assert not Resolution.objects.exists()


def test_a_card_that_was_put_right_on_its_sheet_differs_no_more(contest):
    hand_in_sheet(
        contest=contest,
        category=contest.categories.get(),
        seat=contest.tables.get().seats.get(letter="B"),
        marks={"202": {"appearance": 7, "taste": 2, "tenderness": 7}},
        by="clerk",
        reason="the judge meant 2",
    )
    assert differences(contest) == []
    assert day.in_the_way("closing", contest) == []


@pytest.mark.parametrize("kind", ["dismissal", "disqualification"])
def test_a_card_that_does_not_count_is_not_asked_about(contest, kind):
    box, seat = contest.boxes.get(number="202"), contest.tables.get().seats.get(letter="B")
    scope = "card" if kind == "dismissal" else "box"
    rule(contest=contest, kind=kind, scope=scope, box=box, seat=seat, reason="seen", by="head judge")
    assert differences(contest) == []


def test_a_second_keying_and_a_conflict_stand_in_one_list_by_category_table_and_seat(contest):
    contest.keying = "all"
    contest.save()
    for letter in ("A", "C"):
        seat = contest.tables.get().seats.get(letter=letter)
        key_again(
            contest=contest,
            category=contest.categories.get(),
            seat=seat,
            marks={
                number: dict.fromkeys(("appearance", "taste", "tenderness"), 9)
                for number in ("201", "202", "203", "204")
            },
            by="Clerk Birch",
        )
    found = [(each.box, each.label, each.kind) for each in differences(contest)]
    assert found[:3] == [("201", "1A", "second"), ("201", "1C", "second"), ("202", "1A", "second")]
    assert ("202", "1B", "conflict") in found


def test_the_page_tells_nothing_of_the_pairing(contest):
    name_teams_unmistakably(contest)
    client = client_for(contest, "tally")
    before = plain(client.get(address(contest, "differences")))
    permute_pairing(contest)
    assert plain(client.get(address(contest, "differences"))) == before
    assert names_a_team(before) == []
