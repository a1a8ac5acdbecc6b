"""Sheets on which the judge wrote the box numbers by hand, as posted by a page without scripts."""

import pytest

from judging.models import Reading
from judging.services.cards import hand_in_sheet
from judging.services.rulings import rule
from tests.factories import client_for, make_drawn
from tests.judging.pages import CRITERIA, address, name_teams_unmistakably, names_a_team, sheet_address
from tests.judging.test_sheet_keys import stored

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    return make_drawn(teams=3)  # chicken 201 to 203, ribs 204 to 206


def where(contest, seat="A"):
    return address(contest, "written", "chicken", 1, seat)


def lines(*rows, **more):
    """ "203 8 9 7" is the number and the marks of a line; an empty text a line left blank."""
    data = {}
    for place, row in enumerate(rows, start=1):
        number, *marks = row.split() or [""]
        data[f"slot-{place}-number"] = number.replace("_", "")
        for key, mark in zip(CRITERIA, marks, strict=False):
            data[f"slot-{place}-{key}"] = mark
    return data | more


def post(contest, *rows, **more):
    return client_for(contest, "tally").post(where(contest), lines(*rows, **more))


def test_lines_in_the_papers_order_become_the_cards_of_their_boxes(contest):
    answer = post(contest, "203 8 9 7", "201 7 7 6", "202 5 5 5")
    assert (answer.status_code, answer["Location"]) == (302, sheet_address(contest, seat="B"))
    assert stored() == {"201": "7 7 6", "202": "5 5 5", "203": "8 9 7"}


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (("204 8 9 7", "201 7 7 6", "202 5 5 5"), "204 is not of this flight: it is a box of ribs, table 1."),
        (("999 8 9 7", "201 7 7 6", "202 5 5 5"), "There is no box 999. Read it again, or ask the table."),
        (("201 8 9 7", "201 7 7 6", "202 5 5 5"), "201 stands twice here: each box has one line."),
        (("_ 8 9 7", "201 7 7 6", "202 5 5 5"), "Type the box number above these marks."),
        (("203 8 9 12", "201 7 7 6", "202 5 5 5"), "203, tenderness: "),
        (("203 8 9", "201 7 7 6", "202 5 5 5"), "203, tenderness: "),
        (("203 8 9 7", "201 7 7 6"), "Not on the sheet: 202. Type them, or tick"),
    ],
)
def test_what_cannot_be_is_said_at_its_line_and_everything_typed_stays(contest, rows, said):
    answer = post(contest, *rows)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert said in text
    assert not Reading.objects.exists()
    assert 'id="slot-2-appearance" name="slot-2-appearance" value="7"' in text


def test_a_paper_without_a_line_for_a_box_leaves_it_missing(contest):
    assert post(contest, "203 8 9 7", "201 7 7 6", rest="on").status_code == 302
    assert stored() == {"201": "7 7 6", "203": "8 9 7"}


def test_a_card_that_is_in_has_no_line_and_is_corrected_elsewhere(contest):
    seat = contest.tables.get().seats.get(letter="A")
    hand_in_sheet(
        contest=contest,
        category=contest.categories.get(key="chicken"),
        seat=seat,
        marks={"202": dict.fromkeys(CRITERIA, 5)},
        by="clerk",
    )
    text = client_for(contest, "tally").get(where(contest)).content.decode()
    assert "slot-2-number" in text
    assert "slot-3-number" not in text
    answer = post(contest, "202 8 9 7", "201 7 7 6")
    assert answer.status_code == 422
    assert "202 is in already: correct it on the numbered sheet." in answer.content.decode()
    assert stored() == {"202": "5 5 5"}


def test_a_disqualified_box_may_be_left_out(contest):
    box = contest.boxes.get(number="202")
    rule(contest=contest, kind="disqualification", scope="box", box=box, reason="sauce pooled", by="head judge")
    assert post(contest, "203 8 9 7", "201 7 7 6").status_code == 302


def test_a_card_handed_in_meanwhile_is_not_overwritten(contest):
    client = client_for(contest, "tally")
    client.get(where(contest))
    seat = contest.tables.get().seats.get(letter="A")
    marks = dict.fromkeys(("201", "202", "203"), dict.fromkeys(CRITERIA, 5))
    category = contest.categories.get(key="chicken")
    hand_in_sheet(contest=contest, category=category, seat=seat, marks=marks, by="another clerk")
    answer = client.post(where(contest), lines("203 8 9 7", "201 7 7 6", "202 5 5 5"))
    assert answer.status_code == 422
    assert "203 is in already: correct it on the numbered sheet." in answer.content.decode()
    assert 'name="slot-3-tenderness" value="5"' in answer.content.decode()
    assert stored() == {"201": "5 5 5", "202": "5 5 5", "203": "5 5 5"}


def test_nothing_about_teams_is_on_the_page(contest):
    name_teams_unmistakably(contest)
    assert names_a_team(client_for(contest, "tally").get(where(contest)).content.decode()) == []


@pytest.mark.parametrize(
    ("typed", "there"),
    [("", sheet_address), ("1b", lambda contest: sheet_address(contest, seat="B"))],
)
def test_the_seat_field_opens_a_sheet_and_enter_alone_the_next(contest, typed, there):
    answer = client_for(contest, "tally").get(address(contest, "marks"), {"go": typed})
    assert (answer.status_code, answer["Location"]) == (302, there(contest))


def test_the_seat_field_stays_in_the_category_of_the_sheet_it_stands_on(contest):
    answer = client_for(contest, "tally").get(address(contest, "marks"), {"go": "1C", "in": "ribs"})
    assert answer["Location"] == sheet_address(contest, "ribs", 1, "C")


def test_a_box_number_in_the_seat_field_says_where_it_is_judged(contest):
    client = client_for(contest, "tally")
    text = client.get(address(contest, "marks"), {"go": "204"}).content.decode()
    assert "204 is judged at table 1 (ribs): type a seat as well, such as ribs 1B." in text
    assert "There is no box 999" in client.get(address(contest, "marks"), {"go": "999"}).content.decode()
