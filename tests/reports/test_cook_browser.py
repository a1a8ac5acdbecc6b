"""A team's plan and log in a real browser: the countdown, one tap, and nothing that bars a reader or a thumb."""

from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.utils import timezone
from playwright.sync_api import expect

from reports.models import CookLog
from tests.factories import make_contest
from tests.reports.cooks import make_cook
from tests.reports.cooks import page as address

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    # The browser plugin's own fixture, not ours.
    pytest.mark.filterwarnings("ignore::pytest.PytestRemovedIn10Warning"),
]


@pytest.fixture
def day(live_server, page):
    """Ribs whose wrap is due in under twelve minutes, and a page signed in as their cook."""
    now = timezone.now()
    contest = make_contest(teams=2, categories=("ribs",), date=now.date())
    contest.categories.update(turn_in_at=now + timedelta(hours=2, minutes=1, seconds=50))
    team, client = make_cook(contest.entries.get(number=1).team)
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    page.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
    page.set_viewport_size({"width": 390, "height": 844})
    return contest, team, lambda name, *more: page.goto(live_server.url + address(name, team, *more))


def test_the_plan_counts_down_without_loading_again(day, page):
    """110 minutes before turn-in ribs are wrapped: in 12 minutes, then in 11, then the next step takes the top."""
    contest, _, go = day
    page.clock.install(time=timezone.now())
    go("plan_day", contest.uid)
    expect(page.locator("#next-words")).to_have_text("Wrap")
    expect(page.locator("#next-wait")).to_have_text("in 12 min")
    page.clock.run_for(60_000)
    expect(page.locator("#next-wait")).to_have_text("in 11 min")
    page.clock.run_for(12 * 60_000)
    expect(page.locator("#next-words")).to_have_text("Off the pit, rest")
    expect(page.locator(".timeline.coming li.past")).to_have_count(1)


def test_one_tap_notes_a_stage(day, page):
    contest, team, go = day
    go("cook_log_of", contest.uid, "ribs")
    page.get_by_role("button", name="Done now").click()
    expect(page.locator("#stages .state.done")).to_have_count(1)
    log = CookLog.objects.get(day__team=team)
    assert abs(log.stages.get().at - timezone.now()) < timedelta(minutes=1)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_bars_a_reader_or_a_thumb(day, page, scheme):
    contest, _, go = day
    page.emulate_media(color_scheme=scheme)
    for where in (
        ("plan",), ("plan_day", contest.uid), ("stages", contest.uid, "ribs"), ("cook_log",),
        ("cook_log_of", contest.uid, "ribs"), ("cook_settings",), ("past",), ("past_import",), ("past_package",),
    ):  # fmt: skip
        go(*where)
        found = Axe().run(page).response
        assert found["passes"], "the checks ran"
        assert [(each["id"], each["nodes"][0]["html"]) for each in found["violations"]] == [], where
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, where
