"""The demo's season beside the truth of its simulation: hard tables are found, and a cook who truly improves is told
from one who does not."""

import json
import sqlite3
from collections import defaultdict
from pathlib import Path
from statistics import fmean

import pytest
from django.db import connection

from reports.demo.build import GAIN, SEED
from reports.demo.scenario import IMPROVING, SEASON_DAYS, STEADY
from reports.demo.simulate import Simulation
from reports.rules.fitted import FitFigures
from reports.rules.trendwords import sentence
from tests.site.served import rows

pytestmark = pytest.mark.skipif(connection.vendor != "sqlite", reason="the demo has its own SQLite file on any server")
SPAN = {"taste-double": 8.0, "uneven-weights": 8.55}  # marks between the ends of the scale


@pytest.fixture(scope="module")
def simulation() -> Simulation:
    return Simulation(SEED, {IMPROVING: GAIN, STEADY: 0.0}, contests=len(SEASON_DAYS) + 1)


def fit_of(folder: Path, *, own: bool = False) -> FitFigures:
    """The season's fit, or that of the one team which brought a package from elsewhere."""
    ((engine, document),) = rows(
        folder / "demo",
        "select engine, result from reports_severityfit where response = 'weighted' and category = '' "
        f"and \"group\" {'' if own else 'not '}like '%+%'",
    )
    return FitFigures.from_json(engine, json.loads(document))


def names_of(folder: Path, table: str) -> dict[str, str]:
    """Uid with hyphens → name."""
    found = rows(folder / "demo", f"select uid, name from {table}")
    return {f"{uid[:8]}-{uid[8:12]}-{uid[12:16]}-{uid[16:20]}-{uid[20:]}": name for uid, name in found}


def test_the_build_ends_with_all_fits(demo_folder: Path) -> None:
    kept = rows(demo_folder / "demo", "select \"group\" like '%+%', response, category from reports_severityfit")
    assert sorted(kept) == [
        (own, *each)
        for own in (0, 1)
        for each in [
            ("appearance", ""),
            ("taste", ""),
            ("tenderness", ""),
            *(("weighted", category) for category in ("", "brisket", "chicken", "pork", "ribs")),
        ]
    ]
    assert rows(demo_folder / "demo", "select distinct state from reports_seasonwork") == [("done",)]
    assert rows(demo_folder / "demo", "select count(*) from reports_contestagreement") == [(5,)]


def test_hard_and_soft_tables_are_recovered(demo_folder: Path, simulation: Simulation) -> None:
    """Of the sixteen tables of five contests (their flights hang together), fourteen or more within the interval."""
    fit, contests = fit_of(demo_folder), names_of(demo_folder, "contest_contest")
    number = {day.name: place for place, day in enumerate(SEASON_DAYS)}
    sat = rows(
        demo_folder / "demo",
        "select contest.name, category.key, tab.number, judge.name from contest_sitting sitting "
        "join contest_seat seat on seat.id = sitting.seat_id join contest_table tab on tab.id = seat.table_id "
        "join contest_contest contest on contest.id = tab.contest_id "
        "join contest_category category on category.id = sitting.category_id "
        "join contest_judge judge on judge.id = sitting.judge_id",
    )
    panels = defaultdict(list)
    for contest, category, table, judge in sat:
        panels[contest, category, str(table)].append(judge)
    tables = {
        (contests[contest], category, table): found
        for key, found in fit.tables.items()
        for contest, category, table in [key.split("|")]
    }
    took = {}
    for contest, category, table in tables:
        added = [simulation.harshness(judge, int(table), number[contest]) for judge in panels[contest, category, table]]
        took[contest, category, table] = -fmean(added)
    inside, pairs = defaultdict(list), []
    for key, found in tables.items():
        field = [other for other in tables if other[:2] == key[:2]]
        boxes = sum(tables[other].boxes for other in field)
        middle = sum(took[other] * tables[other].boxes for other in field) / boxes
        truth = (took[key] - middle) / SPAN[SEASON_DAYS[number[key[0]]].rules]
        inside[key[0], key[2]].append(abs(found.hardness - truth) < 1.96 * found.error)
        pairs.append((found.hardness, truth))
    assert len(inside) == 16
    assert sum(fmean(each) >= 0.5 for each in inside.values()) >= 14
    # The truth is the size of a mark: that intervals hold it is not because they hold everything.
    assert max(truth for _, truth in pairs) > 0.05
    assert all(hardness * truth > 0 for hardness, truth in pairs if abs(truth) > 0.05)


def test_the_cook_who_improves_is_told_from_the_one_who_does_not(demo_folder: Path) -> None:
    fit, teams = fit_of(demo_folder), names_of(demo_folder, "contest_team")
    slopes = {teams[uid]: slope for uid, slope in fit.slopes[""].items()}
    better, steady = slopes[IMPROVING], slopes[STEADY]
    assert len(better.days) == len(steady.days) == 5
    assert better.chance > 0.9
    assert sentence(better.trend, "boxes").startswith("Your boxes rose about ")
    assert 0.25 < steady.chance < 0.75
    assert sentence(steady.trend, "boxes") == "Whether your boxes rose or fell this season, five contests cannot tell."


def test_a_contest_from_elsewhere_joins_the_season_of_the_team_that_brought_it(demo_folder: Path) -> None:
    fit, teams = fit_of(demo_folder, own=True), names_of(demo_folder, "contest_team")
    assert (fit.contests, fit.brought, fit.connected) == (6, 1, True)
    ((uid, slope),) = fit.slopes[""].items()
    assert (teams[uid], len(slope.days)) == (IMPROVING, 6)
    assert sentence(slope.trend, "boxes").startswith("Your boxes rose about ")
    here = rows(demo_folder / "demo", "select count(*) from contest_contest where slug = 'example-away-cook-off'")
    assert here == [(0,)], "it was never run here"
    assert slope.chance > 0.9


def test_the_slopes_of_all_cooks_follow_the_truth(demo_folder: Path, simulation: Simulation) -> None:
    """In points a contest: mean ± 1.96 standard deviations hold four true slopes in five or more; together they go
    with the truth (the demo is one season, not a study: its coverage is tested by simulation elsewhere)."""
    fit, teams = fit_of(demo_folder), names_of(demo_folder, "contest_team")
    known = [(teams[uid], slope) for uid, slope in fit.slopes[""].items() if slope.slope is not None]
    assert len(known) >= 15
    inside, product = [], 0.0
    for team, slope in known:
        truth = simulation.gain(team) / len(SEASON_DAYS) / 8
        inside.append(abs(slope.slope - truth) < 1.96 * slope.error)
        product += slope.slope * truth
    assert fmean(inside) >= 0.8
    assert product > 0


def test_nothing_of_the_contest_that_is_being_judged_is_in_the_fits(demo_folder: Path) -> None:
    uid = rows(demo_folder / "demo", "select uid from contest_contest where slug = 'example-cook-off-six'")[0][0]
    dashed = f"{uid[:8]}-{uid[8:12]}-{uid[12:16]}-{uid[16:20]}-{uid[20:]}"
    file = sqlite3.connect(demo_folder / "demo" / "fairbox.sqlite3")
    for (text,) in file.execute("select result || contests from reports_severityfit"):
        assert dashed not in text
        assert uid not in text
