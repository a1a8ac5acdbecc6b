"""A team's season page and what belongs to it: right figures, for the team only, nothing before publishing."""

import csv
import io
from xml.etree import ElementTree

import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse
from openpyxl import load_workbook

from contest.models import Contest, Team
from contest.rules.say import nth
from reports.charts import Axis, Day, LineAt, band, dots, nice, signed
from reports.models import JobState, PastResult, SeasonWork, SeverityFit
from reports.season.boxes import season_of
from reports.season.fits import fit_season
from tests.factories import make_account
from tests.reports.seasons import cook_of, fitted, make_season, put_out

pytestmark = pytest.mark.django_db
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def signed_in():
    def enter(account):
        client = Client()
        client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return enter


def team_of(season, number=1):
    return season.contests.first().entries.get(number=number).team


def addresses(team, group, contest):
    pages = [
        reverse(f"reports:{name}", args=[team.uid, group])
        for name in ("season_of", "season_csv", "season_xlsx", "season_tables", "season_trends")
    ]
    box = reverse("reports:season_box", args=[team.uid, contest.slug, "ribs"])
    return [reverse("reports:season", args=[team.uid]), *pages, box]


def pictures(text):
    """Every SVG of a page, parsed."""
    return [ElementTree.fromstring(f"<svg{part.partition('</svg>')[0]}</svg>") for part in text.split("<svg")[1:]]


def test_another_teams_cook_finds_nothing(signed_in):
    season, group = fitted(2)
    team, other = team_of(season), team_of(season, 2)
    client = signed_in(cook_of(other))
    for url in addresses(team, group, season.contests.first()):
        assert client.get(url).status_code == 404, url
    assert client.post(reverse("reports:season_work", args=[team.uid, group])).status_code == 404
    assert signed_in(make_account()).get(addresses(team, group, season.contests.first())[0]).status_code == 404
    own = signed_in(cook_of(team))
    for url in addresses(team, group, season.contests.first()):
        assert own.get(url).status_code == 200, url


def test_nothing_of_an_unpublished_contest_shows(signed_in):
    season = make_season(2, published=False)
    team, group = team_of(season), f"season-{season.pk}"
    client = signed_in(cook_of(team))
    first, *rest = addresses(team, group, season.contests.first())
    assert "will stand here" in client.get(first).text
    for url in rest:
        assert client.get(url).status_code == 404, url
    one, other = season.contests.order_by("date")
    put_out(one)
    page = client.get(first).text
    assert one.name in page
    assert other.name not in page
    assert client.get(reverse("reports:season_box", args=[team.uid, other.slug, "ribs"])).status_code == 404


def test_adjusted_totals_are_the_raw_ones_and_what_the_table_took(signed_in):
    season, group = fitted(2)
    team = team_of(season)
    fit = SeverityFit.objects.get(response="weighted", category="")
    boxes = season_of(team, group).boxes
    assert len(boxes) == 4
    for box in boxes:
        contest = Contest.objects.get(slug=box.slug)
        table = fit.result["tables"][f"{contest.uid}|{box.key}|{box.table}"]
        # Taste double: five counted cards of 4.5 × 8 points of spread each.
        assert box.adjusted.hardness == pytest.approx(180 * table["hardness"])
        assert box.adjusted.hardness_half == pytest.approx(180 * 1.959964 * table["error"])
        assert box.adjusted.total == pytest.approx(float(box.total) + box.adjusted.hardness)
        assert box.adjusted.total_half > box.adjusted.hardness_half
    page = signed_in(cook_of(team)).get(reverse("reports:season", args=[team.uid])).text
    assert f"{boxes[0].adjusted.total:.1f} ±\u00a0{boxes[0].adjusted.total_half:.1f}" in page
    assert f"{nth(boxes[0].rank)} of 8" in page
    assert "two contests" not in page
    assert "Not enough contests yet: a trend of your boxes needs three, there are two." in page


def test_two_boxes_two_weeks_and_a_hard_table_are_no_progress_and_no_decline(signed_in):
    season, group = fitted(2)
    for number in range(1, 9):
        team = team_of(season, number)
        client = signed_in(cook_of(team))
        for name in ("season_of", "season_trends"):
            page = client.get(reverse(f"reports:{name}", args=[team.uid, group])).text
            assert "Not enough contests yet" in page
            assert not [word for word in (" rose ", " fell ", "real.", "<polyline") if word in page]


