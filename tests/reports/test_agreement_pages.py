"""Agreement and how sure a result is: for organiser and head judge, after publishing, never for anybody else."""

import pytest
from django.test import Client
from django.urls import reverse

from reports.models import ContestAgreement, SeasonWork, SeverityFit
from reports.season.study import interval, percent
from tests.factories import client_for
from tests.reports.seasons import fitted, make_season

pytestmark = pytest.mark.django_db


def url(contest, name="agreement"):
    return reverse(f"reports:{name}", args=[contest.slug])


@pytest.mark.parametrize("part", ["organiser", "head_judge"])
def test_flights_and_judges_stand_there_after_publishing(part):
    season, _ = fitted(2)
    contest = season.contests.first()
    page = client_for(contest, part).get(url(contest)).text
    assert "Chicken, table 1" in page
    assert "Ribs, table 2" in page
    found = ContestAgreement.objects.get(tally__contest=contest).result
    assert len(found["flights"]) == 4
    assert len(found["judges"]) == 12
    assert all(-1 <= flight["w"] <= 1 for flight in found["flights"])
    judge = contest.tables.get(number=1).seats.get(letter="A").sittings.first().judge
    assert judge.name in page
    assert "Not a ranking" in page
    assert "nothing here changes it" in " ".join(page.split())


@pytest.mark.parametrize("part", ["announcer", "tally", "desk", "captain", "judge", "visitor", "stranger"])
def test_nobody_else_sees_them(part):
    season, _ = fitted(2)
    contest = season.contests.first()
    client = client_for(contest, part)
    for name in ("agreement", "how_sure"):
        assert client.get(url(contest, name)).status_code in (302, 403, 404)
    assert Client().get(reverse("reports:results", args=[contest.slug])).text.count("greement") == 0


def test_a_sealed_contest_shows_nothing():
    season = make_season(2, published=False)
    contest = season.contests.first()
    for name in ("agreement", "how_sure"):
        page = client_for(contest, "organiser").get(url(contest, name)).text
        assert "once the result is published" in page
        assert "<table" not in page


def test_kendalls_w_and_severity_follow_the_marks():
    """Seat D marks one lower and seats B and F one higher than the others, in every flight: 4.5 points a card."""
    season, _ = fitted(2)
    contest = season.contests.first()
    found = ContestAgreement.objects.get(tally__contest=contest).result
    by_seat = {each["places"][0][1]: each["severity"][0] for each in found["judges"].values()}
    assert by_seat["D"] < by_seat["A"] < by_seat["B"]
    assert by_seat["B"] - by_seat["D"] == pytest.approx(2 * 4.5 * 6 / 5, abs=3.5)
    assert all(each["severity"][1] <= each["severity"][0] <= each["severity"][2] for each in found["judges"].values())


def test_how_sure_waits_for_a_second_contest():
    season, _ = fitted(1)
    contest = season.contests.first()
    page = client_for(contest, "organiser").get(url(contest, "how_sure")).text
    assert "once a second contest of the season is published" in page
    assert "Would hold" not in page


def test_how_sure_gives_every_announced_place_a_chance():
    season, _ = fitted(2)
    contest = season.contests.first()
    page = client_for(contest, "head_judge").get(url(contest, "how_sure")).text
    places = SeverityFit.objects.get(response="weighted", category="").figures.places[str(contest.uid)]
    assert {key: len(teams) for key, teams in places.items()} == {"": 8, "chicken": 8, "ribs": 8}
    for teams in places.values():
        for hold in teams.values():
            assert 0 <= hold.chance <= 1
            assert 1 <= hold.low <= hold.high <= 8
            assert 1 <= hold.place <= 8
    assert "4000 repetitions" in page
    assert "never public" not in page
    assert page.count("Would hold") == 3


def test_it_is_worked_out_on_request():
    season, group = fitted(2)
    contest = season.contests.first()
    ContestAgreement.objects.all().delete()
    SeverityFit.objects.all().delete()
    client = client_for(contest, "organiser")
    assert "Work it out" in client.get(url(contest)).text
    assert client.post(url(contest, "agreement_work")).status_code == 302
    assert SeasonWork.objects.get().group == group
    assert "Being worked out" in client.get(url(contest)).text


def test_intervals_and_chances_read_plainly():
    assert interval([0.84, 0.71, 0.92]) == "0.84 (0.71 to 0.92)"
    assert interval([-1.2, -2.0, 0.4], plus=True) == "−1.20 (−2.00 to +0.40)"
    assert interval([0.5, None, 0.9]) == "0.50 (? to 0.90)"
    assert interval(None) == interval([None, None, 0.3]) == "–"
    assert [percent(chance) for chance in (0.0, 0.009, 0.424, 0.999, 1.0)] == [
        "under 1 %", "under 1 %", "42 %", "over 99 %", "over 99 %",
    ]  # fmt: skip
