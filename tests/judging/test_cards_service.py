"""Handing in score sheets: what is stored, what is refused, and that nothing is lost."""

import json
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal

import pytest
from django.db import connection
from django.utils import timezone

from contest.models import LogRow, Sitting, TurnIn
from contest.selectors.rules import category_rules
from judging.models import Card, Mark, Reading, Ruling
from judging.selectors.cards import sheet_lines
from judging.selectors.flights import flights
from judging.services.cards import SheetRefused, hand_in_sheet
from tests.chains import broken_row
from tests.factories import make_contest, make_drawn

pytestmark = pytest.mark.django_db
KEYS = ("appearance", "taste", "tenderness")


def sheets(contest):
    return [sheet for flight in flights(contest) for sheet in flight.sheets]


def missing_sheets(contest):
    return [sheet for flight in flights(contest) for sheet in flight.missing_sheets]


def sheet_of(contest, key="chicken", table=1, letter="A"):
    return contest.categories.get(key=key), contest.tables.get(number=table).seats.get(letter=letter)


def whole_sheet(contest, category, seat, text="8 9 7"):
    numbers = contest.boxes.filter(category=category, table=seat.table).values_list("number", flat=True)
    return {number: dict(zip(KEYS, map(Decimal, text.split()), strict=True)) for number in numbers}


def hand_in(contest, marks=None, *, key="chicken", letter="A", table=1, **more):
    category, seat = sheet_of(contest, key, table, letter)
    marks = whole_sheet(contest, category, seat) if marks is None else marks
    return hand_in_sheet(contest=contest, category=category, seat=seat, marks=marks, by="clerk", **more)


def standing(contest, box, letter="A"):
    reading = Reading.objects.get(standing=True, card__box__number=box, card__seat__letter=letter)
    return {mark.criterion: mark.value for mark in reading.marks.all()}


def row(text):
    return dict(zip(KEYS, text.split(), strict=True))


def test_a_sheet_becomes_first_readings_and_rows_of_the_log():
    contest = make_drawn(teams=6)
    done = hand_in(contest)
    assert done.first == ("201", "202", "203", "204", "205", "206")
    assert (Card.objects.count(), Reading.objects.count(), Mark.objects.count()) == (6, 6, 18)
    assert standing(contest, "201") == {"appearance": 8, "taste": 9, "tenderness": 7}
    rows = LogRow.objects.filter(chain__name="cards")
    assert next(json.loads(each.facts) for each in rows) == {
        "box": "201",
        "category": "chicken",
        "marks": {"appearance": "8", "taste": "9", "tenderness": "7"},
        "seat": "1A",
    }
    assert (rows.count(), {each.person.name for each in rows}) == (6, {"clerk"})
    assert broken_row(rows[0].chain) is None


def test_a_sheet_handed_in_twice_stays_as_it_is():
    contest = make_drawn(teams=3)
    hand_in(contest)
    again = hand_in(contest)
    assert (again.first, again.corrected, again.unchanged) == ((), (), ("201", "202", "203"))
    assert (Reading.objects.count(), LogRow.objects.count()) == (3, 3)


def test_boxes_that_are_not_named_stay_missing():
    contest = make_drawn(teams=3)
    hand_in(contest, {"202": row("8 9 7")})
    missing = next(sheet for sheet in missing_sheets(contest) if sheet.seat.letter == "A")
    assert missing.missing == ("201", "203")


def test_a_changed_mark_needs_a_reason_and_leaves_the_old_reading():
    contest = make_drawn(teams=3)
    hand_in(contest)
    changed = {"201": row("8 9 7"), "202": row("8 3 7")}
    with pytest.raises(SheetRefused, match="202: say why") as refused:
        hand_in(contest, changed)
    assert refused.value.reason
    done = hand_in(contest, changed, reason="misread  9 as 3")
    assert (done.corrected, done.unchanged) == (("202",), ("201",))
    readings = Reading.objects.filter(card__box__number="202").order_by("id")
    assert [(each.kind, each.standing, each.reason) for each in readings] == [
        ("first", False, ""),
        ("correction", True, "misread 9 as 3"),
    ]
    assert LogRow.objects.last().what == "card corrected"


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("10", "10 is above the scale: 1 to 9, whole marks"),
        ("0", "0 is below the scale: 1 to 9, whole marks"),
        ("8.5", "8.5: whole marks only"),
        ("nine", "“nine” is not a number: type 9"),
        ("", "no mark: type one, 1 to 9, whole marks"),
    ],
)
def test_a_mark_off_the_scale_refuses_the_whole_sheet(given, said):
    contest = make_drawn(teams=3)
    marks = {"201": row("8 9 7"), "202": row("8 9 7") | {"taste": given}}
    with pytest.raises(SheetRefused) as refused:
        hand_in(contest, marks)
    assert refused.value.cells == {("202", "taste"): said}
    assert Card.objects.count() == 0


