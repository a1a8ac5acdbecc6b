"""What the settings promise, read from the running thing: the database's pragmas, the headers of an answer."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.urls import reverse

from tests.site.served import environment

pytestmark = pytest.mark.django_db
on_sqlite = pytest.mark.skipif("connection.vendor != 'sqlite'", reason="a pragma is SQLite's")


@on_sqlite
@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("journal_mode", "wal"),  # readers do not wait for the writer
        ("synchronous", 2),  # FULL: what was committed outlives a power cut
        ("foreign_keys", 1),
        ("busy_timeout", 20_000),  # milliseconds; a second writer queues
    ],
)
def test_pragmas_of_a_live_connection(pragma: str, value: object) -> None:
    with connection.cursor() as cursor:
        assert cursor.execute(f"PRAGMA {pragma}").fetchone()[0] == value


@on_sqlite
def test_transactions_take_the_write_lock_at_once() -> None:
    assert connection.transaction_mode == "IMMEDIATE"  # a second writer waits instead of failing at its first write


def test_requests_are_not_wrapped_in_transactions_and_nothing_is_shown_of_the_inside() -> None:
    assert settings.DATABASES["default"]["ATOMIC_REQUESTS"] is False
    assert settings.DEBUG is False


def test_a_strict_content_security_policy_stands_on_every_answer() -> None:
    answer = Client().get(reverse("contest:sign_in"))
    policy = dict(part.strip().split(" ", 1) for part in answer["Content-Security-Policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert "unsafe" not in answer["Content-Security-Policy"]


def test_other_protective_headers_and_cookies() -> None:
    client = Client()
    answer = client.get(reverse("contest:sign_in"))
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"
    assert answer.cookies["csrftoken"]["samesite"] == "Lax"


def test_no_template_needs_what_the_policy_forbids() -> None:
    """No inline script, style or handler in any template: the policy would switch it off without a word."""
    forbidden = re.compile(r"<style|\sstyle\s*=|\son[a-z]+\s*=\s*[\"']|<script(?![^>]*\ssrc=)[^>]*>|javascript:", re.I)
    found = [
        f"{path.relative_to(settings.BASE_DIR)}: {match.group(0)}"
        for app in ("contest", "judging", "reports")
        for path in (settings.BASE_DIR / app).glob("templates/**/*.html")
        for match in forbidden.finditer(path.read_text())
        if "application/json" not in match.group(0)
    ]
    assert found == []


SILENCED = """
import django, json
from django.conf import settings
django.setup()
silenced, settings.SILENCED_SYSTEM_CHECKS = settings.SILENCED_SYSTEM_CHECKS, []
from django.core.checks import run_checks
print(json.dumps([sorted(silenced), sorted({each.id for each in run_checks(include_deployment_checks=True)})]))
"""


def test_every_silenced_deployment_warning_is_needed_and_explained(tmp_path: Path) -> None:
    """Without the list, exactly its warnings are there: some on plain HTTP, the others behind HTTPS."""
    told: set[str] = set()
    bare = {"DJANGO_ALLOW_ASYNC_UNSAFE": ""}  # set for browser tests only
    for https in ("0", "1"):
        answer = subprocess.run(
            [sys.executable, "-c", SILENCED],
            env=environment(tmp_path, FAIRBOX_HTTPS=https, **bare),
            capture_output=True, text=True, timeout=120, check=True,
        )  # fmt: skip
        silenced, found = json.loads(answer.stdout)
        told.update(found)
    assert sorted(told) == silenced
    text = (settings.BASE_DIR / "contest/config/settings.py").read_text()
    lines = text.partition("SILENCED_SYSTEM_CHECKS = [")[2].partition("\n]")[0].strip().splitlines()
    assert lines[0].strip().startswith("#")
    assert all("#" in line for line in lines)
