"""The tally desk: the flights, one score sheet, and what is refused at it."""

import pytest
from django.contrib.messages import get_messages
from django.utils import timezone

from contest.models import Sitting, TurnIn
from judging.models import Mark, Reading, Ruling
from judging.services.cards import hand_in_sheet
from tests.factories import client_for, give_part, make_account, make_contest, make_drawn, mark_everything
from tests.judging.pages import (
    address,
    fill,
    name_teams_unmistakably,
    names_a_team,
    permute_pairing,
    plain,
    posted,
    sheet_address,
)

pytestmark = pytest.mark.django_db
THREE = {"201": "8 9 7", "202": "7 7 7", "203": "9 8 9"}


@pytest.fixture
def contest():
    return make_drawn(teams=3)


@pytest.fixture
def clerk(contest):
    return client_for(contest, "tally")


def test_the_flights_before_the_draw_say_what_will_stand_here():
    contest = make_contest(teams=3)
    page = client_for(contest, "organiser").get(address(contest, "marks"))
    assert "once the boxes are drawn" in page.content.decode()


def test_the_flights_say_how_far_they_are_and_what_is_next(contest, clerk):
    text = clerk.get(address(contest, "marks")).content.decode()
    assert "Next score sheet: <strong>Chicken, table 1, seat A</strong>" in text
    assert "0 of 2 flights done · 12 score sheets missing" in text
    clerk.post(sheet_address(contest), posted(THREE))
    text = clerk.get(address(contest, "marks")).content.decode()
    assert "Chicken, table 1, seat B" in text
    assert "3 of 18" in text
    mark_everything_left(contest)
    text = clerk.get(address(contest, "marks")).content.decode()
    assert "Every score sheet is in." in text
    assert "18 of 18 · done" in text


def mark_everything_left(contest):
    for seat in contest.tables.get().seats.all():
        for category in contest.categories.all():
            numbers = contest.boxes.filter(category=category).values_list("number", flat=True)
            hand_in_sheet(
                contest=contest,
                category=category,
                seat=seat,
                marks={number: {"appearance": "8", "taste": "9", "tenderness": "7"} for number in numbers},
                by="clerk",
                reason="again",
            )


@pytest.mark.parametrize(
    ("typed", "where"),
    [
        ("table 1 seat B", ("chicken", 1, "B")),
        ("1b", ("chicken", 1, "B")),
        ("Ribs 1 F", ("ribs", 1, "F")),
        ("ribs, table 1, seat c", ("ribs", 1, "C")),
    ],
)
def test_a_typed_place_opens_its_sheet(contest, clerk, typed, where):
    answer = clerk.get(address(contest, "marks"), {"go": typed})
    assert answer.url == sheet_address(contest, *where)


@pytest.mark.parametrize(
    ("typed", "said"),
    [("3B", "no table 3 in chicken"), ("1Z", "no judge in seat Z"), ("the red one", "names no sheet")],
)
def test_a_typed_place_that_is_none_is_answered_and_kept(contest, clerk, typed, said):
    answer = clerk.get(address(contest, "marks"), {"go": typed})
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert f'value="{typed}"' in answer.content.decode()


def test_a_sheet_shows_its_boxes_in_serving_order_with_the_first_cell_in_focus(contest, clerk):
    text = clerk.get(sheet_address(contest)).content.decode()
    places = [text.index(f'id="{number}-appearance"') for number in ("201", "202", "203")]
    assert places == sorted(places)
    assert text.count(" autofocus") == 1
    assert text.index(" autofocus") < text.index('id="201-taste"')
    assert "1 to 9, whole marks" in text.casefold()


def test_handing_in_stores_reads_back_and_opens_the_next_missing_sheet(contest, clerk):
    answer = clerk.post(sheet_address(contest), posted(THREE))
    assert answer.url == sheet_address(contest, seat="B")
    said = str(next(iter(get_messages(answer.wsgi_request))))
    assert said == "Chicken, table 1, seat A is handed in. 201: 8 9 7 · 202: 7 7 7 · 203: 9 8 9"
    assert Mark.objects.count() == 9


def test_the_last_sheet_leads_back_to_the_flights(contest, clerk):
    mark_everything(contest, missing=1)  # box 206's card by seat F
    values = {"204": "5 5 5", "205": "6 6 6", "206": "8 9 7"}
    standing = {"204": "1", "205": "1"}
    for card in Reading.objects.filter(card__seat__letter="F", card__box__number__in=("204", "205")):
        values[card.card.box.number] = " ".join(str(int(mark.value)) for mark in card.marks.order_by("id"))
    answer = clerk.post(sheet_address(contest, "ribs", 1, "F"), posted(values, versions=standing))
    assert answer.url == address(contest, "marks")


