"""The small way in: one page, and boxes can be taken."""

from datetime import UTC, datetime
from types import SimpleNamespace

import pytest
from django.urls import reverse

from contest.forms.setup import first_turn_in, read_team_names
from contest.models import Box, Contest, ContestRole, Entry, Pairing, Sitting
from contest.selectors.draw import problems
from contest.services.rulesets import shipped_rule_set
from tests.factories import make_account

pytestmark = pytest.mark.django_db
URL = "/new/small/"


def page(**changes):
    typed = {
        "uid": "11111111-2222-4333-8444-555555555555",
        "name": "Example Backyard One",
        "date": "2030-06-15",
        "teams": "Team Alder\nTeam Birch\n\nTeam Cedar",
        "judges": "4",
        "time_zone": "Europe/Lisbon",
        "ribs": "on",
        "ribs_time": "12:30",
        "chicken_time": "12:00",
        **changes,
    }
    return {key: value for key, value in typed.items() if value is not None}


@pytest.fixture
def organiser(client):
    account = make_account("organiser")
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    return account


@pytest.fixture
def clock(monkeypatch):
    """Sets what time it is, in UTC."""

    def set_to(*moment):
        now = datetime(*moment, tzinfo=UTC)
        monkeypatch.setattr("contest.forms.setup.timezone", SimpleNamespace(now=lambda: now))

    return set_to


def test_one_page_makes_a_contest_that_takes_boxes(client, organiser):
    answer = client.post(URL, page())
    contest = Contest.objects.get()
    assert answer.status_code == 302
    assert answer.url == reverse("contest:boxes_in", args=[contest.slug])
    assert contest.state == "sealed"
    assert contest.small
    assert not contest.one_person
    assert contest.rule_set == shipped_rule_set("plain-points")
    assert [(entry.number, entry.team.name) for entry in contest.entries.all()] == [
        (1, "Team Alder"),
        (2, "Team Birch"),
        (3, "Team Cedar"),
    ]
    assert contest.tables.get().seats.count() == 4
    assert Box.objects.filter(contest=contest).count() == 3
    assert Pairing.objects.filter(box__contest=contest).count() == 3
    assert client.get(answer.url).status_code == 200


def test_the_organiser_of_a_small_contest_does_all_but_the_desk(client, organiser):
    client.post(URL, page())
    assert ContestRole.objects.get().held == {"organiser", "tally", "head_judge", "announcer"}


def test_turn_in_is_by_the_clock_of_the_place(client, organiser):
    client.post(URL, page())
    # Lisbon keeps UTC+1 in June (tz database).
    assert Contest.objects.get().categories.get().turn_in_at == datetime(2030, 6, 15, 11, 30, tzinfo=UTC)


def test_every_seat_is_expected_to_mark_with_and_without_names(client, organiser):
    client.post(URL, page(judge_names="Judge Rowan\nJudge Yew"))
    sittings = Sitting.objects.filter(seat__table__contest=Contest.objects.get())
    assert sittings.count() == 4
    assert {row.judge.name for row in sittings if row.judge} == {"Judge Rowan", "Judge Yew"}
    assert not sittings.filter(vacant=True).exists()


def test_a_form_that_arrives_twice_makes_one_contest(client, organiser):
    first = client.post(URL, page())
    second = client.post(URL, page())
    assert Contest.objects.count() == 1
    assert first.url == second.url


def test_two_presses_at_once_make_one_contest(client, organiser, monkeypatch):
    from contest.views import setup as views

    client.post(URL, page())
    answers = iter([None])  # the first look still finds nothing: the other press is a moment quicker
    there = views.made_already
    monkeypatch.setattr(views, "made_already", lambda form, account: next(answers, there(form, account)))
    answer = client.post(URL, page())
    assert answer.status_code == 302
    assert Contest.objects.count() == 1


def test_two_contests_of_one_name_get_two_addresses(client, organiser):
    client.post(URL, page())
    client.post(URL, page(uid="11111111-2222-4333-8444-555555555556"))
    assert sorted(Contest.objects.values_list("slug", flat=True)) == ["example-backyard-one", "example-backyard-one-2"]


def test_a_count_of_teams_is_enough(client, organiser):
    client.post(URL, page(teams="12 teams"))
    assert list(Entry.objects.values_list("number", "team__name"))[::11] == [(1, "Team 1"), (12, "Team 12")]


def test_team_seven_of_another_day_is_another_team(client, organiser):
    client.post(URL, page(teams="12"))
    client.post(URL, page(teams="12", uid="11111111-2222-4333-8444-555555555556"))
    assert Entry.objects.filter(team__name="Team 7").values("team").distinct().count() == 2


