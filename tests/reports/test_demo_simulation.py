"""The demo's invented marks: repeatable, on the scale, and with the structure they claim to have."""

import statistics
from decimal import Decimal

import pytest

from reports.demo.scenario import (
    ALWAYS_THERE,
    IMPROVING,
    JUDGES,
    PLAIN_DAY,
    SEASON_DAYS,
    SHEETS_TO_COME,
    STEADY,
    TEAMS,
    TODAY,
    judges_of,
    teams_of,
)
from reports.demo.simulate import SPREAD, Scale, Simulation, tie, to_scale

NINE = Scale(Decimal(1), Decimal(9), Decimal(1))
HALVES = Scale(Decimal(1), Decimal(10), Decimal("0.5"))
CRITERIA = [("appearance", NINE), ("taste", NINE), ("tenderness", NINE)]
DAYS = (*SEASON_DAYS, TODAY)


@pytest.fixture(scope="module")
def simulation() -> Simulation:
    return Simulation("a seed of the tests", {IMPROVING: 1.6, STEADY: 0.0}, contests=6)


def card(simulation: Simulation, **changed: object) -> dict[str, Decimal]:
    asked = {"team": "Team Alder", "judge": "Judge Birch", "table": 1, "contest": 0, "category": "ribs"}
    return simulation.card(**{**asked, "criteria": CRITERIA, **changed})


def test_the_same_seed_gives_the_same_marks_and_another_seed_others(simulation: Simulation) -> None:
    again = Simulation("a seed of the tests", {IMPROVING: 1.6, STEADY: 0.0}, contests=6)
    other = Simulation("another seed", {}, contests=6)
    teams = [card(simulation, team=team) for team in TEAMS]
    assert teams == [card(again, team=team) for team in TEAMS]
    assert teams != [card(other, team=team) for team in TEAMS]


def test_marks_are_steps_of_the_scale() -> None:
    wild = Simulation("wild", {"Team Alder": 100.0}, contests=2)
    for contest in (0, 1):
        for scale in (NINE, HALVES):
            marks = card(wild, contest=contest, criteria=[("taste", scale)])
            assert marks["taste"] == (scale.lowest if contest == 0 else scale.highest)


@pytest.mark.parametrize(
    ("value", "scale", "mark"),
    [(7.4, NINE, "7"), (7.6, NINE, "8"), (12.0, NINE, "9"), (-3.0, NINE, "1"), (9.0, HALVES, "10"), (8.0, HALVES, "9")],
)
def test_rounding_to_the_scale(value: float, scale: Scale, mark: str) -> None:
    assert to_scale(value, scale) == Decimal(mark)


def test_single_marks_have_heavier_tails_than_a_normal_distribution(simulation: Simulation) -> None:
    """Beyond four standard deviations a normal variate falls 0.6 times in 10,000; Student's t with four degrees of
    freedom, scaled to the same deviation, 48 times (2 P(T > 4 sqrt 2) = 0.0048, recomputed with scipy)."""
    drawn = [simulation._heavy("mark", number) / SPREAD["mark"] for number in range(10_000)]
    assert 25 <= sum(abs(value) > 4 for value in drawn) <= 75
    assert statistics.median(drawn) == pytest.approx(0, abs=0.05)


def test_the_improving_team_improves_and_the_steady_one_does_not(simulation: Simulation) -> None:
    many = [Simulation(f"seed {number}", {IMPROVING: 1.6, STEADY: 0.0}, contests=6) for number in range(200)]
    gains = {
        team: statistics.mean(each.worth(team, 5, "ribs") - each.worth(team, 0, "ribs") for each in many)
        for team in (IMPROVING, STEADY)
    }
    assert gains[IMPROVING] == pytest.approx(1.6, abs=0.2)
    assert gains[STEADY] == pytest.approx(0.0, abs=0.2)


def test_a_judge_is_as_severe_in_every_contest_and_a_table_only_on_its_day(simulation: Simulation) -> None:
    first, second = (simulation.harshness("Judge Birch", 1, contest) for contest in (0, 1))
    others = [simulation.harshness("Judge Aster", 1, contest) for contest in (0, 1)]
    assert first != second
    assert first - others[0] == pytest.approx(second - others[1])


WEIGHTS = {"appearance": Decimal(1), "taste": Decimal(2), "tenderness": Decimal("1.5")}
SCALES = dict(CRITERIA)


def cards(*rows: str) -> dict[str, dict[str, Decimal]]:
    return {
        seat: dict(zip(WEIGHTS, map(Decimal, row.split()), strict=True))
        for seat, row in zip("ABCDEF", rows, strict=False)
    }


def weighted(marks: dict[str, Decimal]) -> Decimal:
    return sum(WEIGHTS[key] * mark for key, mark in marks.items())


def test_a_tie_by_lot_has_the_very_same_cards() -> None:
    given = cards("8 7 7", "6 6 6")
    assert tie(given, by="lot", weights=WEIGHTS, scale=SCALES) == given


def test_a_tie_by_taste_trades_one_mark_of_taste_on_one_card() -> None:
    given = cards("8 7 7", "6 6 6", "5 5 5")
    made = tie(given, by="taste", weights=WEIGHTS, scale=SCALES)
    assert {seat: weighted(marks) for seat, marks in made.items()} == {
        seat: weighted(marks) for seat, marks in given.items()
    }
    assert made == cards("6 8 7", "6 6 6", "5 5 5")


def test_a_tie_by_taste_needs_a_card_with_room() -> None:
    with pytest.raises(ValueError, match="no card leaves room"):
        tie(cards("9 9 9", "9 9 1", "8 9 5"), by="taste", weights=WEIGHTS, scale=SCALES)


def test_every_day_of_the_scenario_has_its_teams_and_judges() -> None:
    for day in DAYS:
        teams, judges = teams_of(day), judges_of(day)
        assert (len(set(teams)), len(set(judges))) == (day.teams, day.tables * 6)
        assert set(teams) <= set(TEAMS)
        assert set(judges) <= set(JUDGES)
        assert set(ALWAYS_THERE) <= set(teams)
        for happening in day.happenings:
            assert happening.team in teams
            assert happening.category in PLAIN_DAY
            assert not happening.other or happening.other in teams


def test_today_waits_for_a_few_sheets_of_tables_that_exist() -> None:
    assert all(category in ("chicken", "ribs") and table <= TODAY.tables for category, table, _ in SHEETS_TO_COME)