@pytest.mark.parametrize(
    ("mark", "said"),
    [
        ("10", "10 is above the scale: 1 to 9, whole marks"),
        ("8.5", "8.5: whole marks only"),
        ("nine", "“nine” is not a number: type 9"),
    ],
)
def test_a_bad_mark_is_said_at_its_cell_and_all_that_was_typed_stays(contest, clerk, mark, said):
    answer = clerk.post(sheet_address(contest), posted({**THREE, "202": f"7, {mark}, 6"}))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert f'<p class="error" id="202-taste-error">{said}</p>' in text
    assert f'<a href="#202-taste">202, taste: {said}</a>' in text
    assert f'name="202-taste" value="{mark}"' in text
    assert 'name="203-tenderness" value="9"' in text
    assert text.index(" autofocus") > text.index('id="202-taste"')
    assert Reading.objects.count() == 0


def test_a_card_without_marks_is_asked_for_and_the_tick_leaves_it_missing(contest, clerk):
    answer = clerk.post(sheet_address(contest), posted({**THREE, "203": ""}))
    assert answer.status_code == 422
    assert "203: no marks: type them, or tick “no marks”" in answer.content.decode()
    answer = clerk.post(sheet_address(contest), posted({"201": "8 9 7", "202": "7 7 7"}, none=["203"]))
    assert answer.url == sheet_address(contest, seat="B")
    assert Reading.objects.count() == 2
    flights = clerk.get(address(contest, "marks")).content.decode()
    assert f'class="seat missing" href="{sheet_address(contest)}"' in flights


def test_marks_beside_the_tick_are_asked_about(contest, clerk):
    answer = clerk.post(sheet_address(contest), posted(THREE, none=["203"]))
    assert answer.status_code == 422
    assert "keep one of them" in answer.content.decode()


def test_a_correction_asks_why_and_keeps_the_old_marks_in_sight(contest, clerk):
    clerk.post(sheet_address(contest), posted(THREE))
    text = clerk.get(sheet_address(contest)).content.decode()
    assert "Why do marks change?" in text
    assert 'name="201-taste" value="9"' in text
    changed = posted({**THREE, "201": "8 3 7"}, versions=dict.fromkeys(THREE, "1"))
    answer = clerk.post(sheet_address(contest), changed)
    assert answer.status_code == 422
    assert "Say why the marks change" in answer.content.decode()
    assert 'name="201-taste" value="3"' in answer.content.decode()
    answer = clerk.post(sheet_address(contest), changed | {"reason": "3 was read as 9"})
    assert answer.url == address(contest, "marks")
    text = clerk.get(sheet_address(contest)).content.decode()
    assert "<strong>201</strong> was 8 9 7 (first by" in text
    assert "<strong>201</strong> is 8 3 7 (correction by" in text


def test_a_stale_page_shows_both_values_and_may_then_correct(contest, clerk):
    first, second = posted(THREE), posted({**THREE, "201": "8 8 7"})
    other = client_for(contest, "tally")
    other.post(sheet_address(contest), first)
    answer = clerk.post(sheet_address(contest), second)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "201: 8 9 7 by" in text
    assert "here 8 8 7" in text
    assert 'name="201-taste" value="8"' in text
    assert 'name="201-version" value="1"' in text  # both values were shown: handing in again is a correction
    assert (
        Mark.objects.filter(reading__standing=True, reading__card__box__number="201", criterion="taste").get().value
        == 9
    )
    again = posted({**THREE, "201": "8 8 7"}, versions={"201": "1", "202": "0", "203": "0"}, reason="paper says 8")
    assert clerk.post(sheet_address(contest), again).status_code == 302


def test_a_mistake_on_a_stale_page_does_not_pass_for_having_seen_the_newer_marks(contest, clerk):
    client_for(contest, "tally").post(sheet_address(contest), posted(THREE))
    answer = clerk.post(sheet_address(contest), posted({**THREE, "201": "8 8 10"}, reason="x"))
    assert 'name="201-version" value="0"' in answer.content.decode()


def test_posted_boxes_that_are_not_on_the_sheet_are_ignored(contest, clerk):
    clerk.post(sheet_address(contest), posted({**THREE, "204": "1 1 1", "999": "1 1 1"}))
    assert set(Reading.objects.values_list("card__box__number", flat=True)) == {"201", "202", "203"}


