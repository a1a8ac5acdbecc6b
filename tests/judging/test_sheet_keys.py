"""Keying a score sheet in a real browser: a digit that completes a mark moves on."""

import re

import pytest
from django.conf import settings
from playwright.sync_api import expect

from judging.models import Mark, Reading
from tests.factories import client_for, make_drawn
from tests.judging.pages import address, sheet_address

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    # The browser plugin's own fixture, not ours.
    pytest.mark.filterwarnings("ignore::pytest.PytestRemovedIn10Warning"),
]
WAIT = 10_000


@pytest.fixture
def sheet(live_server, page):
    """Opens a sheet as a clerk: `sheet(contest, key, table, seat)`."""
    broken = []
    page.on("console", lambda message: broken.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: broken.append(str(error)))

    def open_sheet(contest, *where):
        session = client_for(contest, "tally").cookies[settings.SESSION_COOKIE_NAME].value
        page.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
        page.goto(live_server.url + sheet_address(contest, *where))
        return page

    yield open_sheet
    assert [text for text in broken if "422" not in text] == []


def stored(seat="A"):
    rows = Mark.objects.filter(reading__standing=True, reading__card__seat__letter=seat)
    found = {}
    for number, value in rows.order_by("reading__card__box__number", "id").values_list(
        "reading__card__box__number", "value"
    ):
        found.setdefault(number, []).append(f"{value.normalize():f}")
    return {number: " ".join(values) for number, values in found.items()}


def test_eighteen_digits_and_enter_hand_in_six_boxes_and_open_the_next_sheet(sheet, live_server):
    contest = make_drawn(teams=6)
    page = sheet(contest)
    expect(page.locator("#\\32 01-appearance")).to_be_focused(timeout=WAIT)
    page.keyboard.type("897877986755984999")
    expect(page.locator("#hand-in")).to_be_focused()
    expect(page.locator("#read-back")).to_contain_text("201: 8 9 7")
    expect(page.locator("#read-back")).to_contain_text("206: 9 9 9")
    page.keyboard.press("Enter")
    page.wait_for_url(live_server.url + sheet_address(contest, seat="B"), timeout=WAIT)
    assert stored() == {
        "201": "8 9 7", "202": "8 7 7", "203": "9 8 6", "204": "7 5 5", "205": "9 8 4", "206": "9 9 9",
    }  # fmt: skip
    expect(page.locator(".notice").first).to_contain_text("Chicken, table 1, seat A is handed in. 201: 8 9 7")
    expect(page.locator("#\\32 01-appearance")).to_be_focused()


def test_keys_refuse_go_back_and_move(sheet):
    page = sheet(make_drawn(teams=3))
    cell = lambda number, key: page.locator(f"[name='{number}-{key}']")  # noqa: E731
    page.keyboard.type("0")
    expect(page.locator(".refused-key")).to_have_text("0 is no mark here: 1 to 9.")
    page.keyboard.type("x8")
    expect(cell("201", "appearance")).to_have_value("8")
    expect(page.locator(".refused-key")).to_be_hidden()
    expect(cell("201", "taste")).to_be_focused()
    page.keyboard.press("Backspace")
    expect(cell("201", "appearance")).to_be_focused()
    page.keyboard.type("7")
    expect(cell("201", "appearance")).to_have_value("7")
    page.keyboard.press("ArrowRight")
    expect(cell("202", "taste")).to_be_focused()
    page.keyboard.press("ArrowUp")
    expect(cell("202", "appearance")).to_be_focused()
    page.keyboard.press("-")
    expect(page.locator("[name='202-none']")).to_be_checked()
    expect(cell("203", "appearance")).to_be_focused()
    expect(page.locator("#read-back")).to_contain_text("202: no marks")


def test_ten_and_one_on_a_scale_that_has_both(sheet):
    contest = make_drawn(teams=3, rules="plain-points")
    page = sheet(contest)
    page.keyboard.type("10" + "1" + "7" + "8" + "1" + "1" + "9" + "10")
    expect(page.locator("#read-back")).to_contain_text(re.compile("201: 10 1 7\\s*202: 8 1 1\\s*203: 9 10 _"))


def test_halves_take_two_keys_and_ten_is_ten(sheet):
    contest = make_drawn(teams=3, rules="four-criteria")
    page = sheet(contest)
    page.keyboard.type("85" + "70" + "10" + "8.5" + "87")
    expect(page.locator("#read-back")).to_contain_text("201: 8.5 7 10 8.5")
    expect(page.locator(".refused-key")).to_contain_text("87 is no mark here")


def test_a_card_left_out_is_asked_for_and_what_was_typed_stays(sheet, live_server):
    contest = make_drawn(teams=3)
    page = sheet(contest)
    page.keyboard.type("897" + "877")
    page.keyboard.press("Enter")
    expect(page.locator("#summary")).to_contain_text("203: no marks", timeout=WAIT)
    assert Reading.objects.count() == 0
    expect(page.locator("[name='203-appearance']")).to_be_focused()
    page.keyboard.type("-")
    page.keyboard.press("Enter")
    page.wait_for_url(live_server.url + sheet_address(contest, seat="B"), timeout=WAIT)
    assert stored() == {"201": "8 9 7", "202": "8 7 7"}


def test_the_sheet_works_without_script(sheet, live_server, browser):
    contest = make_drawn(teams=2)
    context = browser.new_context(java_script_enabled=False)
    session = client_for(contest, "tally").cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
    page = context.new_page()
    page.goto(live_server.url + address(contest, "marks"))
    page.get_by_role("link", name="Key it").click()
    for name, value in zip(("appearance", "taste", "tenderness"), "897", strict=True):
        page.fill(f"[name='201-{name}']", value)
        page.fill(f"[name='202-{name}']", value)
    page.keyboard.press("Enter")
    page.wait_for_url(live_server.url + sheet_address(contest, seat="B"), timeout=WAIT)
    assert stored() == {"201": "8 9 7", "202": "8 9 7"}
    context.close()
