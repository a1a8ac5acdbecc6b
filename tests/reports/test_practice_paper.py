"""The evening on paper: what stands on plate cards, slips and the plating list, and on how many pages."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from reports.models import PrintJob
from reports.paper import catalogue, held
from reports.paper.look import Options
from reports.practice import papers
from tests.reports.papers import faults, print_papers
from tests.reports.test_practice import Evening

pytestmark = pytest.mark.django_db


def body(evening: Evening, what: str, **options: str) -> str:
    sheets = papers.PAPERS[what].build(evening.practice.contest, Options.of(options))
    return "".join(sheet.body() for sheet in sheets)


def test_cards_and_slips_hold_every_number_and_no_version():
    evening = Evening("triangle", versions=("cherry wood", "hickory wood"), rounds="2")
    every = [plate for taster in (1, 2, 3) for round_ in (1, 2) for plate in evening.plates(taster, round_)]
    for what in (papers.CARDS, papers.SLIPS):
        with CaptureQueriesContext(connection) as read:
            text = body(evening, what)
        assert sorted(re.findall(r">(\d{3})<", text)) == sorted(every)
        assert "cherry" not in text
        assert "hickory" not in text
        assert [query["sql"] for query in read if re.search(r"reports_(plate|version)", query["sql"])] == []


def test_a_slip_leads_to_the_page_where_it_is_typed_in():
    evening = Evening("score")
    text = body(evening, papers.SLIPS, address="http://field.test")
    assert text.count("http://field.test/in/") == 3
    assert "Appearance" in text
    assert "9&nbsp;outstanding" in text
    assert len(set(re.findall(r'pass-word">([\w-]+)<', text))) == 3


def test_the_plating_list_is_printed_only_while_the_key_is_open():
    evening = Evening("score")
    text = body(evening, papers.KEY)
    assert all(f"<b>{plate}</b>&nbsp;{on_it}" in text for plate, on_it in evening.plates(2).items())
    assert "Keep it cold, or keep it hot" in text
    evening.cook.post(evening.url("practice_print"), {"what": papers.KEY, "size": "a4"})
    job = PrintJob.objects.get()
    assert job.what == papers.KEY
    PrintJob.objects.update(state="done", file=held.new_file())
    (held.folder() / PrintJob.objects.get().file).write_bytes(b"%PDF-1.7 example")
    there = evening.url("practice_file", job.key)
    answer = evening.cook.get(there)
    assert b"".join(answer.streaming_content) == b"%PDF-1.7 example"
    evening.serve()
    assert body(evening, papers.KEY) == ""
    assert evening.cook.get(there).status_code == 404
    evening.cook.post(evening.url("practice_print"), {"what": papers.KEY, "size": "a4"})
    assert PrintJob.objects.count() == 1
    assert evening.cook.get(evening.url("practice_sheets", papers.KEY)).status_code == 404
    assert evening.cook.get(evening.url("practice_sheets", papers.SLIPS)).status_code == 200


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_pages(size):
    """Eight cards a page, slips of four rounds one a page, by hand; no letter at an edge, across a line, on another."""
    evening = Evening("triangle", rounds="4")
    for what, pages in ((papers.CARDS, 5), (papers.SLIPS, 3), (papers.KEY, 2)):
        assert catalogue.title_of(what) == papers.PAPERS[what].name
        printed = print_papers(evening.practice.contest, what, size=size)
        assert len(printed.pages) == pages
        assert faults(printed.pages) == []


@pytest.mark.parametrize("size", ["a4", "letter"])
@pytest.mark.parametrize(("versions", "pages"), [("abc", 2), ("abcdef", 3)])
def test_slips_for_cards_fit(size, versions, pages):
    evening = Evening("score", versions=tuple(versions))
    printed = print_papers(evening.practice.contest, papers.SLIPS, size=size, address="http://field.test:8000")
    assert len(printed.pages) == pages
    assert faults(printed.pages) == []