@pytest.mark.parametrize(("key", "table", "seat"), [("pork", 1, "A"), ("chicken", 9, "A"), ("chicken", 1, "Q")])
def test_a_sheet_that_does_not_exist(contest, clerk, key, table, seat):
    assert clerk.get(sheet_address(contest, key, table, seat)).status_code == 404


def test_boxes_that_are_not_judged_take_no_marks_and_do_not_say_why(contest, clerk):
    TurnIn.objects.create(box=contest.boxes.get(number="202"), status="absent", by="desk")
    text = clerk.get(sheet_address(contest)).content.decode()
    assert "not judged" in text
    assert 'name="202-taste"' not in text
    assert "absent" not in text
    assert clerk.post(sheet_address(contest), posted({"201": "8 9 7", "203": "7 7 7"})).status_code == 302


def test_a_vacant_seat_and_locked_marks_say_why_nothing_can_be_handed_in(contest, clerk):
    seat = contest.tables.get().seats.get(letter="F")
    Sitting.objects.filter(seat=seat).update(judge=None, vacant=True)
    assert "Nobody sits in seat F" in clerk.get(sheet_address(contest, seat="F")).content.decode()
    answer = clerk.post(sheet_address(contest, seat="F"), posted(THREE))
    assert answer.status_code == 422
    type(contest).objects.update(marks_locked_at=timezone.now())
    assert "The marks are locked." in clerk.get(sheet_address(contest)).content.decode()
    answer = clerk.post(sheet_address(contest), posted(THREE))
    assert answer.status_code == 422
    assert 'name="201-taste" value="9"' in answer.content.decode()


def test_rulings_show_on_the_flights_and_on_the_sheet(contest, clerk):
    box = contest.boxes.get(number="202")
    Ruling.objects.create(
        contest=contest, kind="disqualification", scope="box", box=box, reason="sauce pooled", by="head judge"
    )
    assert "202: disqualified" in clerk.get(address(contest, "marks")).content.decode()
    text = clerk.get(sheet_address(contest)).content.decode()
    assert '<span id="words-202" class="words">disqualified</span>' in text


def test_a_disqualified_box_may_stay_blank_on_the_sheet(contest, clerk):
    box = contest.boxes.get(number="202")
    Ruling.objects.create(contest=contest, kind="disqualification", scope="box", box=box, reason="x", by="head judge")
    answer = clerk.post(sheet_address(contest), posted({**THREE, "202": ""}))
    assert answer.url == sheet_address(contest, seat="B")
    assert set(Reading.objects.values_list("card__box__number", flat=True)) == {"201", "203"}
    clerk.post(sheet_address(contest, seat="B"), posted(THREE))  # marks given before the ruling are kept
    assert Reading.objects.filter(card__box=box).count() == 1


def test_no_page_names_a_team_or_depends_on_the_pairing():
    contest = make_drawn(teams=4, tables=2)
    name_teams_unmistakably(contest)
    mark_everything(contest, missing=5)
    clerk = client_for(contest, "tally")
    addresses = [address(contest, "marks"), sheet_address(contest), sheet_address(contest, "ribs", 2, "F")]
    before = [plain(clerk.get(each)) for each in addresses]
    permute_pairing(contest)
    after = [plain(clerk.get(each)) for each in addresses]
    assert before == after
    assert [names_a_team(text) for text in before] == [[], [], []]


def test_marks_and_sheet_ask_the_database_a_fixed_number_of_times(django_assert_max_num_queries):
    contest = make_drawn(teams=100, tables=16, categories=("chicken", "ribs", "pork", "brisket"))
    fill(contest, missing=100)
    clerk = client_for(contest, "tally")
    with django_assert_max_num_queries(18):
        clerk.get(address(contest, "marks"))
    with django_assert_max_num_queries(36):
        clerk.get(sheet_address(contest, "pork", 7, "C"))


def test_the_navigation_of_a_small_contest_and_the_way_to_rulings():
    contest = make_drawn(teams=3, small=True)
    account = give_part(contest, "organiser", make_account())
    for part in ("tally", "head_judge"):
        give_part(contest, part, account)
    client = client_for(contest, "visitor")
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    text = client.get(address(contest, "marks")).content.decode()
    rooms = text[text.index('class="rooms"') : text.index("</nav>")]
    assert ">Marks</a>" in rooms
    assert ">Rulings</a>" not in rooms
    assert f'href="{address(contest, "rulings")}"' in text