def test_one_contest_shows_raw_figures_only(signed_in):
    season, _ = fitted(1)
    page = signed_in(cook_of(team_of(season))).get(reverse("reports:season", args=[team_of(season).uid])).text
    assert "once a second contest of the season is published" in page
    assert "Raw total" in page
    assert "Adjusted</a>" not in page
    assert "<svg" not in page


def test_the_table_sorts_filters_and_goes_out_as_a_file(signed_in):
    season, group = fitted(2)
    team = team_of(season)
    client = signed_in(cook_of(team))
    url = reverse("reports:season_of", args=[team.uid, group])
    by_total = client.get(url, {"sort": "total"}).context["table"]
    totals = [float(row.record["total"]) for row in by_total.rows]
    assert totals == sorted(totals)
    ribs = client.get(url, {"category": "ribs"})
    assert {row.record["category"] for row in ribs.context["table"].rows} == {"Ribs"}
    assert len(ribs.context["table"].rows) == 2
    answer = client.get(reverse("reports:season_csv", args=[team.uid, group]), {"category": "ribs"})
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row["category"] for row in rows] == ["Ribs", "Ribs"]
    assert float(rows[0]["adjusted total"]) == pytest.approx(
        float(rows[0]["total"]) + float(rows[0]["table harder by"]), abs=0.011
    )
    answer = client.get(reverse("reports:season_xlsx", args=[team.uid, group]))
    sheet = load_workbook(io.BytesIO(answer.content)).active
    assert sheet.max_row == 5
    assert sheet["A1"].value == "kind"


def test_a_flight_shows_the_own_box_ringed_and_nobody_elses_number(signed_in):
    season, _ = fitted(2)
    team, contest = team_of(season), season.contests.first()
    page = signed_in(cook_of(team)).get(reverse("reports:season_box", args=[team.uid, contest.slug, "ribs"])).text
    (picture,) = pictures(page)
    circles = picture.findall(f"{SVG}circle")
    rings = [each for each in circles if each.get("class") == "own"]
    dots_ = [each for each in circles if each.get("class") == "dot"]
    assert (len(rings), len(dots_)) == (6, 6 * 3)  # six seats; four boxes a table
    own = contest.boxes.get(category__key="ribs", pairing__entry__team=team)
    for other in contest.boxes.exclude(pk=own.pk):
        assert f">{other.number}<" not in page
    for entry in contest.entries.exclude(team=team):
        assert str(entry.team) not in page
    assert page.count("Seat A") >= 2


def test_tables_compare_seats_within_one_contest(signed_in):
    season, group = fitted(2)
    team = team_of(season)
    page = signed_in(cook_of(team)).get(reverse("reports:season_tables", args=[team.uid, group])).text
    assert "the judge in seat B of another contest is another person" in page
    assert page.count("Seat by seat") == 2  # one table a contest: both boxes of the team were there


def test_tables_that_do_not_differ_are_said_not_to(signed_in):
    season, _ = fitted(2)
    for fit in SeverityFit.objects.all():
        fit.result["tables_alike"] = True
        fit.save()
    page = signed_in(cook_of(team_of(season))).get(reverse("reports:season", args=[team_of(season).uid])).text
    assert "Tables did not differ measurably" in page


def test_practice_and_results_from_elsewhere_are_marked(signed_in):
    season, group = fitted(2)
    team = team_of(season)
    PastResult.objects.create(
        team=team, contest_name="Example Away Day", date="2026-03-01", key="ribs", category="Ribs", place=3, field=9
    )
    practice = season.contests.first()
    Contest.objects.filter(pk=practice.pk).update(kind=Contest.Kind.PRACTICE)
    fit_season(group)
    page = signed_in(cook_of(team)).get(reverse("reports:season", args=[team.uid])).text
    assert "1 Mar, elsewhere" in page
    assert "3rd of 9" in page
    assert ", practice</span>" in page
    assert "nobody knows the other boxes’ marks" in page


def test_a_season_can_be_worked_out_on_request(signed_in):
    season, group = fitted(2)
    client = signed_in(cook_of(team_of(season)))
    SeverityFit.objects.all().delete()
    url = reverse("reports:season_of", args=[team_of(season).uid, group])
    assert "Work the season out" in client.get(url).text
    client.post(reverse("reports:season_work", args=[team_of(season).uid, group]))
    run = SeasonWork.objects.get(state=JobState.WAITING)
    SeasonWork.objects.filter(pk=run.pk).update(state=JobState.RUNNING, progress=2, of=7)
    assert "2 of 7 parts done" in client.get(url).text


