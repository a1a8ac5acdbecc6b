"""The table captain's page: ticks, where a box belongs, calls; never a mark, never a team."""

import json

import pytest
from django.core.exceptions import ValidationError

from contest.models import LogRow, Sitting, TurnIn
from contest.refusals import Refused
from judging.models import Arrival, Call, Collected, Ruling
from judging.services.captain import answer_call, call_head_judge, tick_box, tick_sheet
from tests.factories import client_for, make_account, make_contest, make_drawn, mark_everything
from tests.judging.pages import address, fill, name_teams_unmistakably, names_a_team, permute_pairing, plain

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    return make_drawn(teams=4, tables=2)  # chicken: 201 and 203 at table 1; ribs: 205 and 207


@pytest.fixture
def captain(contest):
    return client_for(contest, "captain")


def test_a_captain_has_one_table_and_a_link_to_it(contest, captain):
    assert captain.get(address(contest, "captain", 2)).status_code == 403
    assert captain.post(address(contest, "captain", 2), {"do": "here", "box": "202"}).status_code == 403
    assert captain.get(address(contest, "captain", 9)).status_code == 404
    text = captain.get(address(contest, "captain", 1)).content.decode()
    assert f'<a href="{address(contest, "captain", 1)}" aria-current="page">Table</a>' in text
    assert ">Marks</a>" not in text
    make_account()  # the front page of an installation without accounts asks for the first
    assert captain.get("/").url == address(contest, "captain", 1)


def test_boxes_are_ticked_in_and_the_tick_taken_back(contest, captain):
    page = address(contest, "captain", 1)
    assert "201 is here" in captain.get(page).content.decode()
    answer = captain.post(page, {"do": "here", "box": "201", "category": "chicken"})
    assert answer.url == f"{page}?category=chicken"
    text = captain.get(answer.url).content.decode()
    assert "1 of 2 here" in text
    assert Arrival.objects.get().by == "captain of table 1"
    captain.post(page, {"do": "here", "box": "201", "category": "chicken"})
    assert Arrival.objects.count() == 1
    captain.post(page, {"do": "not-here", "box": "201", "category": "chicken"})
    assert Arrival.objects.count() == 0
    assert [row.what for row in LogRow.objects.order_by("number")] == ["box at its table", "box not at its table"]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("202", "202 belongs to table 2 (chicken)."),
        ("203", "203 belongs here: chicken."),
        ("2 0 7", "207 belongs here: ribs."),
        ("999", "There is no box 999: call the desk."),
        ("20", "There is no box 20: call the desk."),
        ("<b>", "There is no box &lt;b&gt;: call the desk."),
    ],
)
def test_a_number_on_a_box_is_answered(contest, captain, typed, said):
    text = captain.get(address(contest, "captain", 1), {"number": typed}).content.decode()
    assert f"<strong>{said}</strong>" in text


@pytest.mark.parametrize("status", ["absent", "refused", "late"])
def test_a_box_that_is_not_judged_closes_the_serving_order_and_does_not_say_why(contest, captain, status):
    TurnIn.objects.create(box=contest.boxes.get(number="201"), status=status, by="desk", reason="window closed")
    text = captain.get(address(contest, "captain", 1)).content.decode()
    assert "not judged" in text
    assert "201 is here" not in text
    assert '<span class="place">1</span><span class="box-number">203</span>' in text
    assert status not in text
    assert "window closed" not in text
    asked = captain.get(address(contest, "captain", 1), {"number": "201"}).content.decode()
    assert "201 is not judged: call the desk." in asked


def test_sheets_are_ticked_per_seat_and_the_page_moves_to_the_next_category(contest, captain):
    page = address(contest, "captain", 1)
    Sitting.objects.filter(seat__table__number=1, seat__letter="F").update(judge=None, vacant=True)
    for letter in "ABCDE":
        captain.post(page, {"do": "collected", "seat": letter, "category": "chicken"})
    assert Collected.objects.count() == 5
    assert "Table 1 · Ribs" in captain.get(page).content.decode()
    text = captain.get(page, {"category": "chicken"}).content.decode()
    assert "5 of 5" in text
    captain.post(page, {"do": "not-collected", "seat": "A", "category": "chicken"})
    assert "Table 1 · Chicken" in captain.get(page).content.decode()
    answer = captain.post(page, {"do": "collected", "seat": "F", "category": "chicken"})
    assert answer.status_code == 422
    assert "Seat F is vacant" in answer.content.decode()


