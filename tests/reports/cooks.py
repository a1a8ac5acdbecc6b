"""A cook's account and team for tests of a team's own pages, and a clock that stands where the test wants it."""

from datetime import UTC, datetime

import pytest
from django.test import Client
from django.urls import reverse

from contest.models import Team, TeamMember
from tests.factories import make_account


def make_cook(team: Team | None = None) -> tuple[Team, Client]:
    """A team and a client signed in as one of its members."""
    team = team or Team.objects.create(name="Team Alder")
    account = make_account()
    TeamMember.objects.create(team=team, account=account)
    client = Client()
    client.force_login(account, backend="django.contrib.auth.backends.ModelBackend")
    return team, client


def page(name: str, team: Team, *more: object) -> str:
    return reverse(f"reports:{name}", args=[team.uid, *more])


@pytest.fixture
def clock(monkeypatch):
    """`clock(hour, minute)` puts the time to that of 13 June 2026, UTC."""

    def put(hour: int, minute: int = 0, day: int = 13) -> datetime:
        moment = datetime(2026, 6, day, hour, minute, tzinfo=UTC)
        monkeypatch.setattr("django.utils.timezone.now", lambda: moment)
        return moment

    return put
