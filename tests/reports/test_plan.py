"""A team's plan: back from turn-in, the next step on top, private to the team."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from reports.models import CookDay, TeamStages
from tests.factories import make_contest
from tests.reports.cooks import clock, make_cook, page

__all__ = ["clock"]
pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    """Chicken at 12:00, ribs at 12:30 on 13 June 2026, UTC."""
    return make_contest(teams=2)


@pytest.fixture
def cook(contest):
    return make_cook(contest.entries.get(number=1).team)


def lines(response) -> list[str]:
    """The plan's lines as words, those behind in front."""
    found = re.findall(r"<li data-at=.*?</li>", response.content.decode(), re.S)
    words = [" ".join(re.sub(r"<[^>]+>", " ", line).split()) for line in found]
    return list(dict.fromkeys(words))


def test_the_next_step_and_its_clock_stand_on_top(contest, cook, clock):
    """Ribs at 12:30: 5 + 15 + 15 + 15 + 60 minutes before are 10:40, when they are wrapped."""
    team, client = cook
    clock(10, 28)
    shown = client.get(page("plan_day", team, contest.uid)).content.decode()
    top = shown[shown.index('id="next"') : shown.index("</section>")]
    assert " ".join(re.sub(r"<[^>]+>", " ", top[top.index(">") + 1 :]).split()) == "Wrap Ribs 10:40 in 12 min"


def test_all_categories_in_one_line_of_time(contest, cook, clock):
    team, client = cook
    clock(6)
    assert lines(client.get(page("plan_day", team, contest.uid))) == [
        "07:50 Season 20 min Ribs",
        "08:10 On the pit 2 h 30 min Ribs",
        "09:10 Spritz Ribs",
        "09:35 Season 20 min Chicken",
        "09:55 On the pit 1 h Chicken",
        "10:10 Spritz Ribs",
        "10:40 Wrap 1 h Ribs",
        "10:55 Wrap 30 min Chicken",
        "11:25 Off the pit, sauce, let the sauce set 15 min Chicken",
        "11:40 Box 15 min Chicken",
        "11:40 Off the pit, rest 15 min Ribs",
        "11:55 Walk 5 min Chicken",
        "11:55 Sauce, let the sauce set 15 min Ribs",
        "12:00 Turn in Chicken",
        "12:10 Box 15 min Ribs",
        "12:25 Walk 5 min Ribs",
        "12:30 Turn in Ribs",
    ]


def test_what_is_behind_is_kept_for_the_print(contest, cook, clock):
    team, client = cook
    clock(12, 27)
    shown = client.get(page("plan_day", team, contest.uid)).content.decode()
    assert "16 steps behind you" in shown
    assert 'class="timeline print-only"' in shown
    assert "Turn in" in shown[shown.index('class="timeline coming"') :]


def test_a_withdrawn_or_cancelled_category_is_not_planned(contest, cook, clock):
    team, client = cook
    clock(6)
    contest.entries.get(team=team).entered.filter(category__key="ribs").update(withdrawn_at=timezone.now())
    assert not [line for line in lines(client.get(page("plan_day", team, contest.uid))) if line.endswith("Ribs")]
    contest.categories.filter(key="chicken").update(cancelled_at=timezone.now(), cancelled_why="no chicken came")
    assert "in no category of this contest" in client.get(page("plan_day", team, contest.uid)).content.decode()


def test_a_delayed_window_moves_the_plan(contest, cook, clock):
    team, client = cook
    clock(6)
    contest.categories.filter(key="ribs").update(turn_in_at=datetime(2026, 6, 13, 12, 40, tzinfo=UTC))
    assert "10:50 Wrap 1 h Ribs" in lines(client.get(page("plan_day", team, contest.uid)))


def test_the_teams_own_lengths_hold_for_every_plan(contest, cook, clock):
    team, client = cook
    clock(6)
    url = page("stages", team, contest.uid, "ribs")
    given = {"season": 15, "pit": 120, "spritz_every": 45, "wrap": 75, "off": 0, "rest": "", "hold": "", "sauce": 0}
    answer = client.post(url, {**given, "set": 10, "box": 10, "walk": 5})
    assert answer.status_code == 302
    shown = client.get(answer["Location"])
    assert [line for line in lines(shown) if line.endswith("Ribs")] == [
        "08:35 Season 15 min Ribs",
        "08:50 On the pit 2 h Ribs",
        "09:35 Spritz Ribs",
        "10:20 Spritz Ribs",
        "10:50 Wrap 1 h 15 min Ribs",
        "12:05 Off the pit, sauce, let the sauce set 10 min Ribs",
        "12:15 Box 10 min Ribs",
        "12:25 Walk 5 min Ribs",
        "12:30 Turn in Ribs",
    ]
    assert "Your team’s own." in shown.content.decode()
    client.post(url, {"common": "yes"})
    assert not TeamStages.objects.exists()
    assert "07:50 Season 20 min Ribs" in lines(client.get(page("plan_day", team, contest.uid)))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"pit": "-5"}, "greater than or equal to 0"),
        ({"pit": "3000"}, "less than or equal to 2880"),
        ({"pit": "60", "spritz_every": "2"}, "greater than or equal to 5"),
        ({"pit": "0"}, "Give at least one stage its minutes."),
    ],
)
def test_impossible_lengths_are_refused_and_stay_typed(contest, cook, given, said):
    team, client = cook
    answer = client.post(page("stages", team, contest.uid, "ribs"), given)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert all(f'value="{value}"' in answer.content.decode() for value in given.values())
    assert not TeamStages.objects.exists()


