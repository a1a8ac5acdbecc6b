"""A long list in a real browser: readable, in reach of a thumb, and searched without a script."""

from datetime import date, timedelta

import pytest
from playwright.sync_api import expect

from contest.models import Contest
from tests.factories import make_account, make_rule_set
from tests.site.looking import faults_of

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    # The browser plugin's own fixture, not ours.
    pytest.mark.filterwarnings("ignore::pytest.PytestRemovedIn10Warning"),
]


@pytest.fixture
def years(live_server):
    make_account()
    rules = make_rule_set()
    Contest.objects.bulk_create(
        Contest(
            slug=f"cook-off-{number}",
            name=f"Example Cook-off {number}",
            date=date(2020, 1, 1) + timedelta(days=number),
            rule_set=rules,
            state=Contest.State.PUBLISHED,
        )
        for number in range(400)
    )
    return live_server.url


def test_pages_of_a_long_list_bar_no_reader(years, page):
    page.goto(f"{years}/?page=8")
    expect(page.get_by_role("link", name="Page 8 of published results")).to_have_attribute("aria-current", "page")
    assert faults_of(page, "long-list") == []
    page.goto(f"{years}/?q=399")
    assert faults_of(page, "long-list-searched") == []


def test_long_list_is_searched_without_a_script(years, browser):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(years)
    page.get_by_role("searchbox", name="Search published results").fill("off 377")
    page.get_by_role("button", name="Search").click()
    expect(page.get_by_text("1 found for “off 377”.")).to_be_visible()
    expect(page.locator("#published ~ ul.cards > li")).to_have_count(1)
    page.get_by_role("link", name="Show all").click()
    page.get_by_role("link", name="Next page of published results").click()
    expect(page.get_by_role("link", name="Page 2 of published results")).to_have_attribute("aria-current", "page")
    context.close()
