"""Fits of a season: what goes in, what is kept, and the run beside the site that makes them."""

from datetime import timedelta
from unittest.mock import patch

import pytest
from django.db import connection
from django.utils import timezone

from contest.models import Box, Contest
from contest.rules.stored import StoredError
from judging.models import Ruling
from reports.jobs import SEASON_STALE
from reports.models import ContestAgreement, JobState, SeasonWork, SeverityFit
from reports.rules.fitted import ENGINE
from reports.season import work
from reports.season.boxes import fits_of
from reports.season.cards import points_of, season_cards, shares
from reports.season.fits import fit_season
from reports.season.seasons import contests_of, group_key
from reports.season.study import agreement_of_contest
from tests.factories import make_contest, make_drawn, make_rule_set, take_in
from tests.reports.seasons import fitted, make_season, mark, put_out

pytestmark = pytest.mark.django_db


def rules(key):
    from contest.rules.ruleset import shipped

    return shipped()[key]


def test_shares_and_points_of_a_card():
    """Taste double: weights 1, 2, 1.5 on 1–9; five of six cards counted: 4.5 × 8 × 5 = 180 points of spread."""
    from decimal import Decimal

    found = shares([Decimal(9), Decimal(5), Decimal(1)], rules("taste-double"))
    assert found == {"appearance": 1.0, "taste": 0.5, "tenderness": 0.0, "weighted": pytest.approx(16 / 36)}
    points = points_of(rules("taste-double"), "weighted")
    assert (points.lowest, points.span, points.cards, points.total) == (4.5, 36.0, 5, 180.0)
    assert points.card(found["weighted"]) == pytest.approx(9 + 10 + 1.5)
    with pytest.raises(KeyError):
        points_of(rules("taste-double"), "crunch")


def test_a_penalty_is_no_judges_opinion():
    """Uneven weights: marks 1 to 20, a penalty of 0."""
    from decimal import Decimal

    found = shares([Decimal(0), Decimal(20), Decimal(1)], rules("uneven-weights"))
    assert found == {"taste": 1.0, "tenderness": 0.0}


def test_every_response_and_category_is_fitted_once_and_kept():
    season, group = fitted(2)
    assert sorted(SeverityFit.objects.values_list("response", "category")) == [
        ("appearance", ""),
        ("taste", ""),
        ("tenderness", ""),
        ("weighted", ""),
        ("weighted", "chicken"),
        ("weighted", "ribs"),
    ]
    fit = SeverityFit.objects.get(response="weighted", category="")
    assert fit.contests == sorted(str(uid) for uid in season.contests.values_list("uid", flat=True))
    assert fit.result["cards"] == 2 * 2 * 8 * 6
    assert len(fit.result["boxes"]) == 32
    assert ContestAgreement.objects.count() == 2
    keys = set(SeverityFit.objects.values_list("key", flat=True))
    fit_season(group)  # nothing is new
    assert set(SeverityFit.objects.values_list("key", flat=True)) == keys


def test_fits_of_another_engine_are_not_read_and_made_again():
    season, group = fitted(2)
    contest = season.contests.first()
    assert work.is_up_to_date(group)
    for model in (SeverityFit, ContestAgreement):
        model.objects.update(engine="severity 1", result={"shape": "of another engine"})
    assert fits_of(group) == {}
    assert agreement_of_contest(contest) is None
    assert not work.is_up_to_date(group)
    with pytest.raises(StoredError, match="worked out by “severity 1”"):
        SeverityFit.objects.first().figures  # noqa: B018
    fit_season(group)
    assert set(SeverityFit.objects.values_list("engine", flat=True)) == {ENGINE}
    assert set(ContestAgreement.objects.values_list("engine", flat=True)) == {ENGINE}
    assert SeverityFit.objects.count() == 6
    assert work.is_up_to_date(group)


def test_the_harder_table_is_found_harder():
    """Table 2 takes one mark of nine off: about an eighth of the scale, half of that against the field."""
    fitted(3)
    fit = SeverityFit.objects.get(response="weighted", category="")
    for key, table in fit.result["tables"].items():
        sign = 1 if key.endswith("|2") else -1
        assert sign * table["hardness"] == pytest.approx(1 / 16, abs=1.96 * table["error"])
        assert sign * table["hardness"] > 0


def test_only_published_contests_and_no_practice_go_in():
    season = make_season(2)
    group = group_key(season.contests.first())
    assert len(contests_of(group)) == 2
    season.contests.filter(pk=season.contests.first().pk).update(kind=Contest.Kind.PRACTICE)
    assert len(contests_of(group)) == 1
    assert contests_of("season-x") == contests_of("year-1") == contests_of("nothing") == []


def test_a_sealed_contest_is_not_read():
    make_season(2, published=False)
    contest = Contest.objects.first()
    assert contests_of(group_key(contest)) == []
    assert fit_season(group_key(contest)) == []


