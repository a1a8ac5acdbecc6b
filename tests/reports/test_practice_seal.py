"""Sealed both ways: what tasters see does not depend on what is on the plates, and what the cook sees until closing
does not depend on what the tasters said; both to the byte. And what is written is kept."""

import re

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from contest.services.seat_tokens import issue_token, text_of
from judging.models import Mark
from reports.models import Answer, Plate
from tests import factories
from tests.reports.test_practice import TASTERS, Evening, mark

pytestmark = pytest.mark.django_db

FORGETFUL = re.compile(r'name="csrfmiddlewaretoken" value="[^"]+"')


def seen(client: Client, *urls: str) -> list[tuple[int, str]]:
    answers = [client.get(url) for url in urls]
    return [(answer.status_code, FORGETFUL.sub("", answer.content.decode())) for answer in answers]


def swap_versions(evening: Evening) -> None:
    """Everything that was cherry is hickory, and the other way round."""
    one, other = evening.practice.versions.all()
    for plate in Plate.objects.filter(version__practice=evening.practice):
        plate.version = other if plate.version == one else one
        plate.save()


@pytest.mark.parametrize("question", ["triangle", "preference", "score"])
@pytest.mark.parametrize("served", [False, True])
def test_tasters_see_the_same_whatever_is_on_the_plates(question, served):
    evening = Evening(question)
    if served:
        evening.serve()
    slug = evening.practice.contest.slug
    urls = [evening.tasting, f"/c/{slug}/rules/", f"/r/{slug}/draw/", f"/r/{slug}/draw/public.txt", f"/c/{slug}/seat/"]
    phones = [evening.phone(number) for number in (1, 2, 3)]
    for phone in phones:
        seen(phone, *urls)  # the seat's token is issued at the first look
    before = [seen(phone, *urls) for phone in phones]
    key = seen(evening.cook, evening.url("practice_serving"))
    swap_versions(evening)
    assert (seen(evening.cook, evening.url("practice_serving")) == key) is served  # until served the cook sees them
    assert [seen(phone, *urls) for phone in phones] == before
    if question == "score":
        held = evening.practice.contest.passes.get(seat__table__number=1)
        bearer = {"Authorization": f"Bearer {text_of(issue_token(held=held))}"}
        news = Client().get("/api/seat/", headers=bearer).json()
        swap_versions(evening)
        assert Client().get("/api/seat/", headers=bearer).json() == news


def cook_sees(evening: Evening) -> list[tuple[int, str]]:
    team = evening.team.uid
    mine = [evening.url(), evening.url("practice_serving"), f"/teams/{team}/practice/", f"/teams/{team}/log/"]
    mine += [f"/teams/{team}/season/", f"/teams/{team}/plan/", f"/teams/{team}/", "/"]
    mine += [reverse("reports:cook_log_of", args=[team, evening.practice.contest.uid, "ribs"])]
    return seen(evening.cook, *mine)


def test_the_cook_sees_the_same_whatever_the_tasters_answered():
    evening = Evening("preference")
    evening.serve()
    for number in (1, 2):
        plate = next(iter(evening.plates(number)))
        evening.phone(number).post(evening.tasting, {"round": "round-1", "plate": plate})
    before = cook_sees(evening)
    with factories.unguarded():
        for answer in Answer.objects.select_related("box"):
            answer.box = evening.practice.contest.boxes.filter(table=answer.box.table).exclude(pk=answer.box_id).get()
            answer.save()
    assert cook_sees(evening) == before
    named = [answer.box.plate.version.name for answer in Answer.objects.order_by("pk")]
    evening.close(unfinished_too="on")
    assert [
        evening.practice.outcome.versions[each.version - 1] for each in evening.practice.outcome.preference.answers
    ] == named


def test_the_cook_sees_the_same_whatever_the_tasters_marked():
    evening = Evening("score")
    evening.serve()
    mark(evening, 1, {"cherry": 8, "hickory": 4})
    mark(evening, 2, {"cherry": 9})
    before = cook_sees(evening)
    with factories.unguarded():
        Mark.objects.update(value=2)
    assert cook_sees(evening) == before


def test_an_answer_cannot_change_or_go():
    evening = Evening("preference")
    evening.serve()
    evening.phone(1).post(evening.tasting, {"round": "round-1", "plate": next(iter(evening.plates(1)))})
    other = evening.practice.contest.boxes.exclude(pk=Answer.objects.get().box_id).first()
    for attempt in (lambda: Answer.objects.update(box=other), lambda: Answer.objects.all().delete()):
        with pytest.raises(IntegrityError, match="a row that is kept cannot"), transaction.atomic():
            attempt()


def test_nothing_is_taken_before_the_plates_are_out_nor_after_the_result():
    evening = Evening("score", tasters=TASTERS[:1])
    seat = reverse("judging:seat", args=[evening.practice.contest.slug])
    phone = evening.phone(1)
    plate = next(iter(evening.plates(1)))
    card = {"box": plate, "key": "a" * 32, "mark-appearance": "7", "mark-taste": "7", "mark-tenderness": "7"}
    phone.post(seat, card)
    assert not Mark.objects.exists()
    evening.serve()
    evening.close(unfinished_too="on")
    assert "/sign-in/" in phone.post(seat, card)["Location"]
    assert not Mark.objects.exists()
