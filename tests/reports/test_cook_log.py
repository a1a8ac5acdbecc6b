"""A team's cook log: noted with one tap or two, private, set beside the marks once they are public."""

import re
import zlib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from judging.services.tally import close_tally, sign_off
from reports.cook import cooklog
from reports.cook.comparison import compared, cooks_of
from reports.cook.days import find_day
from reports.cook.past import keep_result
from reports.models import CookDay, CookLog, CookNote, TeamField
from reports.results.publishing import publish
from reports.rules.safety import caution
from reports.season.boxes import Adjusted, season_of
from reports.season.fits import fit_season
from tests.factories import make_card, make_contest, make_drawn, mark_everything, take_in
from tests.reports.cooks import clock, make_cook, page

__all__ = ["clock"]
pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    """Chicken at 12:00, ribs at 12:30 on 13 June 2026, UTC."""
    return make_contest(teams=6, tables=2)


@pytest.fixture
def cook(contest):
    return make_cook(contest.entries.get(number=1).team)


@pytest.fixture
def ribs(contest, cook):
    return page("cook_log_of", cook[0], contest.uid, "ribs")


def stages() -> dict[str, str]:
    return {row.stage: f"{row.at:%d %H:%M}" for row in CookLog.objects.get(key="ribs").stages.all()}


# Stages


def test_done_now_is_one_tap(cook, ribs, clock):
    _team, client = cook
    clock(8, 13)
    client.post(ribs, {"do": "stage", "stage": "season"})
    assert stages() == {"season": "13 08:13"}
    shown = client.get(ribs).content.decode()
    assert "08:13" in shown
    assert "23 min later than planned" in shown, "planned for 07:50"


def test_the_next_stage_is_the_one_that_is_due(cook, ribs, clock):
    _team, client = cook
    clock(10, 42)  # seasoning and the pit were never noted: the wrap of 10:40 is what is due
    shown = client.get(ribs).content.decode()
    assert re.search(r'name="stage" value="wrap">\s*<p>Wrap</p>', shown)
    client.post(ribs, {"do": "stage", "stage": "wrap"})
    assert re.search(r'name="stage" value="off">\s*<p>Off the pit</p>', client.get(ribs).content.decode())


def test_a_typed_time_is_the_one_near_the_plan(cook, ribs, clock):
    _team, client = cook
    clock(18, 0)
    client.post(ribs, {"do": "stage", "stage": "wrap", "at": "10:55"})
    assert stages() == {"wrap": "13 10:55"}
    client.post(ribs, {"do": "stage", "stage": "wrap", "at": "10:44"})
    assert stages() == {"wrap": "13 10:44"}, "the newer time stands"


def test_the_night_before_is_the_night_before(contest, cook, clock):
    team, client = cook
    contest.categories.filter(key="ribs").update(key="brisket", name="Brisket")
    clock(9)
    client.post(page("cook_log_of", team, contest.uid, "brisket"), {"do": "stage", "stage": "season", "at": "23:50"})
    assert [f"{row.at:%d %H:%M}" for row in CookLog.objects.get().stages.all()] == ["12 23:50"]


def test_what_is_still_to_come_is_refused(cook, ribs, clock):
    _team, client = cook
    clock(10)
    answer = client.post(ribs, {"do": "stage", "stage": "wrap", "at": "10:40"})
    assert answer.status_code == 422
    assert "10:40 is still to come" in answer.content.decode()
    assert not CookLog.objects.exists(), "a refusal leaves no empty log behind"
    answer = client.post(ribs, {"do": "stage", "stage": "wrap", "at": "noon"})
    assert "“noon” is no time: type it as hours and minutes" in answer.content.decode()


def test_spritzes_add_up_and_a_slip_is_taken_away(cook, ribs, clock):
    _team, client = cook
    for minute in (10, 12):
        clock(9, minute)
        client.post(ribs, {"do": "stage", "stage": "spritz"})
    log = CookLog.objects.get()
    assert log.stages.count() == 2
    client.post(ribs, {"do": "stage", "stage": "spritz", "remove": log.stages.last().pk})
    assert [f"{row.at:%H:%M}" for row in log.stages.all()] == ["09:10"]


def test_days_later_nothing_is_done_now(cook, ribs, clock):
    _team, client = cook
    clock(12, day=15)
    shown = client.get(ribs).content.decode()
    assert "Done now" not in shown
    client.post(ribs, {"do": "stage", "stage": "off", "at": "11:47"})
    assert stages() == {"off": "13 11:47"}


# Temperatures