def test_a_penalised_box_is_left_out_and_its_total_stands():
    season = make_season(2, published=False)
    for contest in season.contests.all():
        Contest.objects.filter(pk=contest.pk).update(rule_set=make_rule_set("uneven-weights"))
        contest.categories.update(frozen_rules=make_rule_set("uneven-weights").document)
    box = Box.objects.filter(contest=season.contests.first(), category__key="ribs").first()
    contest = box.contest
    Ruling.objects.create(
        contest=contest, kind="penalty", scope="criterion", criterion="appearance", box=box, reason="garnish", by="hj"
    )
    for each in season.contests.all():
        put_out(each)
    cards = season_cards(contests_of(group_key(contest)))
    own = cards.cards_of("contest", str(contest.uid)).query("box == @box.number")
    assert [sorted(row.dropna().index) for _, row in own.iterrows()] == [["taste", "tenderness"]] * 6
    fit_season(group_key(contest))
    fit = SeverityFit.objects.get(response="weighted", category="")
    assert fit.result["left_out"] == 6
    assert f"{contest.uid}|ribs|{box.number}" not in fit.result["boxes"]
    taste = SeverityFit.objects.get(response="taste")
    assert f"{contest.uid}|ribs|{box.number}" in taste.result["boxes"]


def test_a_further_result_or_another_judge_makes_the_fits_out_of_date():
    season, group = fitted(2)
    assert work.is_up_to_date(group)
    sitting = season.contests.first().categories.first().sittings.first()
    judge, sitting.judge = sitting.judge, None
    sitting.save()
    assert not work.is_up_to_date(group)
    sitting.judge = judge
    sitting.save()
    assert work.is_up_to_date(group)
    third = make_drawn(make_contest(teams=4, tables=2, season=season))
    take_in(third)
    mark(third, 3)
    assert work.is_up_to_date(group)  # nothing is published yet
    put_out(third)
    assert not work.is_up_to_date(group)


def test_a_category_that_nothing_joins_is_told_as_a_problem():
    """One contest alone, and each team at the same table all day: chicken alone cannot compare the tables."""
    fitted(1)
    assert SeverityFit.objects.get(category="chicken").figures.problem == "not joined"


def test_one_contest_alone_is_no_season():
    fitted(1)
    fit = SeverityFit.objects.get(response="weighted", category="")
    assert fit.result["contests"] == 1
    assert fit.result["places"] == {}


# The run beside the site


def test_asking_twice_joins_the_run_that_waits():
    with patch("reports.season.work.work_out") as task:
        one, two = work.ask("season-1"), work.ask("season-1")
    assert one.pk == two.pk
    assert task.enqueue.call_count == 1
    SeasonWork.objects.update(state=JobState.RUNNING)
    with patch("reports.season.work.work_out"):
        assert work.ask("season-1").pk != one.pk  # what runs may have begun before the newest result


def test_a_run_that_stands_still_is_failed():
    run = SeasonWork.objects.create(group="season-1", state=JobState.RUNNING)
    assert work.live_work("season-1") == run
    SeasonWork.objects.update(heartbeat=timezone.now() - SEASON_STALE - timedelta(seconds=1))
    assert work.live_work("season-1") is None
    assert work.last_work("season-1").state == JobState.FAILED
    assert "worker ended" in work.last_work("season-1").message


def test_publishing_asks_for_the_season(django_capture_on_commit_callbacks):
    with patch("reports.season.work.work_out") as task, django_capture_on_commit_callbacks(execute=True):
        season = make_season(2)
    assert SeasonWork.objects.get().group == f"season-{season.pk}"
    assert task.enqueue.call_count == 1


def test_publishing_a_practice_asks_for_nothing(django_capture_on_commit_callbacks):
    contest = make_season(1, published=False).contests.first()
    Contest.objects.filter(pk=contest.pk).update(kind=Contest.Kind.PRACTICE)
    with patch("reports.season.work.work_out"), django_capture_on_commit_callbacks(execute=True):
        put_out(contest)
    assert not SeasonWork.objects.exists()


def test_a_run_reports_its_progress():
    season = make_season(2)
    run = SeasonWork.objects.create(group=f"season-{season.pk}")
    work.run(run.pk)
    run.refresh_from_db()
    assert (run.state, run.progress, run.of) == (JobState.DONE, 7, 7)


@pytest.mark.skipif(connection.vendor != "sqlite", reason="the child finds the test's database by its file")
@pytest.mark.django_db(transaction=True)
def test_the_task_works_in_a_child_and_says_when_it_breaks_off(monkeypatch):
    monkeypatch.setenv("DATABASE_URL", f"sqlite:///{connection.settings_dict['NAME']}")
    season = make_season(2)
    SeasonWork.objects.all().delete()
    run = SeasonWork.objects.create(group=f"season-{season.pk}")
    assert work.work_out.call(run.pk) == "done"
    run.refresh_from_db()
    assert run.state == JobState.DONE
    assert SeverityFit.objects.count() == 6
    assert work.work_out.call(run.pk) == "done already"
    monkeypatch.setenv("DATABASE_URL", "sqlite:////nowhere/at/all.sqlite3")
    broken = SeasonWork.objects.create(group=f"season-{season.pk}")
    assert work.work_out.call(broken.pk) == "failed"
    broken.refresh_from_db()
    assert broken.state == JobState.FAILED
    assert "unable to open database file" in broken.message
