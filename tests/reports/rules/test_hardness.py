"""A season's hardness, worth and places against invented seasons whose truth is known.

No published data have this shape; the truth of a simulation is the check from outside. The model's own numbers are
checked against published fits in `test_severity_published`.
"""

import random
from collections import defaultdict
from dataclasses import replace
from statistics import fmean

import pytest

from reports.rules.severity.hardness import JUDGE, TABLE, WEIGHTED, CardRow, Hardness, frame_of, scored
from reports.rules.severity.model import SeverityError
from reports.rules.severity.places import Announced, Field, Rejudged, Rules
from reports.rules.trends import Result, trends
from reports.rules.trendwords import sentence

SPREAD = {"team": 0.06, "day": 0.04, "box": 0.05, "judge": 0.05, "table": 0.05, "card": 0.07}
PLAIN = Rules(0.0, 1.0, per_entry=6, lows=1, highs=0, drop_when_short=False, full=5, scaled=True, mean=False)


class Season:
    """`contests` of `teams` at `tables` of six judges out of one pool, two categories, every table as many boxes."""

    def __init__(self, seed, *, contests=3, teams=12, tables=3, spread=SPREAD):
        self.rng, self.spread = random.Random(seed), spread
        self.worth, self.took, self.rows = {}, {}, []
        level = {team: self.draw("team") for team in range(teams)}
        judge = {number: self.draw("judge") for number in range(tables * 6 + 6)}
        for contest in map(str, range(contests)):
            sat = self.rng.sample(sorted(judge), tables * 6)
            days = {team: self.draw("day") for team in level}
            table_took = {table: self.draw("table") for table in range(tables)}
            for category in ("chicken", "ribs"):
                teams_there = self.rng.sample(sorted(level), teams)
                for place, team in enumerate(teams_there):
                    table, box = place % tables, f"{category}{team}"
                    worth = level[team] + days[team] + self.draw("box")
                    self.worth[contest, category, box] = worth
                    panel = sat[table * 6 : table * 6 + 6]
                    self.took[contest, category, str(table)] = -(table_took[table] + fmean(judge[j] for j in panel))
                    for seat, number in zip("ABCDEF", panel, strict=True):
                        share = 0.6 + worth + table_took[table] + judge[number] + self.draw("card")
                        self.rows.append(
                            CardRow(
                                contest, category, box, str(table), seat, str(team), f"j{number}", {WEIGHTED: share}
                            )
                        )

    def draw(self, what):
        return self.rng.gauss(0, self.spread[what])

    def field(self, contest, category):
        """The category as announced by PLAIN rules."""
        cards = defaultdict(list)
        for row in self.rows:
            if (row.contest, row.category) == (contest, category):
                cards[row.box].append(row)
        totals = {box: sum(sorted(row.shares[WEIGHTED] for row in rows)[1:]) for box, rows in cards.items()}
        place = {box: 1 + sum(other > total for other in totals.values()) for box, total in totals.items()}
        return Field(
            category,
            PLAIN,
            [Announced(box, rows[0].team, rows[0].table, place[box], totals[box], rows) for box, rows in cards.items()],
        )

    def judged_again(self, contest, fields):
        """Category → box → its place with new judges and tables of the same kind."""
        table, judge = defaultdict(lambda: self.draw("table")), defaultdict(lambda: self.draw("judge"))
        found = {}
        for field in fields:
            totals = {}
            for box in field.boxes:
                worth = self.worth[contest, field.category, box.box] + table[box.table]
                cards = [worth + judge[row.table, row.seat] + self.draw("card") for row in box.cards]
                totals[box.box] = sum(sorted(cards)[1:])
            found[field.category] = {
                box: 1 + sum(other > total for other in totals.values()) for box, total in totals.items()
            }
        return found