def test_temperatures_in_the_teams_unit(cook, ribs, clock):
    team, client = cook
    clock(9)
    client.post(ribs, {"do": "temperature", "degrees": "275", "where": "pit", "at": ""})
    client.post(page("cook_settings", team), {"unit": "C", "fields_text": "Rub\nWood"})
    client.post(ribs, {"do": "temperature", "degrees": "74.5", "where": "meat", "at": "08:50"})
    rows = CookLog.objects.get().temperatures.all()
    assert [(str(row), f"{row.at:%H:%M}") for row in rows] == [("Meat 74.5 °C", "08:50"), ("Pit 275.0 °F", "09:00")]


@pytest.mark.parametrize(
    ("degrees", "said"),
    [
        ("27500", "no more than 4 digits before the decimal point"),
        ("900", "900 °F is no temperature of a cook"),
        ("hot", "Type degrees as a number: 275."),
    ],
)
def test_a_temperature_that_cannot_be_is_refused(cook, ribs, clock, degrees, said):
    _team, client = cook
    clock(9)
    answer = client.post(ribs, {"do": "temperature", "degrees": degrees, "where": "pit"})
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert f'value="{degrees}"' in answer.content.decode(), "what was typed stays"
    assert not CookLog.objects.exists()


def test_meat_that_is_held_too_cool_is_pointed_out(cook, ribs, clock):
    _team, client = cook
    clock(11, 41)
    client.post(ribs, {"do": "temperature", "degrees": "130", "where": "meat", "at": "11:30"})  # still on the pit
    client.post(ribs, {"do": "stage", "stage": "off", "at": "11:40"})
    assert "do not keep it there" not in client.get(ribs).content.decode()
    client.post(ribs, {"do": "temperature", "degrees": "130", "where": "meat", "at": ""})
    assert client.get(ribs).content.decode().count("do not keep it there") == 1


@pytest.mark.parametrize(
    ("kind", "fahrenheit", "said"),
    [
        ("brisket", "134.9", "135 °F (57 °C) of the Food Code"),
        ("brisket", "135", "Below 140 °F (60 °C)"),
        ("brisket", "140", "Below 145 °F (63 °C)"),
        ("brisket", "145", ""),
        ("chicken", "164", "Below 165 °F (74 °C)"),
        ("chicken", "165", ""),
    ],
)
def test_the_figures_of_the_cautions(kind, fahrenheit, said):
    """FDA Food Code 2022 §3-501.16 (holding at 135 °F, 57 °C); USDA FSIS, Safe Minimum Internal Temperature Chart
    (poultry 165 °F, 74 °C; whole cuts of pork and beef 145 °F, 63 °C); 140 °F: common practice, no source."""
    found = caution(kind, Decimal(fahrenheit), cooked=True)
    assert said in found
    assert bool(said) == bool(found)
    assert caution(kind, Decimal(fahrenheit), cooked=False) == ""


# What was used


def test_a_value_used_before_is_noted_with_one_tap(contest, cook, ribs, clock):
    team, client = cook
    clock(9)
    client.post(ribs, {"do": "field", "field": "Wood", "value": " oak  and apple "})
    chicken = page("cook_log_of", team, contest.uid, "chicken")
    assert '<button name="used" value="oak and apple">' in client.get(chicken).content.decode()
    client.post(chicken, {"do": "field", "field": "Wood", "used": "oak and apple"})
    assert list(CookNote.objects.values_list("log__key", "value").order_by("log__key")) == [
        ("chicken", "oak and apple"),
        ("ribs", "oak and apple"),
    ]
    client.post(chicken, {"do": "field", "field": "Wood", "value": ""})
    assert list(CookNote.objects.values_list("log__key", flat=True)) == ["ribs"]


def test_two_spellings_are_one_wood(contest, cook, ribs, clock):
    team, client = cook
    clock(9)
    client.post(ribs, {"do": "field", "field": "Wood", "value": "Oak"})
    client.post(page("cook_log_of", team, contest.uid, "chicken"), {"do": "field", "field": "Wood", "value": "oak"})
    assert set(CookNote.objects.values_list("value", flat=True)) == {"Oak"}


def test_the_team_names_its_own_fields(cook, ribs, clock):
    team, client = cook
    clock(9)
    client.post(ribs, {"do": "field", "field": "Wood", "value": "oak"})
    client.post(page("cook_settings", team), {"unit": "F", "fields_text": "Rub\nWho trimmed\n"})
    shown = client.get(ribs).content.decode()
    assert "Who trimmed" in shown
    assert "oak" in shown, "what was noted stays"
    assert TeamField.objects.get(name="Sauce").shown is False
    assert client.post(ribs, {"do": "field", "field": "Sauce", "value": "sweet"}).status_code == 422
    answer = client.post(page("cook_settings", team), {"unit": "F", "fields_text": "Rub\nrub"})
    assert answer.status_code == 422
    assert "Two lines have the same name." in answer.content.decode()


