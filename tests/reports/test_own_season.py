"""Results packages in a team's season: they count as if their contests had been run here, for that team alone."""

import json
import uuid
from dataclasses import replace
from datetime import date
from unittest.mock import patch

import pytest

from contest.models import Contest, Sitting, Team
from judging.models import Tally
from reports.cook import packages
from reports.models import ImportedContest, PastResult, SeasonWork, SeverityFit, TeamAlias
from reports.results.packaging import package_files
from reports.rules.package.contest import read_contest
from reports.season import work
from reports.season.boxes import season_of
from reports.season.fits import fit_season
from reports.season.own import imported_rows, own_key
from reports.season.seasons import group_key
from tests.reports.cooks import make_cook, page
from tests.reports.seasons import make_season

pytestmark = pytest.mark.django_db
AWAY = 2  # of the season's contests, the newest


def package_of(contest):
    """The contest as its package has it, read without the proof that `test_package.py` is about."""
    files = package_files(contest, Tally.objects.get(contest=contest))
    with patch("reports.rules.package.contest.read_draw_text", return_value=(None, "a seed", ())):  # drawn by the test
        return packages.ReadPackage(f"{contest.pk:064}", [], read_contest(files))


def bring(team, read, number="1"):
    return packages.keep_package(team=team, read=read, number=number, against_print=False)


@pytest.fixture
def away():
    """A season of four whose two newest contests are taken out and come back to team 1 as packages.

    Nobody is known by name at the judges' tables, here as there. Returns the team, its client, the season's key, what
    the whole season's fit said, and the packages.
    """
    season = make_season(4)
    Sitting.objects.update(judge=None)
    group = group_key(season.contests.first())
    fit_season(group)
    whole = {fit.response: fit.result for fit in SeverityFit.objects.filter(category="")}
    SeverityFit.objects.all().delete()
    gone = list(season.contests.order_by("-date")[:AWAY])
    read = [package_of(contest) for contest in reversed(gone)]
    for contest in gone:
        Contest.objects.filter(pk=contest.pk).update(uid=uuid.uuid4(), season=None, date=date(2020, 1, 4))
    team, client = make_cook(season.contests.first().entries.get(number=1).team)
    fit_season(group)
    return team, client, group, whole, read


def test_packages_count_as_if_their_contests_had_been_run_here(away):
    team, _, group, whole, read = away
    for each in read:
        bring(team, each)
    fit_season(own_key(team, group))
    found = {fit.response: fit.result for fit in SeverityFit.objects.filter(group=own_key(team, group), category="")}
    assert set(found) == set(whole) == {"weighted", "appearance", "taste", "tenderness"}
    for response, expected in whole.items():
        result = found[response]
        assert (result["contests"], result["brought"], result["cards"]) == (4, AWAY, expected["cards"])
        assert result["variances"] == pytest.approx(expected["variances"], rel=1e-4, abs=1e-9)
        for key, table in expected["tables"].items():
            assert result["tables"][key] == pytest.approx(table, rel=1e-4, abs=1e-7), key
        own = {key: box for key, box in expected["boxes"].items() if box["team"] == str(team.uid)}
        assert len(own) == 8
        assert set(result["boxes"]) == set(own)
        assert all(result["boxes"][key]["worth"] == pytest.approx(box["worth"], abs=1e-6) for key, box in own.items())
        for category, teams in expected["slopes"].items():
            mine, its = teams[str(team.uid)], result["slopes"][category][str(team.uid)]
            assert len(its["days"]) == len(mine["days"]) == 4
            assert its["slope"] == pytest.approx(mine["slope"], abs=1e-6)
            assert its["chance"] == pytest.approx(mine["chance"], abs=1e-4)
            assert its["slope"] == pytest.approx(mine["slope"], abs=1e-5)


def test_the_pages_show_hardness_and_adjusted_totals_of_boxes_from_elsewhere(away):
    team, client, group, whole, read = away
    for each in read:
        bring(team, each)
    before = client.get(page("season_of", team, group)).text
    assert "Your results packages are not in these figures yet." in before
    fit_season(own_key(team, group))
    season = season_of(team, group)
    boxes = [box for box in season.boxes if box.kind == "elsewhere"]
    assert len(boxes) == 2 * AWAY
    for box in boxes:
        uid = next(str(each.contest.uid) for each in read if each.contest.date == box.date)
        table = whole["weighted"]["tables"][f"{uid}|{box.key}|{box.table}"]
        # Taste double: five counted cards of 4.5 × 8 points of spread each.
        assert box.adjusted.hardness == pytest.approx(180 * table["hardness"], abs=1e-3)
        assert box.adjusted.total == pytest.approx(float(box.total) + box.adjusted.hardness)
        assert box.dropped, "one of six cards goes"
    shown = client.get(page("season_of", team, group)).text
    assert f"{boxes[0].adjusted.total:.1f} ±\u00a0{boxes[0].adjusted.total_half:.1f}" in shown
    assert "4 contests, 2 of them from your results packages" in shown
    assert "cannot be told from how good the box was" not in shown
    assert "Work the season out" not in shown
    flight = client.get(boxes[0].url).text
    assert "the fit of your season" in flight
    assert flight.count('class="dot"') == 6 * 3  # six seats, three other boxes of the table
    tables = client.get(page("season_tables", team, group)).text
    assert tables.count(", elsewhere</span>") == AWAY
    assert tables.count("Seat by seat") == 4
    trends = client.get(page("season_trends", team, group)).text
    assert all(contest.name in trends for contest in season.imported)


