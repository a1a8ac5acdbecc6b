"""The tally desk by keyboard alone, in a real browser: every key counted, no mouse."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from playwright.sync_api import expect

from contest.rules.ruleset import shipped_text
from judging.models import Reading
from tests.factories import client_for, make_card, make_drawn
from tests.judging.pages import address, fill, sheet_address
from tests.judging.test_sheet_keys import stored

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    # The browser plugin's own fixture, not ours.
    pytest.mark.filterwarnings("ignore::pytest.PytestRemovedIn10Warning"),
]
WAIT = 10_000


class Keys:
    """The clerk's keyboard: presses one key after another and counts them."""

    def __init__(self, page):
        self.page, self.pressed = page, 0

    def __call__(self, *keys):
        for key in keys:
            self.page.keyboard.press(key)
            self.pressed += 1


@pytest.fixture
def desk(live_server, page):
    """`desk(contest, address)`: the page as a clerk, with the keyboard and no mouse."""
    broken = []
    page.on("pageerror", lambda error: broken.append(str(error)))

    def open_page(contest, where):
        session = client_for(contest, "tally").cookies[settings.SESSION_COOKIE_NAME].value
        page.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
        page.add_init_script("addEventListener('mousedown', () => { throw new Error('a mouse'); })")
        page.goto(live_server.url + where)
        return Keys(page)

    yield open_page
    assert broken == []


def cell(page, number, key):
    return page.locator(f"[name='{number}-{key}']")


def test_a_sheet_of_six_boxes_costs_its_seat_eighteen_digits_and_enter(desk, page, live_server):
    contest = make_drawn(teams=12, tables=2)
    keys = desk(contest, address(contest, "marks"))
    expect(page.locator("#go")).to_be_focused(timeout=WAIT)
    keys("2", "b")
    page.wait_for_url(live_server.url + sheet_address(contest, table=2, seat="B"), timeout=WAIT)
    expect(cell(page, "202", "appearance")).to_be_focused(timeout=WAIT)
    keys(*"897877986755984999")
    expect(page.locator("#hand-in")).to_be_focused()
    keys("Enter")
    page.wait_for_url(live_server.url + sheet_address(contest, table=2, seat="C"), timeout=WAIT)
    assert keys.pressed == 2 + 18 + 1
    assert stored("B") == {
        "202": "8 9 7", "204": "8 7 7", "206": "9 8 6", "208": "7 5 5", "210": "9 8 4", "212": "9 9 9",
    }  # fmt: skip
    # From one sheet to any other without the list between: a stroke, the seat.
    keys("/", "1", "d")
    page.wait_for_url(live_server.url + sheet_address(contest, table=1, seat="D"), timeout=WAIT)
    expect(cell(page, "201", "appearance")).to_be_focused(timeout=WAIT)


def test_enter_alone_opens_the_next_missing_sheet(desk, page, live_server):
    contest = make_drawn(teams=3)
    keys = desk(contest, address(contest, "marks"))
    expect(page.locator("#go")).to_be_focused(timeout=WAIT)
    keys("Enter")
    page.wait_for_url(live_server.url + sheet_address(contest), timeout=WAIT)


def test_criterion_by_criterion_is_one_key_and_is_remembered(desk, page, live_server):
    contest = make_drawn(teams=3)
    keys = desk(contest, sheet_address(contest))
    expect(cell(page, "201", "appearance")).to_be_focused(timeout=WAIT)
    keys("o")
    expect(page.locator("#order")).to_have_text("Criterion by criterion (o changes)")
    # Appearance of the three boxes, then taste, then tenderness: as boxes are judged.
    keys(*"888" + "976" + "543", "Enter")
    page.wait_for_url(live_server.url + sheet_address(contest, seat="B"), timeout=WAIT)
    assert stored() == {"201": "8 9 5", "202": "8 7 4", "203": "8 6 3"}
    expect(page.locator("#order")).to_have_text("Criterion by criterion (o changes)")
    keys(*"11", "o")
    expect(cell(page, "203", "appearance")).to_be_focused()
    keys("9")
    expect(cell(page, "203", "taste")).to_be_focused()
    keys("Backspace", "Backspace")
    expect(cell(page, "203", "appearance")).to_be_focused()


def test_a_stroke_and_a_number_jump_to_a_box(desk, page):
    contest = make_drawn(teams=6)
    keys = desk(contest, sheet_address(contest))
    keys("8", "/", *"204", "7")
    expect(cell(page, "204", "appearance")).to_have_value("7")
    expect(cell(page, "204", "taste")).to_be_focused()
    keys("/", *"201")
    expect(cell(page, "201", "taste")).to_be_focused()
    keys("/", "Escape")
    expect(cell(page, "201", "appearance")).to_be_focused()


def test_digits_that_would_be_lost_are_asked_about_once(desk, page, live_server):
    contest = make_drawn(teams=3)
    keys = desk(contest, sheet_address(contest))
    keys(*"89", "/", "1", "c")
    expect(page.locator(".refused-key")).to_have_text(
        "What was typed here is not handed in. Enter once more leaves it."
    )
    expect(cell(page, "201", "appearance")).to_have_value("8")
    keys("Enter")
    page.wait_for_url(live_server.url + sheet_address(contest, seat="C"), timeout=WAIT)
    assert not Reading.objects.exists()