def test_a_criterion_that_the_sheet_does_not_have_is_refused():
    contest = make_drawn(teams=3)
    with pytest.raises(SheetRefused) as refused:
        hand_in(contest, {"201": row("8 9 7") | {"smoke": "8"}})
    assert ("201", "smoke") in refused.value.cells


def test_half_marks_where_the_scale_has_them():
    contest = make_drawn(teams=3, rules="four-criteria")
    category = contest.categories.get(key="chicken")
    keys = tuple(each.key for each in category_rules(category).criteria)
    hand_in(contest, {"201": dict.fromkeys(keys, Decimal("8.5"))})
    assert set(standing(contest, "201").values()) == {Decimal("8.5")}
    with pytest.raises(SheetRefused, match="cannot stand"):
        hand_in(contest, {"202": dict.fromkeys(keys, "8.3")})


def test_a_box_of_another_table_or_category_is_refused():
    contest = make_drawn(teams=4, tables=2)
    for number in ("202", "205", "999"):  # table 2's chicken, table 1's ribs, nobody's
        with pytest.raises(SheetRefused, match=f"{number} is not a box of chicken at table 1"):
            hand_in(contest, {"201": row("8 9 7"), number: row("8 9 7")})
    assert Card.objects.count() == 0


def test_a_seat_or_category_of_another_contest_is_refused():
    contest, other = make_drawn(teams=3), make_drawn(teams=3)
    category, _ = sheet_of(contest)
    _, seat = sheet_of(other)
    with pytest.raises(SheetRefused, match="another contest"):
        hand_in_sheet(contest=contest, category=category, seat=seat, marks={}, by="clerk")


def test_a_vacant_seat_expects_no_card_and_takes_none():
    contest = make_drawn(teams=3)
    category, seat = sheet_of(contest, letter="F")
    Sitting.objects.filter(category=category, seat=seat).update(judge=None, vacant=True)
    assert not [
        number
        for sheet in sheets(contest)
        if (sheet.category, sheet.seat) == (category, seat)
        for number in sheet.expected
    ]
    with pytest.raises(SheetRefused, match="Seat F of table 1 is vacant in chicken"):
        hand_in(contest, letter="F")


@pytest.mark.parametrize("status", ["absent", "refused", "late"])
def test_a_box_that_is_not_judged_expects_no_card_and_takes_none(status):
    contest = make_drawn(teams=3)
    box = contest.boxes.get(number="202")
    TurnIn.objects.create(box=box, status=status, by="desk", reason="closed at 12:05")
    assert {number for sheet in sheets(contest) if sheet.category.key == "chicken" for number in sheet.expected} == {
        "201",
        "203",
    }
    with pytest.raises(SheetRefused, match="202: not judged"):
        hand_in(contest, {"202": row("8 9 7")})
    category, seat = sheet_of(contest)
    assert [line.position for line in sheet_lines(contest, category, seat)] == [1, None, 2]


def test_a_cancelled_category_expects_and_takes_nothing():
    contest = make_drawn(teams=3)
    contest.categories.filter(key="chicken").update(cancelled_at=timezone.now(), cancelled_why="storm")
    assert {sheet.category.key for sheet in sheets(contest) if sheet.expected} == {"ribs"}
    with pytest.raises(SheetRefused, match="Chicken was cancelled"):
        hand_in(contest)


def test_locked_marks_and_a_closed_tally_take_nothing():
    contest = make_drawn(teams=3)
    stale = contest
    type(contest).objects.filter(pk=contest.pk).update(marks_locked_at=timezone.now())
    with pytest.raises(SheetRefused, match="locked"):
        hand_in(stale)  # the caller's copy does not know of the lock: the row decides
    type(contest).objects.filter(pk=contest.pk).update(state="closed")
    with pytest.raises(SheetRefused, match="closed"):
        hand_in(stale)
    assert Card.objects.count() == 0


def test_marks_unlocked_after_closing_take_the_corrections_of_a_revision():
    contest = make_drawn(teams=3)
    hand_in(contest)
    type(contest).objects.filter(pk=contest.pk).update(state="closed")
    assert hand_in(contest, {"201": row("8 8 7")}, reason="misread 8 as 9").corrected == ("201",)


def test_before_the_draw_there_is_nothing_to_hand_in():
    contest = make_contest(teams=3)
    with pytest.raises(SheetRefused, match="not drawn"):
        hand_in(contest, {})


