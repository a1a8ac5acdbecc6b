"""Doubtful marks of a contest: which marks are looked at, and where each question leads."""

import pytest

from contest.models import TurnIn
from judging.models import Reading, Ruling
from judging.selectors.doubtful import doubtful
from tests.factories import make_card, make_drawn, unguarded
from tests.judging.pages import sheet_address

pytestmark = pytest.mark.django_db


@pytest.fixture
def contest():
    """Seat A gave box 201 a 4 where all the others gave 8."""
    contest = make_drawn(teams=3, seats=4)
    for seat in contest.tables.get().seats.all():
        for box in contest.boxes.filter(category__key="chicken"):
            taste = 4 if (box.number, seat.letter) == ("201", "A") else 8
            make_card(box, seat, {"appearance": 7, "taste": taste, "tenderness": 6})
    return contest


def test_a_question_names_its_place_and_leads_to_its_sheet(contest):
    (question,) = doubtful(contest)
    assert question.text == "Chicken, table 1, seat A: 201: 4 for taste, the rest of the table gives 8"
    assert question.url == sheet_address(contest)


def test_marks_are_never_changed_by_asking(contest):
    before = list(Reading.objects.values_list("id", "standing", "marks__value"))
    doubtful(contest)
    assert list(Reading.objects.values_list("id", "standing", "marks__value")) == before


def test_a_corrected_or_dismissed_or_unjudged_card_is_not_asked_about(contest):
    box, seat = contest.boxes.get(number="201"), contest.tables.get().seats.get(letter="A")
    reading = Reading.objects.get(card__box=box, card__seat=seat)
    ruling = Ruling.objects.create(
        contest=contest, kind="dismissal", scope="card", box=box, seat=seat, reason="x", by="y",
        dismissed_reading=reading,
    )  # fmt: skip
    assert doubtful(contest) == []
    ruling.delete()
    assert len(doubtful(contest)) == 1
    row = TurnIn.objects.create(box=box, status="late", by="desk")
    assert doubtful(contest) == []
    with unguarded():
        row.delete()
    Reading.objects.filter(pk=reading.pk).update(standing=False)
    make_card(box, seat, {"appearance": 7, "taste": 8, "tenderness": 6}, kind="correction", reason="misread")
    assert doubtful(contest) == []
