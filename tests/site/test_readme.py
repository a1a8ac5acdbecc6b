"""The README's commands and links are what the repository holds."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

from django.conf import settings

ROOT = Path(settings.BASE_DIR)
README = (ROOT / "README.md").read_text()


def indented(starts: str) -> str:
    """The one command line of the README that starts so."""
    (found,) = [line.strip() for line in README.splitlines() if line.startswith(f"    {starts}")]
    return found


def test_the_tally_example_runs_and_says_what_the_cards_say() -> None:
    """By hand, weights 1, 2 and 1.5, the lowest of six cards dropped. Chicken 850: cards A to F weigh 25.5, 32.5, 31.5,
    37, 31.5 and 34.5; without the lowest 167. Ribs 346 came with five cards, which all count: 30 + 28 + 3 x 31.5."""
    program, *arguments = shlex.split(indented(".venv/bin/python manage.py tally fixtures"))
    assert program == ".venv/bin/python"
    answer = subprocess.run([sys.executable, *arguments], cwd=ROOT, capture_output=True, text=True)
    assert answer.returncode == 0, answer.stderr
    lines = answer.stdout.splitlines()
    assert lines[0] == "category,rank,box,team,total,status,decided_by,counted,dropped,why,ties,eligible"
    assert lines[1].startswith("chicken,1,850,3,167,ranked,")
    assert [line.split(",")[4] for line in lines if line.startswith("ribs,2,346,")] == ["152.5"]
    assert "ribs,,602,4,,late,,,,,," in lines


def test_the_test_command_is_one_line_between_its_markers() -> None:
    between = re.search(r"<!-- test command -->\n(.*?)\n<!-- end -->", README, re.S).group(1)
    assert between.strip() == "bash .ci/test"
    assert (ROOT / ".ci/test").exists()


def test_the_demo_command_is_a_single_line() -> None:
    line = indented("apt-get update")
    assert line.endswith(".venv/bin/python manage.py demo")
    assert (ROOT / ".ci/constraints.txt").exists()


def test_readme_has_at_most_130_lines() -> None:
    assert len(README.splitlines()) <= 130


def test_links_lead_to_files() -> None:
    for name in ("README.md", "DEVELOPERS.md"):
        for target in re.findall(r"\]\(([^)#]+)\)", (ROOT / name).read_text()):
            assert "://" in target or (ROOT / target).exists(), f"{name}: {target}"


def test_links_with_anchors_and_pictures_lead_somewhere() -> None:
    anchored = re.findall(r"\]\(([^)#]+)#([^)]+)\)", README)
    assert anchored
    for target, anchor in anchored:
        headings = re.findall(r"^## (.*)$", (ROOT / target).read_text(), re.M)
        assert anchor in [heading.lower().replace(",", "").replace(" ", "-") for heading in headings], anchor
    pictures = re.findall(r'src(?:set)?="([^"]+)"', README)
    assert len(pictures) == 2
    assert [name for name in pictures if not (ROOT / name).exists()] == []


def test_constraints_name_no_host_and_fit_what_is_installed() -> None:
    """Each line is `name==version`; this environment has just those."""
    from importlib.metadata import version

    lines = [line for line in (ROOT / ".ci/constraints.txt").read_text().splitlines() if not line.startswith("#")]
    wrong = [line for line in lines if not re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.]+", line)]
    assert wrong == []
    assert len(lines) >= 40
    assert [line for line in lines if version(line.partition("==")[0]) != line.partition("==")[2]] == []
