"""The desk's clock, and two devices at once."""

import threading
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection

from contest.models import Contest, LogRow, TurnIn
from contest.selectors.boxes import standing_boxes, statuses
from contest.selectors.windows import moment_near, nearest_window, next_window, windows
from contest.services.desk import AlreadyRecorded, record_turn_in
from tests.factories import make_drawn

pytestmark = pytest.mark.django_db


# clocks


@pytest.mark.parametrize(
    ("zone", "turn_in", "clock", "moment"),
    [
        # Auckland is UTC+12 in June: noon there is midnight UTC of the same day.
        ("Pacific/Auckland", "2026-06-13T00:00", "11:58", "2026-06-12T23:58"),
        ("Pacific/Auckland", "2026-06-13T00:00", "12:03", "2026-06-13T00:03"),
        # A window on both sides of midnight by the contest's own clock.
        ("UTC", "2026-06-13T23:58", "00:01", "2026-06-14T00:01"),
        ("UTC", "2026-06-14T00:01", "23:57", "2026-06-13T23:57"),
        # Chicago is UTC−5 in June.
        ("America/Chicago", "2026-06-13T17:30", "12:25", "2026-06-13T17:25"),
    ],
)
def test_a_clock_time_means_the_day_nearest_to_its_window(zone, turn_in, clock, moment):
    contest = Contest(time_zone=zone)
    around = datetime.fromisoformat(turn_in).replace(tzinfo=UTC)
    found = moment_near(contest, around, datetime.strptime(clock, "%H:%M").time())
    assert found.astimezone(UTC) == datetime.fromisoformat(moment).replace(tzinfo=UTC)


def test_windows_by_the_clock():
    contest = make_drawn(teams=2)  # chicken 12:00, ribs 12:30, five minutes either side
    chicken, _ = windows(contest)
    at = datetime(2026, 6, 13, 12, 0, tzinfo=UTC)

    def minutes(n):
        return at + timedelta(minutes=n)

    assert [chicken.state(minutes(n)) for n in (-6, -5, 0, 5, 6)] == ["before", "open", "open", "open", "closed"]
    assert [nearest_window(contest, minutes(n)).category.key for n in (-300, 14, 16, 300)] == [
        "chicken",
        "chicken",
        "ribs",
        "ribs",
    ]
    assert next_window(contest, minutes(6)).category.key == "ribs"
    assert next_window(contest, minutes(36)) is None


# two devices at once


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("second", ["accepted", "absent"])
def test_two_devices_at_once_one_stands_and_none_is_lost(second):
    """Two threads, each with a connection of its own, on the real database file."""
    contest = make_drawn(teams=4, categories=("chicken",))
    box = standing_boxes(contest)[0]
    start = threading.Barrier(2)
    outcomes = []

    def device(status):
        try:
            start.wait(timeout=10)
            record_turn_in(contest=contest, box=box, status=status, by=f"device {status}")
            outcomes.append("recorded")
        except AlreadyRecorded:
            outcomes.append("already")
        except BaseException as error:
            outcomes.append(repr(error))
        finally:
            connection.close()

    threads = [threading.Thread(target=device, args=(status,)) for status in ("accepted", second)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(outcomes) == ["already", "recorded"]
    assert TurnIn.objects.filter(box=box, standing=True).count() == 1
    assert TurnIn.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_devices_with_different_boxes_lose_none():
    contest = make_drawn(teams=16, categories=("chicken",))
    boxes = list(standing_boxes(contest))
    outcomes = []

    def device(mine):
        try:
            for box in mine:
                record_turn_in(contest=contest, box=box, status="accepted", by="desk")
        except BaseException as error:
            outcomes.append(repr(error))
        finally:
            connection.close()

    threads = [threading.Thread(target=device, args=(boxes[start::2],)) for start in (0, 1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert outcomes == []
    assert len(statuses(contest)) == 16
    numbers = list(LogRow.objects.filter(chain__contest=contest).order_by("number").values_list("number", flat=True))
    assert numbers == list(range(1, 17))