def test_a_result_that_came_alone_still_says_that_hardness_cannot_be_told(away):
    team, client, group, _, read = away
    bring(team, read[0])
    row = PastResult.objects.create(
        team=team, contest_name="Example Away Day", date="2026-03-01", key="ribs", category="Ribs", place=3, field=9
    )
    fit_season(own_key(team, group))
    assert "cannot be told from how good the box was" in client.get(page("season_of", team, group)).text
    assert client.get(page("past_flight", team, row.pk)).status_code == 404


def test_one_teams_packages_move_no_other_teams_figures(away):
    team, _, group, _, read = away
    season = json.dumps([fit.result for fit in SeverityFit.objects.filter(group=group).order_by("key")])
    for each in read:
        bring(team, each)
    fit_season(own_key(team, group))
    assert season == json.dumps([fit.result for fit in SeverityFit.objects.filter(group=group).order_by("key")])
    other, client = make_cook(Contest.objects.filter(season__isnull=False).first().entries.get(number=2).team)
    assert {fit.group for fit in season_of(other, group).fits.values()} == {group}
    number = PastResult.objects.filter(team=team).first().pk
    for owner in (team, other):
        assert client.get(page("past_flight", owner, number)).status_code == 404
    for fit in SeverityFit.objects.filter(group=own_key(team, group), category=""):
        assert (fit.figures.judges, fit.figures.places) == ({}, {})
        assert all(set(teams) <= {str(team.uid)} for teams in fit.result["slopes"].values())
        assert {box["team"] for box in fit.result["boxes"].values()} == {str(team.uid)}


def test_a_team_of_another_name_counts_as_itself_and_others_stay_apart(away):
    """Elsewhere our team is known by another uid; after its member said so, its days there are the team's days."""
    team, _, group, _, read = away
    stranger = Team.objects.create(name="Team Elsewhere")
    facts = []
    for each in read:
        teams = tuple(
            replace(known, uid=uuid.uuid5(stranger.uid, known.number), name=f"Team {known.number}")
            for known in each.contest.teams
        )
        facts.append(replace(each, contest=replace(each.contest, teams=teams)))
    for each in facts:
        bring(team, each)
    assert TeamAlias.objects.filter(team=team).count() == 1, "asked once"
    fit_season(own_key(team, group))
    fit = SeverityFit.objects.get(group=own_key(team, group), response="weighted", category="")
    assert len(fit.result["slopes"][""][str(team.uid)]["days"]) == 4
    rows = [row for each in ImportedContest.objects.all() for row in imported_rows(each)]
    assert len({row.team for row in rows}) == 8
    assert len({row.team for row in rows} & {str(uid) for uid in Team.objects.values_list("uid", flat=True)}) == 1


def test_packages_alone_make_a_season_too(away):
    """A cook whose contests were all run elsewhere; contests here that the team took no part in stay out."""
    read = away[4]
    team, client = make_cook(Team.objects.create(name="Team of Ours"))
    for each in read:
        bring(team, each, number="3")
    key = own_key(team, "year-2026")
    fit_season(key)
    fit = SeverityFit.objects.get(group=key, response="weighted", category="")
    assert (fit.result["contests"], fit.result["brought"], fit.result["connected"]) == (2, 2, True)
    assert all(box.adjusted is not None for box in season_of(team, "year-2026").boxes)
    assert client.get(page("season", team)).status_code == 200


def test_the_cooks_button_asks_for_the_teams_own_season(away):
    team, client, group, _, read = away
    bring(team, read[0])
    assert not work.is_up_to_date(own_key(team, group))
    with patch("reports.season.work.work_out") as task:
        client.post(page("season_work", team, group))
    run = SeasonWork.objects.get(group=own_key(team, group))
    task.enqueue.assert_called_once_with(run.pk)
    assert not SeverityFit.objects.filter(group=own_key(team, group)).exists(), "never in a web request"
    work.run(run.pk)
    run.refresh_from_db()
    assert (run.state, run.progress, run.of) == ("done", 7, 7)
    assert work.is_up_to_date(own_key(team, group))
    bring(team, read[1])
    assert not work.is_up_to_date(own_key(team, group))
    assert "A result is newer than these figures" in client.get(page("season_of", team, group)).text


def test_publishing_works_the_teams_own_season_out_anew(away):
    team, _, group, _, read = away
    bring(team, read[0])
    fit_season(own_key(team, group))
    SeasonWork.objects.all().delete()
    with patch("reports.season.work.work_out"):
        work.ask_for(Contest.objects.filter(season__isnull=False).first())
    assert sorted(SeasonWork.objects.values_list("group", flat=True)) == sorted([group, own_key(team, group)])


def test_what_was_worked_out_with_a_package_goes_with_it(away):
    team, client, group, _, read = away
    kept = bring(team, read[0])
    fit_season(own_key(team, group))
    client.post(page("past_package_delete", team, kept.pk))
    assert not SeverityFit.objects.filter(group=own_key(team, group)).exists()
    assert {fit.group for fit in season_of(team, group).fits.values()} == {group}