def test_intervals_of_hardness_and_worth_hold_the_truth():
    """540 flights and 2160 boxes of thirty seasons; 95 % intervals cover 91 to 98 %."""
    inside, flights, held, boxes = 0, 0, 0, 0
    for seed in range(30):
        season = Season(seed)
        found = Hardness(frame_of(season.rows))
        tables = found.tables()
        for (contest, category, table), each in tables.items():
            field = fmean(season.took[key] for key in tables if key[:2] == (contest, category))
            inside += abs(each.hardness - (season.took[contest, category, table] - field)) < 1.96 * each.error
            flights += 1
        for key, each in found.boxes().items():
            held += abs(each.worth - season.worth[key]) < 1.96 * each.error
            boxes += 1
    assert (flights, boxes) == (540, 2160)
    assert 0.91 < inside / flights < 0.98
    assert 0.91 < held / boxes < 0.98


def test_an_adjusted_mean_is_nearer_to_the_truth_than_the_raw_one():
    raw, adjusted = 0.0, 0.0
    for seed in range(10):
        season = Season(seed)
        found = Hardness(frame_of(season.rows))
        tables = found.tables()
        own = {(row.contest, row.category, row.box): row for row in season.rows}
        for key, each in found.boxes().items():
            flight = tables[own[key].contest, own[key].category, own[key].table]
            raw += (each.mean - flight.field - season.worth[key]) ** 2
            adjusted += (each.mean + flight.hardness - flight.field - season.worth[key]) ** 2
    assert adjusted < 0.6 * raw


def claims(days):
    """Of cooks with a mark for each contest: how many are told that they rose or fell."""
    found = trends({team: [Result(when, *day) for when, day in enumerate(each)] for team, each in days.items()})
    return {team for team, trend in found.items() if "cannot tell" not in sentence(trend, "boxes")}


@pytest.mark.parametrize("contests", [3, 5])
def test_a_hard_table_never_reads_as_decline_nor_a_soft_one_as_progress(contests):
    """Cooks who stay as they are; in the newest contest table 0 takes a quarter of the scale off, table 1 adds it."""
    by_raw = by_adjusted = 0
    for seed in range(12):
        season = Season(seed, contests=contests, spread={**SPREAD, "day": 0.02, "box": 0.03, "table": 0.02})
        last = str(contests - 1)
        moved = {"0": -0.25, "1": 0.25}
        rows = [
            replace(row, shares={WEIGHTED: row.shares[WEIGHTED] + moved.get(row.table, 0)})
            if row.contest == last
            else row
            for row in season.rows
        ]
        struck = {
            team
            for team in {row.team for row in rows}
            for tables in [{row.table for row in rows if row.team == team and row.contest == last}]
            if tables in ({"0"}, {"1"})
        }
        days = Hardness(frame_of(rows)).days()
        raw = {
            (team, contest): fmean(row.shares[WEIGHTED] for row in rows if (row.team, row.contest) == (team, contest))
            for team, contest in days
        }
        order = [str(contest) for contest in range(contests)]
        teams = sorted({team for team, _ in days})
        by_raw += len(struck & claims({team: [(raw[team, each], 0.03) for each in order] for team in teams}))
        by_adjusted += len(
            struck
            & claims({team: [(days[team, each].worth, days[team, each].error) for each in order] for team in teams})
        )
    assert by_raw >= 10, "without the model it reads as a change"
    assert by_adjusted == 0


def test_tables_that_do_not_differ_are_said_not_to():
    """With no table and no judge any different, at least a third of variances come out at exactly nought."""
    alike = {**SPREAD, "judge": 0.0, "table": 0.0}
    found = [Hardness(frame_of(Season(seed, spread=alike).rows)) for seed in range(12)]
    assert sum(each.tables_alike for each in found) >= 1
    assert sum(each.variance(TABLE) == 0 for each in found) >= 4
    assert sum(each.variance(JUDGE) == 0 for each in found) >= 4
    flat = next(each for each in found if each.tables_alike)
    assert {table.hardness for table in flat.tables().values()} <= {0.0, -0.0}


def test_one_table_has_no_hardness_and_penalised_cards_are_left_out():
    season = Season(1, tables=1)
    rows = [*season.rows, CardRow("0", "ribs", "ribs0", "0", "G", "0", "jx", {"taste": 0.5})]
    found = Hardness(frame_of(rows))
    assert found.left_out == 1
    assert {table.hardness for table in found.tables().values()} == {None}