def test_notes(cook, ribs, clock):
    _team, client = cook
    clock(9)
    client.post(ribs, {"do": "notes", "notes": "Wind from the west.\nPit ran hot."})
    assert "Pit ran hot." in client.get(ribs).content.decode()
    answer = client.post(ribs, {"do": "notes", "notes": "x" * 4001})
    assert answer.status_code == 422
    assert "x" * 4001 in answer.content.decode()


# Private


def test_looking_keeps_nothing_and_strangers_meet_nothing(contest, cook, ribs, clock):
    team, client = cook
    clock(9)
    assert client.get(ribs).status_code == 200
    assert not CookDay.objects.exists()
    client.post(ribs, {"do": "notes", "notes": "secret rub"})
    other, other_client = make_cook(contest.entries.get(number=2).team)
    assert other_client.get(ribs).status_code == 404
    assert other_client.post(ribs, {"do": "notes", "notes": "mine now"}).status_code == 404
    own = page("cook_log_of", other, contest.uid, "ribs")
    assert "secret rub" not in other_client.get(own).content.decode()
    other_client.post(own, {"do": "field", "field": "Rub", "value": "theirs"})
    assert "theirs" not in client.get(ribs).content.decode()
    row = CookLog.objects.get(day__team=team)
    cooklog.note_stage(log=row, stage="wrap", at=datetime(2026, 6, 13, 9, tzinfo=UTC))
    other_client.post(own, {"do": "stage", "stage": "wrap", "remove": row.stages.get().pk})
    assert row.stages.exists(), "a row's number opens no other team's log"
    assert client.get(page("cook_log_of", team, contest.uid, "dessert")).status_code == 404


# Beside the marks


def put_out(contest):
    sign_off(tally=close_tally(contest=contest, by="head judge"), by="head judge")
    publish(contest=contest, by="organiser")


def test_the_result_stands_beside_the_log_only_when_it_is_public(contest, cook, ribs, clock):
    """Box of team 1: five cards of weights 1, 2, 1.5 count out of 202.5 possible points."""
    team, client = cook
    make_drawn(contest)
    take_in(contest)
    mark_everything(contest)
    clock(13)
    client.post(ribs, {"do": "stage", "stage": "off", "at": "11:40"})
    assert "of the most possible" not in client.get(ribs).content.decode()
    assert "no result yet" in client.get(page("cook_log", team)).content.decode()
    put_out(contest)
    result = cooks_of(team)[0].result
    assert result.possible == "405/2"
    box = contest.boxes.get(category__key="ribs", pairing__entry__number=1)
    base = 5 + int(box.number) % 4
    taste = min(9, base + 1)
    # Six cards: A and C have a higher taste; the lowest, one without, is dropped.
    expected = 3 * Decimal("4.5") * base + 2 * (Decimal("2.5") * base + 2 * taste)
    assert Decimal(result.total) == expected
    shown = client.get(ribs).content.decode()
    assert f"{100 * expected / Decimal('202.5'):.1f} % of the most possible" in shown
    assert "Every judge’s marks" in shown


def log_elsewhere(team, place, *, total, wood, pit, possible="180"):
    """A cook of ribs elsewhere with its result typed in."""
    day = date(2025, 5, 3) + timedelta(days=7 * place)
    name = f"Example Cook-off Far {place}"
    at = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    row = cooklog.keep_own_day(team=team, row=None, name=name, date=day, time_zone="UTC", dishes=[("ribs", "Ribs", at)])
    log = cooklog.log_of(team=team, day=find_day(team, row.uid), key="ribs")
    cooklog.note_field(log=log, name="Wood", value=wood)
    cooklog.note_temperature(log=log, where="pit", degrees=Decimal(pit), unit="F", at=at - timedelta(hours=3))
    keep_result(
        team=team, contest_name=name, date=day, category="Ribs", place=place + 1, total=total, possible=possible
    )


def test_fewer_than_six_boxes_are_not_enough(cook, clock):
    team, client = cook
    clock(9)
    for place in range(5):
        log_elsewhere(team, place, total=str(170 - place), wood="oak", pit="275")
    assert "Not enough boxes yet: 1 more logged box with points" in client.get(page("cook_log", team)).content.decode()


def test_best_and_worst_third_side_by_side(cook, clock):
    """Six boxes: the best two with oak at 280 and 290, the worst two with hickory at 240 and 250. Means 285 and 245,
    Welch's 95 % interval of 40 with 2 degrees of freedom: 40 ± 4.3027 × √50 = 9.6 to 70.4 (t table)."""
    team, client = cook
    clock(9)
    for place, (total, wood, pit) in enumerate(
        [("175", "oak", "280"), ("170", "oak", "290"), ("160", "ash", "265"), ("158", "ash", "270"),
         ("140", "hickory", "240"), ("138", "hickory", "250")]
    ):  # fmt: skip
        log_elsewhere(team, place, total=total, wood=wood, pit=pit)
    shown = client.get(page("cook_log", team)).content.decode()
    assert "Best 2" in shown
    found = compared(cooks_of(team), "F")[0]
    pit = next(each for each in found.said if each.name == "Pit, mean, °F")
    assert (pit.best, pit.worst, pit.difference) == ("285", "245", "+40 (+10 to +70)")
    assert pit.word == "more went together with better boxes"
    oak = next(each for each in found.said if each.name == "Wood: oak")
    assert (oak.best, oak.worst) == ("2 of 2", "0 of 2")
    assert "caused" not in shown
    assert "never what brought it about" in shown
    celsius = next(each for each in compared(cooks_of(team), "C")[0].said if each.name.startswith("Pit"))
    assert (celsius.name, celsius.best) == ("Pit, mean, °C", "141")


