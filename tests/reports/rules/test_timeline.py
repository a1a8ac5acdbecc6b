"""A plan back from turn-in. Lengths of ribs: common practice, no source; clock changes: the IANA time zone database."""

import doctest
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from contest.rules import clock
from contest.rules.clock import moment_of
from reports.rules import timeline
from reports.rules.timeline import (
    DEFAULTS,
    STAGES,
    Lengths,
    clock_text,
    kind_of,
    nearest_moment,
    next_step,
    plan_back,
)

CHICAGO, NEW_YORK = ZoneInfo("America/Chicago"), ZoneInfo("America/New_York")


def clocks(steps, zone, day):
    return [(step.key, clock_text(step.at, zone, day)) for step in steps]


def test_ribs_for_half_past_twelve():
    """Common practice, no source: 20 min seasoned, 2½ h smoke with a spritz each hour, 1 h wrapped, 15 min rest,
    15 min to set, 15 to box, 5 to walk: 4 h 40 min before turn-in. Worked by hand."""
    day = date(2026, 6, 13)
    steps = plan_back(moment_of(day, time(12, 30), CHICAGO), DEFAULTS["ribs"])
    assert clocks(steps, CHICAGO, day) == [
        ("season", "07:50"),
        ("pit", "08:10"),
        ("spritz", "09:10"),
        ("spritz", "10:10"),
        ("wrap", "10:40"),
        ("off", "11:40"),
        ("rest", "11:40"),
        ("sauce", "11:55"),
        ("set", "11:55"),
        ("box", "12:10"),
        ("walk", "12:25"),
        ("turn_in", "12:30"),
    ]


def test_brisket_begins_the_night_before():
    """6 h smoke, 4 h wrapped, 2 h held, 15 + 5 min: on the pit 12 h 20 min before half past one."""
    day = date(2026, 6, 13)
    steps = plan_back(moment_of(day, time(13, 30), CHICAGO), Lengths({**DEFAULTS["brisket"].minutes, "hold": 240}, 60))
    found = clocks(steps, CHICAGO, day)
    assert found[:2] == [("season", "Fri 22:50"), ("pit", "Fri 23:10")]
    assert ("wrap", "05:10") in found
    assert [key for key, _ in found].count("spritz") == 5  # not at the end of the smoke, where it is wrapped


def test_a_night_whose_clock_is_put_back_is_an_hour_longer_on_the_clock():
    """New York, 1 November 2026: 02:00 EDT becomes 01:00 EST."""
    day = date(2026, 11, 1)
    steps = plan_back(moment_of(day, time(6, 0), NEW_YORK), Lengths({"pit": 360, "walk": 5}, 60))
    assert clocks(steps, NEW_YORK, day) == [
        ("pit", "00:55"),
        ("spritz", "01:55 EDT"),
        ("spritz", "01:55 EST"),
        ("spritz", "02:55"),
        ("spritz", "03:55"),
        ("spritz", "04:55"),
        ("walk", "05:55"),
        ("turn_in", "06:00"),
    ]


def test_a_night_whose_clock_is_put_forward_is_an_hour_shorter_on_the_clock():
    """New York, 8 March 2026: 02:00 EST becomes 03:00 EDT."""
    day = date(2026, 3, 8)
    steps = plan_back(moment_of(day, time(6, 0), NEW_YORK), Lengths({"pit": 300}))
    assert clocks(steps, NEW_YORK, day)[0] == ("pit", "00:00")


def test_a_time_that_the_clock_skips_is_refused():
    with pytest.raises(ValueError, match="the clock skips 02:30 on 08 March 2026"):
        moment_of(date(2026, 3, 8), time(2, 30), NEW_YORK)


def test_of_a_time_that_comes_twice_the_first():
    assert moment_of(date(2026, 11, 1), time(1, 30), NEW_YORK) == datetime(2026, 11, 1, 5, 30, tzinfo=UTC)


def test_a_typed_clock_means_the_nearest_such_time():
    """23:10 typed at a quarter to six in the morning is last night's; 00:20 typed at ten to twelve is tonight's."""
    near = datetime(2026, 6, 13, 10, 45, tzinfo=UTC)
    assert nearest_moment(time(23, 10), near, CHICAGO) == datetime(2026, 6, 13, 4, 10, tzinfo=UTC)
    near = datetime(2026, 6, 13, 4, 50, tzinfo=UTC)  # 23:50 in Chicago
    assert nearest_moment(time(0, 20), near, CHICAGO) == datetime(2026, 6, 13, 5, 20, tzinfo=UTC)


def test_a_typed_clock_in_the_doubled_hour_means_the_nearer_one():
    near = datetime(2026, 11, 1, 6, 40, tzinfo=UTC)  # 01:40 EST, the second time
    assert nearest_moment(time(1, 30), near, NEW_YORK) == datetime(2026, 11, 1, 6, 30, tzinfo=UTC)


def test_the_next_step_is_the_first_to_come():
    steps = plan_back(datetime(2026, 6, 13, 12, 30, tzinfo=UTC), DEFAULTS["ribs"])
    assert next_step(steps, datetime(2026, 6, 13, 10, 28, tzinfo=UTC)).key == "wrap"
    assert next_step(steps, datetime(2026, 6, 13, 10, 40, tzinfo=UTC)).key == "off"
    assert next_step(steps, datetime(2026, 6, 13, 12, 30, tzinfo=UTC)) is None


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("ribs", "ribs"),
        ("Spare Ribs", "ribs"),
        ("beef-ribs", "ribs"),
        ("chicken", "chicken"),
        ("Pulled pork", "pork"),
        ("brisket", "brisket"),
        ("dessert", "other"),
    ],
)
def test_which_lengths_a_category_starts_from(name, kind):
    assert kind_of(name) == kind


@pytest.mark.parametrize(
    ("lengths", "said"),
    [
        (({"smoke": 5}, None), "no stage 'smoke'"),
        (({"pit": -1}, None), "at least 0"),
        (({"pit": 2881}, None), "at most 2880"),
        (({"pit": 60}, 1), "at least 5"),
    ],
)
def test_impossible_lengths_are_refused(lengths, said):
    with pytest.raises(ValueError, match=said):
        Lengths(*lengths)


def test_a_moment_without_a_zone_is_refused():
    with pytest.raises(ValueError, match="needs a time zone"):
        plan_back(datetime(2026, 6, 13, 12, 30), DEFAULTS["ribs"])


@given(
    st.datetimes(min_value=datetime(2000, 1, 1), max_value=datetime(2037, 1, 1)),
    st.sampled_from(["UTC", "America/New_York", "Europe/Lisbon", "Australia/Lord_Howe", "Asia/Kathmandu"]),
    st.dictionaries(st.sampled_from(list(STAGES)), st.integers(0, 900)),
    st.one_of(st.none(), st.integers(5, 120)),
)
def test_every_plan_ends_at_turn_in_and_takes_what_its_stages_take(local, zone, minutes, spritz):
    turn_in = local.replace(tzinfo=ZoneInfo(zone))
    steps = plan_back(turn_in, Lengths(minutes, spritz))
    assert steps[-1].key == "turn_in"
    assert steps[-1].at == turn_in
    assert [step.at for step in steps] == sorted(step.at for step in steps)
    assert (steps[-1].at - steps[0].at).total_seconds() == 60 * sum(minutes.values())
    assert [step.key for step in steps if step.key in STAGES] == [
        key for key in STAGES if key in minutes and (minutes[key] or key in ("off", "sauce"))
    ]


def test_the_examples_in_the_text():
    assert [doctest.testmod(module).failed for module in (clock, timeline)] == [0, 0]
