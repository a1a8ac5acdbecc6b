"""The walk through OWASP ASVS 5.0 in DEVELOPERS.md: whole, and every test that it names is there."""

import ast
import re
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.auth.hashers import PBKDF2PasswordHasher

#: Sections of each chapter of the OWASP Application Security Verification Standard 5.0.0 (May 2025).
SECTIONS = {
    1: 5, 2: 4, 3: 7, 4: 4, 5: 4, 6: 8, 7: 6, 8: 4, 9: 2, 10: 7, 11: 7, 12: 3, 13: 4, 14: 3, 15: 4, 16: 5, 17: 3,
}  # fmt: skip


def table() -> list[tuple[str, str, str]]:
    text = (settings.BASE_DIR / "DEVELOPERS.md").read_text()
    return re.findall(r"^\| (V\d+\.\d+[^|]*) \|([^|]*)\|([^|]*)\|$", text, re.M)


def sections(name: str) -> list[tuple[int, int]]:
    """`V1.2 …` is one, `V10.1–V10.7 …` are seven."""
    chapter, first = map(int, re.match(r"V(\d+)\.(\d+)", name).groups())
    last = re.match(r"V\d+\.\d+–V\d+\.(\d+)", name)
    return [(chapter, number) for number in range(first, int(last[1]) + 1 if last else first + 1)]


def test_every_section_of_the_standard_is_walked_through_once() -> None:
    walked = [section for name, _, _ in table() for section in sections(name)]
    wanted = [(chapter, number) for chapter, count in SECTIONS.items() for number in range(1, count + 1)]
    assert walked == wanted


def test_every_section_names_a_test_or_a_reason() -> None:
    assert [name for name, _, last in table() if "::" not in last and len(last.partition("–")[2].strip()) < 5] == []


def functions(path: Path) -> set[str]:
    return {node.name for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.FunctionDef)}


def test_every_test_that_is_named_is_there() -> None:
    named = {found for _, _, last in table() for found in re.findall(r"`([\w/]+\.py)::(\w+)`", last)}
    assert len(named) > 60
    there = {path: functions(settings.BASE_DIR / "tests" / path) for path in {path for path, _ in named}}
    assert sorted(f"{path}::{name}" for path, name in named if name not in there[path]) == []


def test_passwords_are_stored_by_a_slow_hash() -> None:
    """600,000 rounds of PBKDF2-HMAC-SHA256 at least: OWASP Password Storage Cheat Sheet, 2023 and later."""
    assert PBKDF2PasswordHasher.algorithm == "pbkdf2_sha256"
    assert PBKDF2PasswordHasher.iterations >= 600_000
    assert PBKDF2PasswordHasher().encode("seven-larks", "salt").startswith("pbkdf2_sha256$")
    from contest.config import settings as own

    assert not hasattr(own, "PASSWORD_HASHERS")  # Django's own order, PBKDF2 first; only tests hash quickly


def test_the_example_proxy_takes_present_tls_alone() -> None:
    text = (settings.BASE_DIR / "fixtures/nginx.conf").read_text()
    assert re.search(r"^\s*ssl_protocols TLSv1\.2 TLSv1\.3;$", text, re.M)


@pytest.mark.parametrize("word", ["BEGIN PRIVATE", "SECRET_KEY =", "password ="])
def test_no_secret_is_kept_in_the_settings(word: str) -> None:
    text = (settings.BASE_DIR / "contest/config/settings.py").read_text()
    found = [line for line in text.splitlines() if word in line]
    assert all("os.environ" in line for line in found)
