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
from django.http import HttpResponse
from django.test import override_settings
from hypothesis import HealthCheck, given, settings

from contest.models import LogChain, Team
from tests.chains import broken_row
from tests.site.crawling import Tour, World, crawl
from tests.site.nonsense import Requests, Sent, requests_of

pytestmark = pytest.mark.django_db

REQUESTS = int(os.environ.get("FAIRBOX_FUZZ", "2000"))
SLOWEST = 10  # seconds of work; a busy machine may make it wait
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
            where = re.findall(r'File ".*/(\w+/\w+\.py)", line (\d+)', self.error)
            own = [place for place in where if "site-packages" not in place[0]][-1:]
            self.found.setdefault(f"{status}: {own} {self.error.splitlines()[-1:]}", f"{sent}\n{self.error[-1500:]}")
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


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    """One site for all that this module asks of it, undone at the end."""
    quick = override_settings(PASSWORD_HASHERS=["django.contrib.auth.hashers.MD5PasswordHasher"], AXES_ENABLED=False)
    with django_db_blocker.unblock(), quick, transaction.atomic():
        yield World()
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def tours(world: World) -> dict[str, Tour]:
    return {role: crawl(client, world.starts(role)) for role, client in world.clients.items()}


@pytest.fixture(autouse=True)
def _quiet(caplog: pytest.LogCaptureFixture) -> None:
    for name in ("django.request", "django.security", "contest.entrance"):
        caplog.set_level("CRITICAL", logger=name)


#: What the policy would switch off: handlers, styles and scripts inside a page, and addresses that are scripts.
INLINE = re.compile(
    r"""<style|\sstyle\s*=|\son[a-z]+\s*=\s*["']|<script(?![^>]*(?:\ssrc=|type="application/json"))[^>]*>"""
    r"""|(?:href|src|action|hx-get|hx-post)\s*=\s*["']\s*(?:javascript|vbscript|data:(?!image/)):?|hx-on""",
    re.I,
)


def test_every_page_stands_under_the_strict_policy_and_needs_nothing_that_it_forbids(tours: dict[str, Tour]) -> None:
    pages, escaped, wrong = 0, 0, []
    for role, tour in tours.items():
        for url, answer in tour.answers.items():
            policy = answer.get("Content-Security-Policy", "")
            said = dict(part.strip().split(" ", 1) for part in policy.split(";") if part.strip())
            if said.get("default-src") != "'none'" or said.get("script-src") != "'self'" or "unsafe" in policy:
                wrong.append(f"{role} {url}: {policy or 'no policy'}")
            if not answer["Content-Type"].startswith("text/html") or "/site-admin/" in url:
                continue
            pages += 1
            escaped += b"&lt;script&gt;alert(1)" in answer.content
            text = re.sub(r"<pre.*?</pre>|<textarea.*?</textarea>", "", answer.content.decode(), flags=re.S)
            wrong += [f"{role} {url}: {found[0]}" for found in INLINE.finditer(text)]
    assert wrong == [], "\n".join(wrong)
    assert pages > 300
    assert escaped > 30  # pages on which a name that is an attack stands, as text


def test_no_link_leads_to_an_error(tours: dict[str, Tour]) -> None:
    allowed = (200, 204, 302, 403, 404, 405)
    assert [
        f"{answer.status_code} {url} as {role}"
        for role, tour in tours.items()
        for url, answer in tour.answers.items()
        if answer.status_code not in allowed
    ] == []


def test_no_request_breaks_the_site(world: World, tours: dict[str, Tour]) -> None:
    faults, statuses = Faults(), []
    what = Requests(world, {role: tour.forms for role, tour in tours.items()})
    rows = Rows()

    @settings(
        max_examples=REQUESTS, derandomize=True, database=None, deadline=None, suppress_health_check=list(HealthCheck)
    )
    @given(requests_of(what))
    def send(sent: Sent) -> None:
        client = world.clients[sent.role]
        cookies = copy.deepcopy(client.cookies)
        with transaction.atomic():
            started = time.thread_time()
            with rows.watched():
                answer = sent.by(client)
            faults.check(sent, answer, time.thread_time() - started, rows)
            transaction.set_rollback(True)
        client.cookies = cookies
        statuses.append(answer.status_code)

    try:
        send()
    finally:
        faults.close()
    assert len(statuses) >= REQUESTS
    assert {200, 302, 400, 404, 422} <= set(statuses)
    report = [f"{kind}\n    first met by {sent}" for kind, sent in faults.found.items()]
    assert report == [], "\n\n".join([f"{len(report)} faults", *report])


def test_what_a_refused_request_left_behind_would_be_noticed(world: World) -> None:
    rows, faults = Rows(), Faults()
    with rows.watched():
        Team.objects.create(name="Team Left Behind")
    faults.check(Sent("visitor", "POST", "/example/"), HttpResponse(status=404), 0, rows)
    with rows.watched():
        Team.objects.get(name="Team Left Behind").delete()
    assert rows.changed() == []
    faults.check(Sent("visitor", "POST", "/example/"), HttpResponse("<p>no</p>", status=422), 11, rows)
    faults.close()
    assert list(faults.found) == [
        "refused with 404, and wrote contest_team",
        "took 11.0 s: /example/",
        "refused without a word: /example/",
    ]
