"""The organiser's page of the draw."""

import pytest
from django.urls import reverse

from contest.day import next_todo, steps
from contest.models import Box, Contest, Draw, Entry
from contest.services.draw import make_draw
from tests.factories import client_for, make_contest, make_drawn

pytestmark = pytest.mark.django_db


def url(contest, name="draw"):
    return reverse(f"contest:{name}", args=[contest.slug])


def test_before_the_draw_it_says_what_will_be_drawn():
    contest = make_contest(teams=7, tables=2)
    page = client_for(contest, "organiser").get(url(contest)).content.decode()
    assert '<td class="fig">7</td><td class="fig">2</td><td class="fig">3 or 4</td>' in page
    assert "Draw the boxes" in page


def test_what_is_missing_stands_in_words_and_there_is_no_button():
    contest = make_contest(teams=19, tables=3, most_boxes=6)
    client = client_for(contest, "organiser")
    page = client.get(url(contest)).content.decode()
    for name in ("Chicken", "Ribs"):
        assert f"{name}: 19 boxes for 18 places at 3 tables of 6; add a table or allow 7 boxes a table." in page
    assert "Draw the boxes</button>" not in page
    answer = client.post(url(contest, "draw_make"), follow=True)
    assert "19 boxes for 18 places" in answer.content.decode()
    assert not Draw.objects.exists()


def test_drawing_seals_and_a_second_press_changes_nothing():
    contest = make_contest()
    client = client_for(contest, "organiser")
    assert "Drawn and sealed." in client.post(url(contest, "draw_make"), follow=True).content.decode()
    fingerprint = Draw.objects.get().fingerprint
    assert "drawn already" in client.post(url(contest, "draw_make"), follow=True).content.decode()
    assert Draw.objects.get().fingerprint == fingerprint
    assert Contest.objects.get().state == "sealed"


def test_after_the_draw_numbers_and_sums_but_never_a_team_or_the_secret():
    contest = make_contest(teams=6, tables=2)
    make_draw(contest=contest, by="organiser")
    draw = Draw.objects.get()
    page = client_for(contest, "organiser").get(url(contest)).content.decode()
    for box in Box.objects.all():
        assert box.number in page
    assert draw.commitment in page
    assert draw.fingerprint in page
    assert draw.figures.sentence in page
    for hidden in (draw.secret_text.strip(), draw.seed, draw.public_text):
        assert hidden not in page
    for entry in Entry.objects.all():
        assert entry.team.name not in page


def test_the_page_loads_neither_pairing_nor_teams(django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    contest = make_drawn(teams=6)
    client = client_for(contest, "organiser")
    with CaptureQueriesContext(
        connection,
    ) as queries:
        client.get(url(contest))
        client.get(url(contest, "boxes_in"))
    asked = " ".join(query["sql"] for query in queries)
    for table in ("contest_pairing", "contest_team", "contest_entry", "secret_text"):
        assert table not in asked


def test_the_day_says_whether_the_boxes_are_drawn():
    contest = make_contest()
    before = steps(contest)[0]
    assert "The boxes are not drawn yet." in [todo.text for todo in before.todos]
    assert next_todo(steps(contest)) is not None
    make_drawn(contest)
    after = steps(contest)[0]
    assert "12 boxes drawn to 1 table" in after.lines
    assert "The boxes are not drawn yet." not in [todo.text for todo in after.todos]
