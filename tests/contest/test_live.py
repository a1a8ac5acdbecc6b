"""The day's page keeps itself fresh, costs little while nothing happens, and says when it has lost touch."""

import re
from datetime import timedelta

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from contest.selectors import live
from contest.services.desk import record_turn_in
from judging.services.cards import hand_in_sheet
from tests.factories import client_for, make_contest, make_drawn, take_in

pytestmark = pytest.mark.django_db
WITHIN = 3_000  # what a person at the table has to wait at most


def news(client, contest, page):
    """The answer to the question that `page` asks by itself."""
    asks = re.search(r'hx-get="([^"]+)"', page.content.decode()).group(1).replace("&amp;", "&")
    assert asks.startswith(reverse("contest:live", args=[contest.slug]))
    return client.get(asks, headers={"HX-Request": "true"})


def hand_in(contest, letter="A"):
    numbers = contest.boxes.filter(category__key="chicken").values_list("number", flat=True)
    hand_in_sheet(
        contest=contest,
        category=contest.categories.get(key="chicken"),
        seat=contest.tables.get().seats.get(letter=letter),
        marks={number: {"appearance": 8, "taste": 9, "tenderness": 7} for number in numbers},
        by="clerk",
    )


@pytest.fixture
def _one_moment(monkeypatch):
    """The half minute after which a page is made anew whatever the log says does not end within a test."""
    now = timezone.now()
    monkeypatch.setattr("django.utils.timezone.now", lambda: now)


@pytest.mark.usefixtures("_one_moment")
def test_nothing_new_is_no_content_and_few_queries(django_assert_max_num_queries):
    contest = make_drawn(teams=3)
    client = client_for(contest, "organiser")
    page = client.get(reverse("contest:day", args=[contest.slug]))
    with django_assert_max_num_queries(8):
        answer = news(client, contest, page)
    assert (answer.status_code, answer.content) == (204, b"")


@pytest.mark.usefixtures("_one_moment")
def test_a_recorded_box_and_a_handed_in_sheet_are_news():
    contest = make_drawn(teams=3)
    client = client_for(contest, "organiser")
    page = client.get(reverse("contest:day", args=[contest.slug]))
    assert "0 of 6 boxes recorded" in page.content.decode()
    box = contest.boxes.get(number="201")
    record_turn_in(contest=contest, box=box, status="accepted", by="desk", handed_in_at=box.category.turn_in_at)
    page = news(client, contest, page)
    assert "1 of 6 boxes recorded" in page.content.decode()
    assert "<html" not in page.content.decode()
    assert news(client, contest, page).status_code == 204
    for letter in "ABCDEF":
        hand_in(contest, letter)
    page = news(client, contest, page)
    assert "1 of 2 flights done" in page.content.decode()
    assert news(client, contest, page).status_code == 204


def test_a_window_that_opens_is_news_though_nobody_did_anything():
    contest = make_drawn(teams=3)
    opens = contest.categories.get(key="chicken").turn_in_at - timedelta(minutes=5)
    # Both moments lie in the same half minute of the clock.
    before, after = opens - timedelta(seconds=1), opens + timedelta(seconds=1)
    assert int(before.timestamp()) // 30 != int(opens.timestamp()) // 30
    assert live.version(contest, before) != live.version(contest, opens)
    contest.categories.filter(key="chicken").update(turn_in_at=opens + timedelta(minutes=5, seconds=10))
    at = [opens + timedelta(seconds=shift) for shift in (9, 10, 11)]
    assert len({int(moment.timestamp()) // 30 for moment in at}) == 1
    versions = [live.version(contest, moment) for moment in at]
    assert versions[0] != versions[1] == versions[2]
    assert after > opens


def test_before_the_draw_a_team_that_is_entered_is_news(monkeypatch):
    contest = make_contest(teams=3)
    client = client_for(contest, "organiser")
    now = timezone.now()
    page = client.get(reverse("contest:day", args=[contest.slug]))
    # Later than the page by more than a version lasts before the draw.
    monkeypatch.setattr("django.utils.timezone.now", lambda: now + timedelta(seconds=5))
    assert news(client, contest, page).status_code == 204
    contest.entries.last().delete()
    assert "2 teams" in news(client, contest, page).content.decode()


@pytest.fixture
def open_day(live_server, page):
    def open_page(contest):
        session = client_for(contest, "organiser").cookies[settings.SESSION_COOKIE_NAME].value
        page.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
        page.goto(live_server.url + reverse("contest:day", args=[contest.slug]))
        return page

    return open_page


browser = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    # The browser plugin's own fixture, not ours.
    pytest.mark.filterwarnings("ignore::pytest.PytestRemovedIn10Warning"),
]


def with_browser(test):
    for mark in browser:
        test = mark(test)
    return test


@with_browser
def test_the_open_page_is_fresh_within_three_seconds_again_and_again(open_day):
    contest = make_drawn(teams=3, seats=4)
    take_in(contest)
    page = open_day(contest)
    expect(page.locator("#live")).to_contain_text("0 of 2 flights done")
    hand_in(contest, "A")
    expect(page.locator("#live")).to_contain_text("Table 1 has three score sheets missing for chicken", timeout=WITHIN)
    for letter in "BCD":
        hand_in(contest, letter)
    expect(page.locator("#live")).to_contain_text("1 of 2 flights done", timeout=WITHIN)
    expect(page.locator("#lost-touch")).to_be_hidden()


@with_browser
def test_a_page_that_gets_no_answer_says_since_when_and_takes_it_back(open_day):
    contest = make_drawn(teams=3, time_zone="Asia/Kathmandu")
    page = open_day(contest)
    asked = re.compile(r"/live/")
    with page.expect_response(asked):
        pass
    heard = contest.local(timezone.now())
    page.route(asked, lambda route: route.abort())
    said = re.compile(r"^No answer since \d\d:\d\d: figures may be old\.$")
    expect(page.locator("#lost-touch")).to_have_text(said, timeout=6_000)
    text = page.locator("#lost-touch").inner_text()
    moments = {f"{heard + timedelta(seconds=shift):%H:%M}" for shift in (-3, 0, 3)}
    assert text[16:21] in moments, "by the contest's clock, five hours and three quarters from this machine's"
    page.unroute(asked)
    expect(page.locator("#lost-touch")).to_be_hidden(timeout=6_000)


@with_browser
@pytest.mark.parametrize("trouble", ["a server in trouble", "signed out"])
def test_a_wrong_answer_leaves_the_page_and_is_said(open_day, trouble):
    contest = make_drawn(teams=3)
    page = open_day(contest)
    if trouble == "signed out":
        page.context.clear_cookies()
        said = "Signed out since"
    else:
        page.route(re.compile(r"/live/"), lambda route: route.fulfill(status=500, body="trouble"))
        said = "No answer since"
    expect(page.locator("#lost-touch")).to_contain_text(said, timeout=6_000)
    expect(page.locator("#live")).to_contain_text("0 of 2 flights done")
    expect(page.locator("input[name=username]")).to_have_count(0)
