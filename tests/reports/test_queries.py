"""The pages of a cook ask the database as often for ten years of results as for one."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from contest.models import Contest, Team, TeamMember
from reports.models import CookDay, ImportedContest
from reports.rules.sensory.tasting import SCORE, TRIANGLE
from tests.reports.years import Years

pytestmark = pytest.mark.django_db


def queries(years: Years) -> dict[str, int]:
    """How often each page asks."""
    counts = {}
    for name, (client, address) in years.addresses().items():
        client.get(address)  # what is looked up once a process
        with CaptureQueriesContext(connection) as asked:
            assert client.get(address).status_code == 200, name
        counts[name] = len(asked)
    return counts


def test_queries_do_not_grow_with_a_cooks_years():
    years = Years()
    years.contest_in(date(2024, 6, 1))
    for year in (2024, 2026):
        years.result_in(year)
    years.package_in(2026)
    years.day_in(2025)
    years.practice(SCORE)
    years.practice(TRIANGLE)
    years.fit()
    few = queries(years)
    assert ImportedContest.objects.count() == 1

    years.contest_in(date(2026, 8, 1), season=years.season)
    years.contest_in(date(2023, 6, 1))
    years.contest_in(date(2022, 6, 1))
    for year in range(2015, 2027):
        years.result_in(year)
    for year in (2026, 2026, 2024, 2019):
        years.package_in(year)
    for year in range(2016, 2026):
        years.day_in(year)
    for question in (SCORE, TRIANGLE, SCORE):
        years.practice(question)
    for number in range(5):
        TeamMember.objects.create(team=Team.objects.create(name=f"Team {number}"), account=years.account)
    years.fit()
    many = queries(years)
    assert Contest.objects.filter(kind=Contest.Kind.CONTEST).count() == 6
    assert CookDay.objects.count() > 12
    assert {name: (few[name], count) for name, count in many.items() if count > few[name]} == {}
