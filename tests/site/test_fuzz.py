"""Nonsense sent to every form and address by every role: nothing breaks, nothing is half-written.

A crawler collects what each role is shown; Hypothesis then bends the requests. Every request is undone afterwards, so
each meets the same site. `FAIRBOX_FUZZ=20000` sends more than the usual 2,000; see DEVELOPERS.md.
"""

import copy
import hashlib
import os
import re
import time
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.apps import apps
from django.core.signals import got_request_exception
from django.db import connection, transaction
from hypothesis import HealthCheck, given, settings

from contest.models import LogChain, SeatToken
from contest.services.log import broken_row
from tests.site.crawling import World, crawl
from tests.site.nonsense import Requests, Sent, requests_of

pytestmark = pytest.mark.django_db

REQUESTS = int(os.environ.get("FAIRBOX_FUZZ", "2000"))
SLOWEST = 10  # seconds
#: What a refused request may leave behind: sessions, and the counts of wrong tries.
MAY_CHANGE = ("django_session", "contest_failedtries", "axes_")


class Rows:
    """Every row of the database, to see whether a refused request left something behind."""

    def __init__(self) -> None:
        self.tables = [
            model._meta.db_table
            for model in apps.get_models(include_auto_created=True)
            if not model._meta.db_table.startswith(MAY_CHANGE)
        ]
        self.wrote = False
        self.before = self.sums()

    def sums(self) -> dict[str, str]:
        with connection.cursor() as cursor:
            found = {}
            for table in self.tables:
                cursor.execute(f"SELECT * FROM {table} ORDER BY 1")
                found[table] = hashlib.sha256(repr(cursor.fetchall()).encode()).hexdigest()
        return found

    @contextmanager
    def watched(self) -> Iterator[None]:
        self.wrote = False

        def look(execute: Any, sql: str, parameters: Any, many: bool, context: Any) -> Any:
            if sql.lstrip().startswith(("INSERT", "UPDATE", "DELETE")) and not any(each in sql for each in MAY_CHANGE):
                self.wrote = True
            return execute(sql, parameters, many, context)

        with connection.execute_wrapper(look):
            yield

    def changed(self) -> list[str]:
        """Tables that are not as they were; none where nothing was written."""
        if not self.wrote:
            return []
        now = self.sums()
        return [table for table in self.tables if now[table] != self.before[table]]


class Faults:
    """Distinct things that went wrong, each with the first request that met it."""

    def __init__(self) -> None:
        self.found: dict[str, str] = {}
        self.error = ""
        got_request_exception.connect(self.note)

    def note(self, **signal: Any) -> None:
        self.error = traceback.format_exc()

    def add(self, kind: str, sent: Sent) -> None:
        self.found.setdefault(kind, str(sent))

    def close(self) -> None:
        got_request_exception.disconnect(self.note)

    def check(self, sent: Sent, answer: Any, seconds: float, rows: Rows) -> None:
        status = answer.status_code
        if status >= 500:
            self.add(f"{status}: {self.error[-1500:]}", sent)
            return
        text = b"" if answer.streaming else answer.content
        if b"Traceback (most recent call last)" in text:
            self.add(f"a traceback is shown by {sent.path}", sent)
        if seconds > SLOWEST:
            self.add(f"took {seconds:.1f} s: {sent.path}", sent)
        if status == 422 and not re.search(
            rb'errorlist|role="alert"|"reason"|class="[^"]*(error|refused|bad|rust)', text
        ):
            self.add(f"refused without a word: {sent.path}", sent)
        changed = rows.changed()
        if status >= 400 and changed:
            self.add(f"refused with {status}, and wrote {', '.join(changed)}", sent)
        if "contest_logrow" in changed and any(broken_row(chain) for chain in LogChain.objects.all()):
            self.add(f"a log chain is broken by {sent.path}", sent)
        if changed and status < 400:
            connection.check_constraints()


@pytest.fixture
def quiet(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level("CRITICAL", logger="django.request")
    caplog.set_level("CRITICAL", logger="django.security")


def test_no_request_breaks_the_site(quiet: None) -> None:
    world = World()
    forms, faults, sent_of = {}, Faults(), []
    for role, client in world.clients.items():
        statuses, forms[role] = crawl(client, world.starts(role))
        for url, status in statuses.items():
            if status not in (200, 204, 302, 403, 404, 405):
                faults.add(f"a link answers {status}: {faults.error[-800:]}", Sent(role, "GET", url))
    what, rows = Requests(world, forms), Rows()

    @settings(
        max_examples=REQUESTS, derandomize=True, database=None, deadline=None, suppress_health_check=list(HealthCheck)
    )
    @given(requests_of(what))
    def send(sent: Sent) -> None:
        client = world.clients[sent.role]
        cookies = copy.deepcopy(client.cookies)
        with transaction.atomic():
            started = time.monotonic()
            with rows.watched():
                answer = sent.by(client)
            faults.check(sent, answer, time.monotonic() - started, rows)
            transaction.set_rollback(True)
        client.cookies = cookies
        sent_of.append(answer.status_code)

    try:
        send()
    finally:
        faults.close()
    assert len(sent_of) >= REQUESTS
    assert {200, 302, 404, 422} <= set(sent_of)
    assert SeatToken.objects.exists()
    report = [f"{kind}\n    first met by {sent}" for kind, sent in faults.found.items()]
    assert report == [], "\n\n".join([f"{len(report)} faults", *report])