def test_boxes_of_different_rules_are_compared_by_their_share(cook, clock):
    """150 of 160 is more than 160 of 202.5; a box without the points possible is left out."""
    team, _client = cook
    clock(9)
    log_elsewhere(team, 0, total="150", possible="160", wood="oak", pit="275")
    log_elsewhere(team, 1, total="160", possible="202.5", wood="oak", pit="275")
    log_elsewhere(team, 2, total="160", possible="", wood="oak", pit="275")
    shares = {cook.log.day.name[-1]: cook.result.percent for cook in cooks_of(team)}
    assert shares == {"0": "93.8", "1": "79.0", "2": ""}
    assert compared(cooks_of(team), "F")[0].boxes == 2


def test_two_results_of_one_day_are_not_guessed_between(cook, clock):
    team, _client = cook
    clock(9)
    log_elsewhere(team, 0, total="150", wood="oak", pit="275")
    day = date(2025, 5, 3)
    keep_result(
        team=team, contest_name="Example Cook-off Near", date=day, category="Ribs", place=2, total="", possible=""
    )
    assert cooks_of(team)[0].result is None


def mark_with_scatter(contest):
    """Judges who do not quite agree: without any scatter no model of tables and judges can be fitted."""
    for box in contest.boxes.select_related("table").order_by("number"):
        for seat in box.table.seats.all():
            scatter = zlib.crc32(f"{box.number}{seat.letter}".encode())
            keys = ("appearance", "taste", "tenderness")
            make_card(box, seat, {key: 5 + (scatter >> 4 * place) % 4 for place, key in enumerate(keys)})


def test_the_adjusted_total_is_that_of_the_seasons_fit(clock):
    """Two contests of a year, fitted: the log counts each box as the season page shows it."""
    team, client = make_cook()
    clock(14)
    for _ in range(2):
        contest = make_contest(teams=6, tables=2)
        contest.entries.filter(number=1).update(team=team)
        make_drawn(contest)
        take_in(contest)
        mark_with_scatter(contest)
        put_out(contest)
        client.post(page("cook_log_of", team, contest.uid, "ribs"), {"do": "stage", "stage": "off", "at": "11:40"})
    assert [cook.result.adjusted for cook in cooks_of(team)] == [None, None], "before the fit as marked"
    fit_season("year-2026")
    season = {(box.contest, box.key): box.adjusted for box in season_of(team).boxes}
    cooks = cooks_of(team)
    assert [cook.result.adjusted for cook in cooks] == [season[cook.log.day.name, "ribs"] for cook in cooks]
    assert None not in season.values()
    for cook in cooks:
        assert cook.result.adjusted_share == pytest.approx(cook.result.adjusted.total / 202.5)
    (found,) = compared(cooks, "F")
    assert (found.boxes, found.adjusted, found.by_adjusted) == (2, 2, False)
    shown = client.get(page("cook_log_of", team, contest.uid, "ribs")).content.decode()
    assert "Adjusted for how hard its table was" in shown


def test_adjusted_totals_are_never_set_beside_raw_ones(cook, clock):
    """Six boxes of which the table is known are compared by themselves; with five, all eight as they were marked."""
    team, _client = cook
    clock(9)
    for number in range(8):
        log_elsewhere(team, number, total=str(150 + number), wood="oak" if number % 2 else "hickory", pit="275")
    logged = sorted(cooks_of(team), key=lambda each: each.log.day.date)

    def with_known(many):
        return [
            replace(each, result=replace(each.result, adjusted=Adjusted(-5.0 * place, 1.0, 150 - 4.0 * place, 3.0)))
            if place < many
            else each
            for place, each in enumerate(logged)
        ]

    (by_adjusted,) = compared(with_known(6), "F")
    assert (by_adjusted.boxes, by_adjusted.adjusted, by_adjusted.by_adjusted) == (8, 6, True)
    assert by_adjusted.comparison.boxes == 6
    (as_marked,) = compared(with_known(5), "F")
    assert (as_marked.boxes, as_marked.adjusted, as_marked.by_adjusted) == (8, 5, False)
    assert as_marked.comparison.boxes == 8
