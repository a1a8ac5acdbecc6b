"""Several phones at the same moment, each request on a connection of its own, on the real database."""

import threading
from collections import Counter

import pytest
from django.db import connection
from django.test import Client

from contest.models import LogRow
from reports.models import Answer
from tests.reports.test_practice import TASTERS, Evening

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*acts) -> list[str]:
    start = threading.Barrier(len(acts))
    outcomes: list[str] = []

    def run(act) -> None:
        try:
            start.wait(timeout=10)
            outcomes.append(str(act().status_code))
        except BaseException as error:
            outcomes.append(repr(error))
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return sorted(outcomes)


def hand_in(evening: Evening, phone: Client, plate: str):
    return lambda: phone.post(evening.tasting, {"round": "round-1", "plate": plate})


def test_everybody_presses_at_once_and_twice_and_each_answer_is_there_once():
    evening = Evening("triangle", tasters=(*TASTERS, "Maple"))
    evening.serve()
    acts = []
    for number in (1, 2, 3, 4):
        phone, again = evening.phone(number), evening.phone(number)
        acts += [hand_in(evening, each, evening.odd(number)) for each in (phone, again)]
    assert at_once(*acts) == ["302"] * 8
    assert sorted(Answer.objects.values_list("seat__table__number", flat=True)) == [1, 2, 3, 4]
    assert LogRow.objects.filter(what="answer handed in").count() == 4


def test_two_plates_from_one_seat_at_once_leave_one_that_stands():
    evening = Evening("preference")
    evening.serve()
    plates = list(evening.plates(1))
    acts = [hand_in(evening, evening.phone(1), plate) for plate in plates]
    assert at_once(*acts) == ["302", "422"]
    assert Answer.objects.count() == 1


def test_an_answer_while_the_result_is_made_is_either_in_it_or_refused():
    evening = Evening("triangle")
    evening.serve()
    phone = evening.phone(1)
    close = lambda: evening.cook.post(evening.url("practice_close"), {"unfinished_too": "on"})  # noqa: E731
    outcomes = Counter(at_once(hand_in(evening, phone, evening.odd(1)), close))
    evening.practice.refresh_from_db()
    answers = len(evening.practice.outcome.triangle.answers)
    assert outcomes in (Counter({"302": 2}), Counter({"302": 1, "422": 1}))
    assert Answer.objects.count() == answers