def typed(**more):
    return {
        "name": "Example Cook-off Far Away",
        "date": "2026-06-20",
        "time_zone": "America/Chicago",
        "at_ribs": "12:30",
        "other_0": "Sausage",
        "other_at_0": "13:00",
        **more,
    }


def test_a_day_typed_in_by_hand_has_a_plan(cook, clock):
    team, client = cook
    clock(6)
    answer = client.post(page("plan", team), typed())
    assert answer.status_code == 302
    shown = client.get(answer["Location"])
    assert "07:50 Season 20 min Ribs" in lines(shown), "by the clock of Chicago"
    assert "12:55 Walk 5 min Sausage" in lines(shown)
    row = CookDay.objects.get()
    assert row.logs.get(key="ribs").turn_in_at == datetime(2026, 6, 20, 17, 30, tzinfo=UTC)
    client.post(page("own_day", team, row.uid), typed(at_ribs="12:00", other_0="", other_at_0=""))
    assert "07:20 Season 20 min Ribs" in lines(client.get(answer["Location"]))
    assert list(row.logs.values_list("key", flat=True)) == ["ribs"]
    client.post(page("own_day_delete", team, row.uid))
    assert not CookDay.objects.exists()


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"date": "2026-03-08", "at_ribs": "02:30"}, "The clock skips 02:30 on 08 March 2026"),
        ({"at_ribs": "", "other_0": "", "other_at_0": ""}, "the turn-in time of at least one category"),
        ({"other_0": ""}, "Type both, the category and its time."),
        ({"other_0": "Ribs"}, "Ribs stands here twice."),
        ({"at_ribs": "25:00"}, "Type a time as hours and minutes"),
        ({"name": ""}, "This field is required."),
    ],
)
def test_a_day_that_cannot_be_is_refused_and_stays_typed(cook, more, said):
    team, client = cook
    answer = client.post(page("plan", team), typed(**more))
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert 'value="America/Chicago" selected' in answer.content.decode()
    assert not CookDay.objects.exists()


def test_looking_at_a_plan_keeps_nothing(contest, cook):
    team, client = cook
    client.get(page("plan", team))
    client.get(page("plan_day", team, contest.uid))
    assert not CookDay.objects.exists()


def test_coming_days_first_and_those_over_apart(contest, cook, clock):
    team, client = cook
    clock(10)
    shown = client.get(page("plan", team)).content.decode()
    assert contest.name in shown
    assert "Days that are over" not in shown
    clock(1, day=15)
    assert "Days that are over (1)" in client.get(page("plan", team)).content.decode()


def test_another_teams_plan_does_not_exist(contest, cook, clock):
    team, client = cook
    clock(10)
    client.post(page("plan", team), typed())
    own = CookDay.objects.get()
    other, other_client = make_cook(contest.entries.get(number=2).team)
    for name, more in (("plan", ()), ("plan_day", (own.uid,)), ("own_day", (own.uid,)), ("own_day_delete", (own.uid,))):
        assert other_client.post(page(name, team, *more)).status_code in (404, 405)
        assert other_client.get(page(name, team, *more)).status_code in (404, 405)
        if more:  # nor under the other team's own address
            assert other_client.get(page(name, other, *more)).status_code in (404, 405)
            assert other_client.post(page(name, other, *more)).status_code in (404, 405)
    assert CookDay.objects.filter(pk=own.pk).exists()


def test_the_cautions_stand_where_meat_is_held(contest, cook, clock):
    team, client = cook
    clock(10)
    shown = client.get(page("plan_day", team, contest.uid)).content.decode()
    assert "FDA Food Code 2022, §3-501.16" in shown
    assert "local health authority decides" in shown


def test_over_is_said_after_the_last_turn_in(contest, cook, clock):
    team, client = cook
    clock(12, 31)
    assert "The last turn-in is past." in client.get(page("plan_day", team, contest.uid)).content.decode()
    moment = clock(12, 31, day=14)
    assert moment - timedelta(hours=12) > datetime(2026, 6, 13, 12, 30, tzinfo=UTC)
    assert "This day is over." in client.get(page("plan_day", team, contest.uid)).content.decode()
