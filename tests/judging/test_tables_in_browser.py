"""Pages of the tables in a real browser: news come by themselves, and nothing bars a reader or a thumb."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from playwright.sync_api import expect

from judging.services.captain import call_head_judge
from judging.services.rulings import rule
from tests.factories import client_for, make_drawn
from tests.judging.pages import address, fill, sheet_address

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    # The browser plugin's own fixture, not ours.
    pytest.mark.filterwarnings("ignore::pytest.PytestRemovedIn10Warning"),
]
WITHIN = 5_000  # news are asked for every three seconds


@pytest.fixture
def open_as(live_server, page):
    """`open_as(contest, part, address)`: the page as somebody who holds that part."""

    def open_page(contest, part, where):
        session = client_for(contest, part).cookies[settings.SESSION_COOKIE_NAME].value
        page.context.clear_cookies()
        page.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
        page.goto(live_server.url + where)
        return page

    return open_page


def disqualify(contest, number):
    rule(
        contest=contest,
        kind="disqualification",
        scope="box",
        box=contest.boxes.get(number=number),
        reason="sauce pooled",
        by="head judge",
    )


def test_a_ruling_reaches_the_captains_open_page(open_as):
    contest = make_drawn(teams=3)
    page = open_as(contest, "captain", address(contest, "captain", 1))
    expect(page.locator("#words-202")).to_be_empty()
    disqualify(contest, "202")
    expect(page.locator("#words-202")).to_have_text("disqualified", timeout=WITHIN)
    expect(page.locator("#news")).to_contain_text("202: disqualified")


def test_a_ruling_reaches_an_open_sheet_and_leaves_what_was_typed(open_as):
    contest = make_drawn(teams=3)
    page = open_as(contest, "tally", sheet_address(contest))
    page.keyboard.type("89")
    disqualify(contest, "202")
    expect(page.locator("#words-202")).to_have_text("disqualified", timeout=WITHIN)
    expect(page.locator("[name='201-taste']")).to_have_value("9")
    expect(page.locator("[name='201-tenderness']")).to_be_focused()


def test_a_call_reaches_the_head_judge_who_is_typing_an_answer(open_as):
    contest = make_drawn(teams=3)
    table, category = contest.tables.get(), contest.categories.get(key="chicken")
    said = {"contest": contest, "table": table, "category": category, "by": "captain of table 1"}
    call_head_judge(about="question", text="is foil allowed", **said)
    page = open_as(contest, "head_judge", address(contest, "rulings"))
    page.locator("#calls input[name=answer]").fill("No foil")
    call_head_judge(about="portions", box=contest.boxes.get(number="201"), **said)
    expect(page.get_by_role("link", name="Rule on 201")).to_be_visible(timeout=WITHIN)
    expect(page.locator("#calls input[name=answer]").first).to_have_value("No foil")


@pytest.mark.parametrize("width", [390, 1366])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_bars_a_reader_or_runs_out_of_a_phone(open_as, page, width, scheme):
    contest = make_drawn(teams=12, tables=2)
    fill(contest, missing=9)
    disqualify(contest, "205")
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": width, "height": 800})
    for part, where in (
        ("tally", address(contest, "marks")),
        ("tally", sheet_address(contest)),
        ("tally", sheet_address(contest, "ribs", 2, "F")),
        ("captain", address(contest, "captain", 1)),
        ("head_judge", f"{address(contest, 'rulings')}?box=205"),
    ):
        open_as(contest, part, where)
        page.wait_for_load_state("load")
        found = Axe().run(page).response
        assert found["passes"], "the checks ran"
        assert [(each["id"], each["nodes"][0]["html"]) for each in found["violations"]] == [], where
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), where