def test_several_categories_and_one_of_the_own(client, organiser):
    client.post(URL, page(chicken="on", other_name="Chili", other_time="14:00"))
    assert list(Contest.objects.get().categories.values_list("key", "order")) == [
        ("chicken", 0),
        ("ribs", 1),
        ("chili", 2),
    ]


def test_one_person_is_declared_and_logged(client, organiser):
    client.post(URL, page(one_person="on"))
    contest = Contest.objects.get()
    assert contest.one_person
    assert "desk" in ContestRole.objects.get().held
    assert contest.log_chains.get(name="day").rows.filter(what="one person declared").exists()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": ""}, "This field is required"),
        ({"teams": "Team Alder\n\n team  alder"}, "Lines 1 and 3 are the same team"),
        ({"teams": "Team Alder"}, "at least two teams"),
        ({"teams": ""}, "12 teams"),
        ({"teams": "41 teams"}, "41 teams"),
        ({"teams": "Team Alder\n" + "x" * 121}, "Line 2 is longer than 120"),
        ({"judges": None}, "Choose how many judges"),
        ({"judges": "7"}, "Select a valid choice"),
        ({"judges": "3", "judge_names": "A\nB\nC\nD"}, "4 names for 3 judges"),
        ({"judge_names": "Judge Yew\njudge yew"}, "stands here twice"),
        ({"ribs": None}, "Tick at least one category"),
        ({"ribs_time": ""}, "Type when Ribs is turned in"),
        ({"ribs_time": "half past"}, "hours and minutes"),
        ({"other_name": "ribs", "other_time": "13:00"}, "ticked above already"),
        ({"other_name": "Chili"}, "Type when Chili is turned in"),
        ({"time_zone": "Nowhere/Town"}, "Select a valid choice"),
        ({"date": "soon"}, "Enter a valid date"),
    ],
)
def test_bad_input_is_said_and_everything_typed_is_kept(client, organiser, changes, said):
    answer = client.post(URL, page(**changes))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert said in text
    assert not Contest.objects.exists()
    assert not Entry.objects.exists()
    if "teams" not in changes:
        assert "Team Cedar" in text
    if "name" not in changes:
        assert "Example Backyard One" in text


def test_a_time_that_is_over_is_asked_about_once(client, organiser, clock):
    clock(2030, 6, 15, 14, 0)
    answer = client.post(URL, page())
    assert answer.status_code == 422
    assert "It is 15:00 in Europe/Lisbon: the turn-in of Ribs is over" in answer.content.decode()
    assert client.post(URL, page(already_in="on")).status_code == 302


def test_a_time_that_the_clock_skips_is_refused(client, organiser):
    # The European Union's clocks go forward on the last Sunday of March at 01:00 UTC; Lisbon shows 01:00 then.
    answer = client.post(URL, page(date="2030-03-31", ribs_time="01:30"))
    assert answer.status_code == 422
    assert "01:30 does not exist on 31 March 2030" in answer.content.decode()
    assert not Contest.objects.exists()


def test_a_refused_draw_leaves_nothing_behind(client, organiser, monkeypatch):
    from contest.rules.draw import DrawRefused

    def refuse(**given):
        raise DrawRefused("No draw today.")

    monkeypatch.setattr("contest.services.setup.make_draw", refuse)
    answer = client.post(URL, page())
    assert answer.status_code == 422
    assert "No draw today." in answer.content.decode()
    assert not Contest.objects.exists()


def test_the_most_a_small_contest_takes_can_be_drawn(client, organiser):
    every = dict.fromkeys(("chicken", "ribs", "pork", "brisket"), "on")
    times = {f"{key}_time": f"{12 + place}:00" for place, key in enumerate(every)}
    answer = client.post(URL, page(teams="40 teams", other_name="Chili", other_time="17:00", **every, **times))
    assert answer.status_code == 302
    assert Box.objects.count() == 200
    assert problems(Contest.objects.get()) == []


@pytest.mark.parametrize(
    ("now", "tomorrow", "first"),
    [((8, 0), False, "12:00"), ((14, 10), False, "15:30"), ((19, 59), False, "21:00"), ((23, 10), True, "12:00")],
)
def test_the_first_turn_in_is_never_over_already(now, tomorrow, first):
    answer = first_turn_in(datetime(2026, 6, 13, *now))
    assert (answer[0], f"{answer[1]:%H:%M}") == (tomorrow, first)


def test_names_that_are_only_digits_are_names_when_there_are_several():
    assert read_team_names("12\n13") == ["12", "13"]