def test_a_stale_page_overwrites_nothing_and_shows_both_values():
    contest = make_drawn(teams=3)
    hand_in(contest, {"201": row("8 9 7")}, expected_versions={"201": "0"})
    with pytest.raises(SheetRefused, match="201: 8 9 7 by clerk, here 8 8 7") as refused:
        hand_in(
            contest,
            {"201": row("8 8 7"), "202": row("5 5 5")},
            reason="second look",
            expected_versions={"201": "0", "202": "0"},
        )
    assert set(refused.value.lines) == {"201"}
    assert Reading.objects.count() == 1
    done = hand_in(contest, {"201": row("8 8 7")}, reason="second look", expected_versions={"201": "1"})
    assert done.corrected == ("201",)


def test_a_stale_page_with_the_same_marks_does_no_harm():
    contest = make_drawn(teams=3)
    hand_in(contest, {"201": row("8 9 7")}, expected_versions={"201": "0"})
    assert hand_in(contest, {"201": row("8 9 7")}, expected_versions={"201": "0"}).unchanged == ("201",)


def test_a_dismissed_card_is_missing_until_it_is_marked_anew_even_with_the_same_marks():
    contest = make_drawn(teams=3)
    hand_in(contest)
    _, seat = sheet_of(contest)
    reading = Reading.objects.get(card__box__number="201")
    Ruling.objects.create(
        contest=contest, kind="dismissal", scope="card", box=reading.card.box, seat=seat, reason="wrong box marked",
        by="head judge", dismissed_reading=reading,
    )  # fmt: skip
    assert ("201",) in [sheet.missing for sheet in missing_sheets(contest)]
    with pytest.raises(SheetRefused, match="was dismissed"):
        hand_in(contest, {"201": row("8 9 7")}, expected_versions={"201": "1"})
    assert hand_in(contest, {"201": row("8 9 7")}).corrected == ("201",)
    assert ("201",) not in [sheet.missing for sheet in missing_sheets(contest)]


def test_a_card_ruled_lost_is_not_missed_and_not_taken():
    contest = make_drawn(teams=3)
    _, seat = sheet_of(contest)
    Ruling.objects.create(
        contest=contest, kind="lost", scope="card", box=contest.boxes.get(number="201"), seat=seat,
        reason="no portion", by="head judge",
    )  # fmt: skip
    hand_in(contest, {"202": row("8 9 7"), "203": row("8 9 7")})
    assert not [sheet for sheet in missing_sheets(contest) if (sheet.seat, sheet.category.key) == (seat, "chicken")]
    with pytest.raises(SheetRefused, match="201: card ruled lost"):
        hand_in(contest, {"201": row("8 9 7")})


def test_flights_count_what_is_in():
    contest = make_drawn(teams=6, tables=2)
    hand_in(contest)
    hand_in(contest, {"201": row("8 9 7")}, letter="B")
    flight = flights(contest)[0]
    assert (flight.category.key, flight.table.number, flight.keyed, flight.expected) == ("chicken", 1, 4, 18)
    assert (flight.started, flight.done) == (True, False)
    assert [sheet.label for sheet in flight.missing_sheets] == ["1B", "1C", "1D", "1E", "1F"]


@pytest.mark.django_db(transaction=True)
def test_two_clerks_hand_in_one_sheet_at_once_and_one_stands():
    contest = make_drawn(teams=3)
    category, seat = sheet_of(contest)
    texts = ("8 9 7", "7 7 7")

    def clerk(text):
        try:
            marks = whole_sheet(contest, category, seat, text)
            return hand_in(contest, marks, expected_versions=dict.fromkeys(marks, "0")).first
        except SheetRefused as refused:
            return str(refused)
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(clerk, texts))
    assert sorted(map(type, answers), key=str) == [str, tuple]
    won = texts[0 if isinstance(answers[0], tuple) else 1]
    assert "Somebody else handed in" in next(each for each in answers if isinstance(each, str))
    assert Reading.objects.count() == 3
    assert [mark.value for mark in Mark.objects.filter(reading__card__box__number="201").order_by("id")] == [
        Decimal(each) for each in won.split()
    ]


@pytest.mark.django_db(transaction=True)
def test_six_sheets_of_a_table_handed_in_at_once_all_stand():
    contest = make_drawn(teams=3)

    def clerk(letter):
        try:
            return hand_in(contest, letter=letter).first
        finally:
            connection.close()

    with ThreadPoolExecutor(6) as pool:
        assert list(pool.map(clerk, "ABCDEF")) == [("201", "202", "203")] * 6
    assert Reading.objects.filter(standing=True).count() == 18
    assert broken_row(contest.log_chains.get(name="cards")) is None
