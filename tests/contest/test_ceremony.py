"""The teams' words in the draw: off unless begun; the secret first, then the words, then the draw."""

import json
from hashlib import sha256

import pytest
from django.urls import reverse

from contest.models import Draw, DrawCeremony, LogRow
from contest.services.draw import DrawRefused, begin_ceremony, make_draw
from contest.services.redraw import redraw
from tests.factories import client_for, make_contest

pytestmark = pytest.mark.django_db

WORDS = ["smoke", "77", "apple wood"]


@pytest.fixture
def contest():
    return make_contest(teams=4, tables=2)


def url(contest, name="draw"):
    return reverse(f"contest:{name}", args=[contest.slug])


def test_by_default_nothing_is_asked_and_no_secret_is_made_beforehand(contest):
    page = client_for(contest, "organiser").get(url(contest)).content.decode()
    assert "<textarea" not in page
    assert not DrawCeremony.objects.exists()
    make_draw(contest=contest, by="organiser")
    assert not DrawCeremony.objects.exists()
    draw = Draw.objects.get()
    assert draw.public_text == f"commitment\t{draw.commitment}\ndraw\t1\n"


def test_the_commitment_comes_first_and_is_kept(contest):
    """The sums are recomputed with the standard library's SHA-256 (FIPS 180-4)."""
    first = begin_ceremony(contest=contest, by="organiser")
    assert begin_ceremony(contest=contest, by="organiser") == first
    secret = DrawCeremony.objects.get().secret_text
    assert sha256(secret.encode()).hexdigest() == first
    draw = make_draw(contest=contest, by="organiser", words=WORDS)
    assert (draw.secret_text, draw.commitment) == (secret, first)
    assert draw.seed == sha256((secret + draw.public_text).encode()).hexdigest()
    rows = list(LogRow.objects.order_by("pk").values_list("what", "facts"))
    assert [what for what, _ in rows] == ["secret of the draw made", "boxes drawn"]
    assert json.loads(rows[0][1]) == {"commitment": first}


def test_the_words_stand_sorted_in_the_public_lines(contest):
    begin_ceremony(contest=contest, by="organiser")
    draw = make_draw(contest=contest, by="organiser", words=WORDS)
    assert draw.public_text.split("\n")[1:] == ["draw\t1", "word\t77", "word\tapple wood", "word\tsmoke", ""]


def test_words_change_the_draw(contest):
    other = make_contest(teams=4, tables=2)
    for each in (contest, other):
        begin_ceremony(contest=each, by="organiser")
    DrawCeremony.objects.filter(contest=other).update(secret_text=contest.ceremony.secret_text)
    one = make_draw(contest=contest, by="organiser", words=["smoke"])
    two = make_draw(contest=other, by="organiser", words=["smoke", "77"])
    assert one.secret_text == two.secret_text
    assert one.seed != two.seed


def test_words_without_a_commitment_are_refused(contest):
    with pytest.raises(DrawRefused, match="begin the ceremony first"):
        make_draw(contest=contest, by="organiser", words=["smoke"])
    assert not Draw.objects.exists()


def test_once_drawn_no_ceremony_begins(contest):
    make_draw(contest=contest, by="organiser")
    with pytest.raises(DrawRefused, match="drawn already"):
        begin_ceremony(contest=contest, by="organiser")
    assert not DrawCeremony.objects.exists()


def test_a_new_draw_keeps_the_secret_and_the_words(contest):
    begin_ceremony(contest=contest, by="organiser")
    first = make_draw(contest=contest, by="organiser", words=WORDS)
    second = redraw(contest=contest, reason="a table broke", by="organiser")
    assert second.secret_text == first.secret_text
    words = [line for line in second.public_text.split("\n") if line.startswith("word")]
    assert words == ["word\t77", "word\tapple wood", "word\tsmoke"]


def test_on_the_page_from_the_commitment_to_what_is_read_out(contest):
    client = client_for(contest, "organiser")
    page = client.post(url(contest, "draw_ceremony"), follow=True).content.decode()
    ceremony = DrawCeremony.objects.get()
    assert ceremony.commitment in page
    assert ceremony.secret_text.strip() not in page
    assert "Before the teams speak" in page
    page = client.post(url(contest, "draw_make"), {"words": "smoke\n\n  apple   wood \n77\n"}, follow=True)
    text = page.content.decode()
    draw = Draw.objects.get()
    assert "Read out, and hand to every team: public.txt" in text
    assert f"<pre>{draw.public_text}</pre>" in text
    assert draw.secret_text.strip() not in text
    assert draw.seed not in text


def test_each_team_adds_one_at_most_and_nothing_typed_is_lost(contest):
    client = client_for(contest, "organiser")
    client.post(url(contest, "draw_ceremony"))
    answer = client.post(url(contest, "draw_make"), {"words": "a\nb\nc\nd\ne"})
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "5 lines for 4 teams: each team adds one at most. Take 1 out." in text
    assert "a\nb\nc\nd\ne</textarea>" in text
    assert not Draw.objects.exists()
    long = client.post(url(contest, "draw_make"), {"words": "a\n" + "b" * 81})
    assert "Line 2 is longer than 80 characters." in long.content.decode()


def test_a_refused_draw_keeps_the_words(contest):
    client = client_for(contest, "organiser")
    client.post(url(contest, "draw_ceremony"))
    contest.tables.all().delete()
    answer = client.post(url(contest, "draw_make"), {"words": "smoke"})
    assert answer.status_code == 422
    assert "There is no table yet." in answer.content.decode()
    assert not Draw.objects.exists()


def test_words_with_signs_of_markup_are_shown_as_they_are(contest):
    client = client_for(contest, "organiser")
    client.post(url(contest, "draw_ceremony"))
    page = client.post(url(contest, "draw_make"), {"words": "<b>ash</b>\tß"}, follow=True).content.decode()
    assert "word\t&lt;b&gt;ash&lt;/b&gt; ß" in page
