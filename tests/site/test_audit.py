"""What the dependency audit of `.ci/audit` makes of its tool's report."""

import json
import runpy

from django.conf import settings

verdict = runpy.run_path(str(settings.BASE_DIR / ".ci/audit"))["verdict"]


def report(*packages: dict) -> str:
    return json.dumps({"dependencies": list(packages), "fixes": []})


CLEAN = {"name": "example", "version": "1.0", "vulns": []}
UNKNOWN = {"name": "example", "skip_reason": "Dependency not found"}


def test_a_known_vulnerability_fails_and_is_named_with_its_mending() -> None:
    bad = {"name": "other", "version": "2.0", "vulns": [{"id": "EXAMPLE-1", "fix_versions": ["2.1"], "aliases": []}]}
    status, lines = verdict(report(CLEAN, bad, UNKNOWN))
    assert status == 1
    assert lines == [
        "other 2.0: EXAMPLE-1, mended in 2.1",
        "2 of 3 packages looked up, 1 known vulnerabilities",
    ]


def test_none_known_passes() -> None:
    assert verdict(report(CLEAN)) == (0, ["1 of 1 packages looked up, 0 known vulnerabilities"])


def test_where_nobody_can_be_asked_it_was_not_run() -> None:
    assert verdict("") == (77, ["not run: no network"])
    assert verdict(report(UNKNOWN)) == (77, ["not run: no advisories are to be had from here"])