def test_pages_of_a_season_carry_no_inline_style_and_name_their_pictures(signed_in):
    season, group = fitted(3)
    team = team_of(season)
    client = signed_in(cook_of(team))
    for url in addresses(team, group, season.contests.first()):
        answer = client.get(url)
        if "html" not in answer["Content-Type"]:
            continue
        assert "style=" not in answer.text
        for picture in pictures(answer.text):
            assert picture.get("role") == "img"
            assert picture.find(f"{SVG}title").text
            assert picture.get("aria-labelledby").split()[0] == picture.find(f"{SVG}title").get("id")
    trends = client.get(reverse("reports:season_trends", args=[team.uid, group])).text
    assert len(pictures(trends)) == 1 + 2 + 3  # all boxes, two categories, three criteria
    assert trends.count("dashed: the season’s line") == 1  # what the signs mean, for all of them
    assert trends.count("the tallest bar is") == len(pictures(trends))
    assert all(picture.find(f"{SVG}polyline").get("stroke-dasharray") for picture in pictures(trends))


def test_a_group_of_another_team_or_none_is_not_found(signed_in):
    season, _ = fitted(2)
    team = team_of(season)
    client = signed_in(cook_of(team))
    stranger = Team.objects.create(name="Team Elder")
    for group in ("season-999999", "year-1999", "season-x", "x"):
        assert client.get(reverse("reports:season_of", args=[team.uid, group])).status_code == 404
    own = signed_in(cook_of(stranger))
    assert own.get(reverse("reports:season_of", args=[stranger.uid, f"season-{season.pk}"])).status_code == 404


# Charts


def test_a_band_places_values_between_its_ticks():
    days = [Day("One", "1 May", 10.0, 5.0, 4.0, 6.0), Day("Two", "1 Jun", -10.0, 5.0, -7.0, -3.0)]
    chart = band(id="c", title="T", days=days, line=[LineAt(1.0, 0.0, 2.0), LineAt(2.0, 1.0, 3.0)])
    assert [tick.text for tick in chart.ticks] == ["−20", "−10", "0", "+10", "+20"]
    assert [mark.x for mark in chart.marks] == ["114.5", "271.5"]
    # From 172 (−20) up to 14 (+20): 3.95 a point.
    assert [mark.y for mark in chart.marks] == ["53.5", "132.5"]
    assert chart.zero == "93"
    assert chart.marks[0].bar_height == "22"  # the hardest fills its half of the strip
    assert chart.marks[0].title == "One: +10.0 ± 5.0, raw +4.0"


@pytest.mark.parametrize(
    ("low", "high", "ticks"), [(-3, 4, (-4, 4, 2)), (0, 0.9, (0, 1.0, 0.2)), (-41, 3, (-50, 10, 10))]
)
def test_ticks_are_round(low, high, ticks):
    assert nice(low, high) == pytest.approx(ticks)


def test_equal_marks_are_stacked_and_the_own_one_stands_lowest():
    chart = dots(id="d", title="T", rows=[("Seat A", [8.0, 8.0, 5.0], 8.0)], low=1, high=9)
    row = chart.rows[0]
    assert [dot.own for dot in row.dots] == [True, False, False, False]
    assert [dot.y for dot in row.dots if dot.x == row.dots[0].x] == ["24", "17", "10"]


def test_a_picture_is_the_same_on_paper_without_the_pages_style():
    """Colours, dashes and sizes are presentation attributes; the style sheet only fits them to light and dark."""
    chart = band(id="c", title="A & B", days=[Day("One", "1 May", 1.0, 2.0, 1.0, 0.0)], line=[])
    picture = ElementTree.fromstring(render_to_string("reports/season/_band.svg", {"chart": chart}).strip())
    assert picture.find(f"{SVG}title").text == "A & B"
    assert all(circle.get("fill") for circle in picture.iter(f"{SVG}circle"))
    assert all(line.get("stroke") for line in picture.iter(f"{SVG}line"))
    assert {text.get("text-anchor") for text in picture.iter(f"{SVG}text")} == {"end", "middle"}


def test_signed_never_says_minus_nought():
    assert [signed(value) for value in (1.25, -0.04, 0.0, -3.0)] == ["+1.2", "0.0", "0.0", "−3.0"]


@pytest.mark.parametrize(("low", "high", "ticks"), [(0.31, 0.69, 5), (-2.0, 7.0, 6), (0.0, 0.0, 5)])
def test_axis_has_a_tick_at_both_round_ends(low, high, ticks):
    axis = Axis(*nice(low, high), start=0, end=100)
    values = axis.ticks()
    assert len(values) == ticks
    assert [axis.at(values[0]), axis.at(values[-1])] == pytest.approx([0, 100], abs=1e-6)