def test_a_digit_off_the_scale_stops_at_the_key(desk, page):
    contest = make_drawn(teams=3)
    rules = shipped_text("taste-double").replace('1 = "unfit to serve"', "")
    # 2 to 9; the 1 is a penalty, given by ruling alone.
    contest.categories.update(frozen_rules=rules.replace("lowest = 1", "lowest = 2\npenalty = 1"))
    keys = desk(contest, sheet_address(contest))
    keys("0")
    expect(page.locator(".refused-key")).to_have_text("0 is no mark here: 2 to 9.")
    keys("1")
    expect(page.locator(".refused-key")).to_have_text("1 is no mark here: 2 to 9.")
    expect(cell(page, "201", "appearance")).to_have_value("")
    expect(cell(page, "201", "appearance")).to_be_focused()


def test_halves_are_two_keys_a_mark(desk, page, live_server):
    contest = make_drawn(teams=2, rules="four-criteria")
    keys = desk(contest, sheet_address(contest))
    expect(cell(page, "201", "appearance")).to_be_focused(timeout=WAIT)
    keys("8", "5", "9", "0", "1", "0", "1", "Space", "7", "5", "8", "0", "6", "5", "9", "5", "Enter")
    page.wait_for_url(live_server.url + sheet_address(contest, seat="B"), timeout=WAIT)
    assert stored() == {"201": "8.5 9 10 1", "202": "7.5 8 6.5 9.5"}
    assert keys.pressed == 2 * 8 + 1


def test_tenths_are_two_keys_a_mark(desk, page, live_server):
    contest = make_drawn(teams=2)
    contest.categories.update(
        frozen_rules=contest.categories.first()
        .frozen_rules.replace("step = 1", "step = 0.1")
        .replace("lowest = 1", "lowest = 1.0")
    )
    keys = desk(contest, sheet_address(contest))
    expect(cell(page, "201", "appearance")).to_be_focused(timeout=WAIT)
    keys(*"87" + "90" + "73" + "61" + "55" + "12", "Enter")
    page.wait_for_url(live_server.url + sheet_address(contest, seat="B"), timeout=WAIT)
    assert stored() == {"201": "8.7 9 7.3", "202": "6.1 5.5 1.2"}
    assert keys.pressed == 2 * 6 + 1


def written(contest, seat="A"):
    return address(contest, "written", "chicken", 1, seat)


def test_numbers_written_by_hand_are_typed_with_their_marks(desk, page, live_server):
    contest = make_drawn(teams=6)
    keys = desk(contest, sheet_address(contest))
    expect(cell(page, "201", "appearance")).to_be_focused(timeout=WAIT)
    keys("w")
    page.wait_for_url(live_server.url + written(contest), timeout=WAIT)
    expect(page.locator("#slot-1-number")).to_be_focused(timeout=WAIT)
    for line in ("203897", "201776", "206999", "202555", "205846", "204761"):
        keys(*line)
    expect(page.locator("#hand-in")).to_be_focused()
    expect(page.locator("#read-back")).to_contain_text(re.compile("203: 8 9 7\\s*201: 7 7 6"))
    keys("Enter")
    page.wait_for_url(live_server.url + sheet_address(contest, seat="B"), timeout=WAIT)
    assert keys.pressed == 1 + 6 * (3 + 3) + 1
    assert stored() == {
        "201": "7 7 6", "202": "5 5 5", "203": "8 9 7", "204": "7 6 1", "205": "8 4 6", "206": "9 9 9",
    }  # fmt: skip


def test_a_written_number_of_another_flight_is_refused_where_it_is_typed(desk, page):
    contest = make_drawn(teams=3)
    keys = desk(contest, written(contest))
    keys(*"204")
    expect(page.locator("#slot-1-error")).to_have_text("204 is not of this flight: it is a box of ribs, table 1.")
    expect(page.locator("#slot-1-number")).to_be_focused()
    keys(*"999")
    expect(page.locator("#slot-1-error")).to_have_text("There is no box 999. Read it again, or ask the table.")
    keys(*"202", *"888", *"202")
    expect(page.locator("#slot-2-error")).to_have_text("202 stands twice here: each box has one line.")
    keys(*"201")
    expect(page.locator("#slot-2-error")).to_be_empty()
    expect(page.locator("#slot-2-appearance")).to_be_focused()


@pytest.mark.parametrize("width", [390, 1366])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_of_the_desk_bars_a_reader_or_runs_out_of_a_phone(desk, page, width, scheme):
    contest = make_drawn(teams=6, keying="all")
    fill(contest)
    seat = contest.tables.get().seats.get(letter="B")
    other = dict.fromkeys(("appearance", "taste", "tenderness"), 2)
    make_card(contest.boxes.get(number="202"), seat, other, kind="conflict", standing=False, device="a second phone")
    Reading.objects.filter(card__seat__letter="C").update(standing=False)
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": width, "height": 800})
    for where in (
        address(contest, "marks"),
        address(contest, "differences"),
        address(contest, "again", "chicken", 1, "A"),
        written(contest, "C"),
    ):
        desk(contest, where)
        page.wait_for_load_state("load")
        found = Axe().run(page).response
        assert found["passes"], "the checks ran"
        assert [(each["id"], each["nodes"][0]["html"]) for each in found["violations"]] == [], where
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), where