@pytest.mark.parametrize(
    ("posted", "said"),
    [
        ({"do": "here", "box": "202"}, "202 belongs to table 2."),
        ({"do": "here", "box": "999"}, "There is no such box."),
        ({"do": "collected", "seat": "Z"}, "There is no such seat"),
        ({"do": "dance"}, "Nothing was ticked."),
        ({"do": "call"}, "This field is required."),
        ({"do": "call", "about": "number"}, "Write in the number as it stands on the box"),
        ({"do": "call", "about": "portions"}, "Choose the box that has too few portions"),
        ({"do": "call", "about": "question", "box": "202"}, "not one of the available choices"),
    ],
)
def test_what_cannot_be_ticked_is_said_and_nothing_happens(contest, captain, posted, said):
    answer = captain.post(address(contest, "captain", 1), {"category": "chicken", **posted})
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not Arrival.objects.exists()
    assert not Collected.objects.exists()
    assert not Call.objects.exists()


def test_a_call_waits_on_the_page_until_it_is_answered(contest, captain):
    page = address(contest, "captain", 1)
    captain.post(page, {"do": "call", "category": "chicken", "about": "number", "text": "4S2, smudged"})
    captain.post(page, {"do": "call", "category": "chicken", "about": "number", "text": "4S2, smudged"})
    call = Call.objects.get()  # the same call twice is one call
    assert "head judge called" in captain.get(page).content.decode()
    facts = json.loads(LogRow.objects.get().facts)
    assert facts == {"about": "number", "box": "", "category": "chicken", "table": 1}
    answer_call(call=call, answer="It is 203.", by="head judge")
    text = captain.get(page).content.decode()
    assert "head judge called" not in text
    assert "“It is 203.”" in text


def test_the_news_of_a_table_come_once_and_put_the_word_on_the_box(contest, captain):
    news = address(contest, "news", 1)
    first = captain.get(news, {"category": "chicken"}).context["news"].version
    assert captain.get(news, {"category": "chicken", "seen": first}).status_code == 204
    Ruling.objects.create(
        contest=contest, kind="disqualification", scope="box", box=contest.boxes.get(number="203"), reason="x", by="y"
    )
    fresh = captain.get(news, {"category": "chicken", "seen": first})
    assert fresh.status_code == 200
    assert '<span id="words-203" class="words" hx-swap-oob="true">disqualified</span>' in fresh.content.decode()
    assert "disqualified" in captain.get(address(contest, "captain", 1)).content.decode()
    assert captain.get(news, {"category": "nothing"}).status_code == 404


def test_a_captain_sees_no_mark_no_team_and_nothing_of_the_pairing(contest, captain):
    name_teams_unmistakably(contest)
    pages = [address(contest, "captain", 1), f"{address(contest, 'captain', 1)}?category=ribs&number=202"]
    pages.append(f"{address(contest, 'news', 1)}?category=chicken")
    bare = [plain(captain.get(each)) for each in pages]
    mark_everything(contest)
    marked = [plain(captain.get(each)) for each in pages]
    permute_pairing(contest)
    assert bare == marked == [plain(captain.get(each)) for each in pages]
    assert [names_a_team(text) for text in bare] == [[], [], []]


def test_before_the_draw_and_after_closing(captain, contest):
    other = make_contest(teams=3)
    client = client_for(other, "captain")
    assert "once they are drawn" in client.get(address(other, "captain", 1)).content.decode()
    type(contest).objects.filter(pk=contest.pk).update(state="closed")
    answer = captain.post(address(contest, "captain", 1), {"do": "here", "box": "201", "category": "chicken"})
    assert answer.url.startswith("/sign-in/")
    assert Arrival.objects.count() == 0


def test_services_refuse_what_belongs_elsewhere(contest):
    other = make_drawn(teams=4, tables=2)
    table, category = contest.tables.get(number=1), contest.categories.get(key="chicken")
    with pytest.raises(Refused, match="no box"):
        tick_box(contest=contest, table=table, box=other.boxes.get(number="201"), here=True, by="captain")
    with pytest.raises(Refused, match="another contest"):
        tick_sheet(
            contest=contest, category=category, seat=other.tables.get(number=1).seats.first(), collected=True, by="x"
        )
    with pytest.raises(Refused, match="Choose what"):
        call_head_judge(contest=contest, table=table, category=category, about="weather", by="captain")
    with pytest.raises((Refused, ValidationError)):
        call_head_judge(contest=contest, table=table, category=category, about="question", text="x" * 301, by="captain")


def test_the_captains_page_asks_the_database_a_fixed_number_of_times(django_assert_max_num_queries):
    contest = make_drawn(teams=100, tables=8, categories=("chicken", "ribs", "pork", "brisket"))
    fill(contest)
    captain = client_for(contest, "captain", table=3)
    with django_assert_max_num_queries(24):
        captain.get(address(contest, "captain", 3))
