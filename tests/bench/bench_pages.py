"""How long the heavy pages of a large contest take, and all pages of a cook with years of results.

The contest has 100 teams, 4 categories, 6 judges a box, 3 criteria.

Run with: pytest tests/bench/bench_pages.py -s. Prints the median of several answers for each page, and the queries.
"""

import statistics
import time
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from judging.models import Card, Mark, Reading
from judging.services.tally import close_tally, sign_off
from reports.models import PastResult
from reports.results.publishing import publish
from reports.rules.sensory.tasting import SCORE, TRIANGLE
from tests.factories import client_for, make_contest, make_drawn, take_in
from tests.reports.years import Years

MOST_SECONDS = 0.150
ROUNDS = 9


def make_large():
    return fill(
        make_drawn(make_contest(teams=100, tables=17, seats=6, categories=("chicken", "ribs", "pork", "brisket")))
    )


def fill(contest):
    """Every box handed in and every card keyed."""
    take_in(contest)
    boxes = contest.boxes.select_related("table").prefetch_related("table__seats").order_by("number")
    cards = Card.objects.bulk_create(Card(box=box, seat=seat) for box in boxes for seat in box.table.seats.all())
    readings = Reading.objects.bulk_create(Reading(card=card, by="clerk") for card in cards)
    Mark.objects.bulk_create(
        Mark(reading=reading, criterion=key, value=6 + (int(reading.card.box.number) * 7 + at * 3 + place) % 4)
        for at, reading in enumerate(readings)
        for place, key in enumerate(("appearance", "taste", "tenderness"))
    )
    return contest


def median_seconds(client, address):
    clock, processor = [], []
    for _ in range(ROUNDS):
        start, start_processor = time.perf_counter(), time.process_time()
        answer = client.get(address)
        processor.append(time.process_time() - start_processor)
        clock.append(time.perf_counter() - start)
        assert answer.status_code == 200
    with CaptureQueriesContext(
        connection,
    ) as queries:
        client.get(address)
    return statistics.median(clock), statistics.median(processor), len(queries), len(answer.content)


@pytest.mark.django_db
def test_the_heavy_pages_answer_in_time(capsys):
    contest = make_large()
    assert Mark.objects.count() == 7200
    organiser = client_for(contest, "organiser")
    measured = {}

    def measure(name, client, address):
        measured[name] = median_seconds(client, address)

    slug = [contest.slug]
    measure("contest page, sealed", organiser, reverse("contest:day", args=slug))
    measure("marks page", organiser, reverse("judging:marks", args=slug))
    measure("tally page, sealed", organiser, reverse("judging:tally", args=slug))
    measure("working of a box", organiser, reverse("judging:working", args=[contest.slug, "250"]))
    tally = close_tally(contest=contest, by="head judge")
    measure("tally page, closed", organiser, reverse("judging:tally", args=slug))
    sign_off(tally=tally, by="head judge")
    measure("names", organiser, reverse("reports:names", args=slug))
    publish(contest=contest, by="organiser")
    visitor = client_for(contest, "visitor")
    measure("results page", visitor, reverse("reports:results", args=slug))
    measure("results as a table", visitor, reverse("reports:results_table", args=slug))
    key = contest.entries.get(number=50).sheet_key
    measure("a team's own sheet", visitor, reverse("reports:sheet", args=[contest.slug, key]))
    report(capsys, measured)


@pytest.mark.django_db
def test_the_pages_of_a_cook_answer_in_time(capsys):
    """Three contests of a season with its fits, 200 past results, 20 packages, 60 days and four practices."""
    years = Years()
    years.contest_in(date(2026, 8, 1), season=years.season)
    for number in range(200):
        years.result_in(2007 + number % 20)
    for number in range(20):
        years.package_in(2026 - number // 8)
    for number in range(60):
        years.day_in(2006 + number % 20)
    for question in (SCORE, TRIANGLE, SCORE, SCORE):
        years.practice(question)
    years.fit()
    assert PastResult.objects.count() == 220
    report(capsys, {name: median_seconds(client, address) for name, (client, address) in years.addresses().items()})


def report(capsys, measured):
    """Print what was measured; fail for a page that takes more time of its own than it may."""
    with capsys.disabled():
        print()
        for name, (seconds, own, queries, size) in measured.items():
            print(
                f"{name:24} {seconds * 1000:6.0f} ms, {own * 1000:4.0f} ms of them its own,"
                f" {queries:3} queries, {size / 1024:4.0f} KiB"
            )
    # By the processor's time, which does not depend on what else the machine does: the database runs in the process.
    slow = {name: own for name, (_, own, _, _) in measured.items() if own > MOST_SECONDS}
    assert not slow, slow
