"""The desk in a real browser: keypad, one press, two presses, no script."""

import pytest
from django.urls import reverse
from django.utils import timezone

from contest.models import TurnIn
from contest.selectors.pairing import boxes_of_teams
from tests.factories import give_part, make_drawn

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    # The browser plugin's own fixture, not ours.
    pytest.mark.filterwarnings("ignore::pytest.PytestRemovedIn10Warning"),
]


@pytest.fixture
def contest():
    made = make_drawn(teams=12, categories=("chicken",))
    made.categories.update(turn_in_at=timezone.now())
    return made


@pytest.fixture
def open_desk(contest, live_server):
    """Sign the desk's account in and open its page."""
    account = give_part(contest, "desk")

    def opening(page):
        page.goto(live_server.url + reverse("contest:sign_in"))
        page.fill("#id_username", account.username)
        page.fill("#id_password", "a long password")
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(live_server.url + "/")
        page.goto(live_server.url + reverse("contest:desk", args=[contest.slug]))

    return opening


def test_keypad_show_take_in(contest, open_desk, page):
    box = boxes_of_teams(contest.categories.get())[12]
    open_desk(page)
    assert page.inner_text(".countdown").startswith("closes in ")
    for key in ("1", "3", "back", "2"):
        page.locator(f".keypad [data-key='{key}']").click()
    page.get_by_role("button", name="Show", exact=True).click()
    page.wait_for_selector("#found")
    page.keyboard.press("Enter")  # takes nothing in by accident
    page.get_by_role("button", name=f"Take in {box.number}").dblclick()
    page.wait_for_selector(".notice")
    assert f"Box {box.number} taken in" in page.inner_text(".notice")
    assert list(TurnIn.objects.values_list("box__number", "status")) == [(box.number, "accepted")]


def test_enter_after_the_reason_refuses_and_nothing_else(contest, open_desk, page):
    open_desk(page)
    page.keyboard.type("5")
    page.keyboard.press("Enter")
    page.wait_for_selector("#found")
    page.get_by_text("Refuse…").click()
    page.fill("#reason", "no meat inside")
    page.keyboard.press("Enter")
    page.wait_for_selector(".notice")
    assert list(TurnIn.objects.values_list("status", "reason")) == [("refused", "no meat inside")]


def test_without_script_the_desk_works(contest, open_desk, browser):
    box = boxes_of_teams(contest.categories.get())[7]
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    open_desk(page)
    page.fill("#team", "7")
    page.get_by_role("button", name="Show the box").click()
    page.get_by_role("button", name=f"Take in {box.number}").click()
    page.wait_for_selector(".notice")
    assert TurnIn.objects.get().box == box
    context.close()
