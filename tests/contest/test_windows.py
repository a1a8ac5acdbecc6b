"""Delaying the windows that remain, and cancelling a category."""

import json
import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from contest.day import steps
from contest.models import Category, Contest, LogRow
from contest.refusals import Refused
from contest.selectors.boxes import to_judge
from contest.services.windows import as_seen, cancel_category, delay_windows, windows_to_move
from tests.factories import client_for, make_drawn

pytestmark = pytest.mark.django_db
NAMES = ("chicken", "ribs", "pork")


def url(contest, name="windows", *args):
    return reverse(f"contest:{name}", args=[contest.slug, *args])


@pytest.fixture
def contest():
    """Chicken has passed, ribs is open, pork is to come."""
    made = make_drawn(teams=4, categories=NAMES)
    for place, category in enumerate(made.categories.all()):
        category.turn_in_at = timezone.now() + timedelta(minutes=30 * (place - 1))
        category.save()
    return made


def times(contest):
    return dict(contest.categories.values_list("key", "turn_in_at"))


def moved(contest, before):
    return {key: (at - before[key]).total_seconds() / 60 for key, at in times(contest).items()}


def test_only_windows_that_have_not_opened_move(contest):
    before = times(contest)
    delay_windows(contest=contest, minutes=15, by="organiser")
    assert moved(contest, before) == {"chicken": 0, "ribs": 0, "pork": 15}
    facts = json.loads(LogRow.objects.get(what="windows delayed").facts)
    assert facts["minutes"] == 15
    assert list(facts["turn_in_at"]) == ["pork"]


def test_the_open_window_moves_when_asked_for(contest):
    before = times(contest)
    delay_windows(contest=contest, minutes=10, by="organiser", include_open=True)
    assert moved(contest, before) == {"chicken": 0, "ribs": 10, "pork": 10}


def test_a_delay_made_by_mistake_is_taken_back(contest):
    before = times(contest)
    delay_windows(contest=contest, minutes=150, by="organiser")
    delay_windows(contest=contest, minutes=-135, by="organiser")
    assert moved(contest, before) == {"chicken": 0, "ribs": 0, "pork": 15}
    with pytest.raises(Refused, match="Pork would have opened already"):
        delay_windows(contest=contest, minutes=-60, by="organiser")


@pytest.mark.parametrize("minutes", [0, 241, -241])
def test_senseless_delays_are_refused(contest, minutes):
    with pytest.raises(Refused, match="Give 1 to 240 minutes"):
        delay_windows(contest=contest, minutes=minutes, by="organiser")


def test_nothing_is_left_to_move_after_the_last_window(contest):
    Category.objects.update(turn_in_at=timezone.now() - timedelta(hours=1))
    with pytest.raises(Refused, match="Every window has opened"):
        delay_windows(contest=contest, minutes=5, by="organiser")


def test_a_second_press_moves_nothing(contest):
    client = client_for(contest, "organiser")
    seen = as_seen(windows_to_move(contest))
    before = times(contest)
    for _ in range(2):
        answer = client.post(url(contest, "windows_delay"), {"minutes": 15, "seen": seen}, follow=True)
    assert moved(contest, before)["pork"] == 15
    assert "Nothing was moved now" in answer.content.decode()
    assert LogRow.objects.filter(what="windows delayed").count() == 1


def test_each_time_is_shown_before_anything_moves(contest):
    Contest.objects.update(time_zone="America/Chicago")
    Category.objects.filter(key="pork").update(
        turn_in_at=timezone.now().replace(hour=18, minute=0, second=0) + timedelta(days=1)
    )
    contest.refresh_from_db()
    before = times(contest)
    page = client_for(contest, "desk").get(url(contest, "windows_delay"), {"minutes": "15"}).content.decode()
    local = contest.local(before["pork"])
    assert f"{local:%H:%M}" in page
    assert f"{local + timedelta(minutes=15):%H:%M}" in page
    assert times(contest) == before


def test_minutes_that_are_no_number_come_back(contest):
    answer = client_for(contest, "organiser").get(url(contest, "windows_delay"), {"minutes": "soon"})
    assert answer.status_code == 422
    assert 'value="soon"' in answer.content.decode()


def test_cancelling_needs_a_reason_and_is_logged(contest):
    client = client_for(contest, "organiser")
    assert client.post(url(contest, "windows_cancel", "pork"), {"reason": ""}).status_code == 422
    client.post(url(contest, "windows_cancel", "pork"), {"reason": "the meat did not arrive"})
    pork = Category.objects.get(key="pork")
    assert pork.is_cancelled
    assert json.loads(LogRow.objects.get(what="category cancelled").facts) == {
        "category": "pork",
        "reason": "the meat did not arrive",
    }
    assert len(to_judge(contest)) == 8
    assert client.get(url(contest, "windows_cancel", "pork")).status_code == 404
    with pytest.raises(Refused, match="cancelled already"):
        cancel_category(category=Category.objects.get(key="pork"), reason="again", by="organiser")


def test_day_counts_no_cancelled_category(contest):
    assert any(line.startswith("3 categories, ") for line in steps(contest)[0].lines)
    cancel_category(category=contest.categories.get(key="pork"), reason="rain", by="organiser")
    assert any(line.startswith("2 categories, ") for line in steps(contest)[0].lines)


def test_after_closing_nothing_changes(contest):
    Contest.objects.update(state="closed")
    with pytest.raises(Refused, match="The tally is closed"):
        delay_windows(contest=contest, minutes=5, by="organiser")
    with pytest.raises(Refused, match="The tally is closed"):
        cancel_category(category=contest.categories.get(key="pork"), reason="rain", by="organiser")


def test_the_pages_name_no_team(contest):
    client = client_for(contest, "organiser")
    words = strip_tags(client.get(url(contest)).content.decode())
    assert "Team " not in words
    assert not set(re.findall(r"\b\d{3}\b", words)) & {box.number for box in contest.boxes.all()}