def test_a_criterion_may_be_called_like_a_fact_of_a_card():
    rows = [replace(row, shares={**row.shares, "team": 0.25, "table": row.shares[WEIGHTED]}) for row in Season(1).rows]
    cards = frame_of(rows)
    assert set(scored(cards, "team")["score"]) == {0.25}
    assert Hardness(cards, "table").tables() == Hardness(cards).tables()


def test_no_cards_are_refused_with_a_reason():
    with pytest.raises(SeverityError, match="there are no cards"):
        Hardness(frame_of([]))


def test_a_clear_winner_holds_and_equal_boxes_do_not():
    season = Season(4)
    for row in list(season.rows):
        if row.box == "ribs3":
            season.rows.remove(row)
            season.rows.append(
                CardRow(row.contest, row.category, row.box, row.table, row.seat, row.team, row.judge,
                        {WEIGHTED: row.shares[WEIGHTED] + 1.0})
            )  # fmt: skip
    again = Rejudged(Hardness(frame_of(season.rows)), [season.field("0", "ribs")], repetitions=500, seed=1).holds(
        "ribs"
    )
    assert again["ribs3"].chance > 0.95
    assert (again["ribs3"].low, again["ribs3"].high) == (1, 1)
    assert fmean(each.chance for box, each in again.items() if box != "ribs3") < 0.5


def test_a_total_made_by_a_ruling_stands_in_every_repetition():
    season = Season(5)
    field = season.field("0", "ribs")
    last = max(field.boxes, key=lambda box: box.place)
    boxes = [*(box for box in field.boxes if box is not last), Announced(last.box, last.team, "0", 12, 0.0, ())]
    found = Rejudged(
        Hardness(frame_of(season.rows)), [Field("ribs", PLAIN, boxes)], repetitions=200, seed=1
    ).holds("ribs")  # fmt: skip
    assert found[last.box].chance == 1.0


def test_overall_places_come_from_the_same_repetitions():
    season = Season(6)
    fields = [season.field("0", category) for category in ("chicken", "ribs")]
    sums = defaultdict(float)
    for field in fields:
        for box in field.boxes:
            sums[box.team] += box.total
    places = {team: 1 + sum(other > total for other in sums.values()) for team, total in sums.items()}
    again = Rejudged(Hardness(frame_of(season.rows)), fields, repetitions=400, seed=2)
    found = again.overall(["chicken", "ribs"], places)
    assert sorted(each.place for each in found.values()) == list(range(1, 13))
    assert 0.5 < sum(each.chance for each in found.values()) < 12
    assert all(1 <= each.low <= each.high <= 12 for each in found.values())


@pytest.mark.slow
def test_the_chance_that_a_place_holds_means_what_it_says():
    """Calibration. Seeds 0–149, contest 0 of each season, two categories of 12 boxes: 3600 cases, each judged again 20
    times; predicted chances in the bins below, each of 400 cases or more; predicted and observed within 0.05."""
    bins = {(0.0, 0.1): [], (0.1, 0.2): [], (0.2, 0.35): [], (0.35, 1.01): []}
    for seed in range(150):
        season = Season(seed)
        fields = [season.field("0", category) for category in ("chicken", "ribs")]
        again = Rejudged(Hardness(frame_of(season.rows)), fields, repetitions=500, seed=seed)
        said = {field.category: again.holds(field.category) for field in fields}
        came: dict[tuple[str, str], int] = defaultdict(int)
        for _ in range(20):
            judged = season.judged_again("0", fields)
            for field in fields:
                for box in field.boxes:
                    came[field.category, box.box] += judged[field.category][box.box] == box.place
        for field in fields:
            for box in field.boxes:
                chance = said[field.category][box.box].chance
                cases = next(cases for (low, high), cases in bins.items() if low <= chance < high)
                cases.append((chance, came[field.category, box.box] / 20))
    for ends, cases in bins.items():
        assert len(cases) >= 400, ends
        predicted, observed = fmean(each for each, _ in cases), fmean(each for _, each in cases)
        assert abs(predicted - observed) < 0.05, (ends, predicted, observed, len(cases))
