"""The vectors of `fixtures/tally-vectors`, run through the engine, the open command and the package's check.py.

Their source is `judging/rules/TALLY.txt`; what each one shows is in the folder's README.
"""

import json
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from contest.rules.csvfile import load
from contest.rules.ruleset import parse
from judging.rules.contest_files import TURNIN_COLUMNS, ContestFiles, card_columns
from judging.rules.tally import tally, to_json
from judging.tally_cli import main, parser

ROOT = Path(__file__).resolve().parents[3]
VECTORS = sorted(path for path in (ROOT / "fixtures/tally-vectors").iterdir() if path.is_dir())
CHECKER = ROOT / "reports/rules/package/check.py"


def arguments_of(vector):
    return ["cards.csv", "--rules", "rules.toml", *shlex.split((vector / "args").read_text())]


def expected_of(vector):
    return json.loads((vector / "expected.json").read_text())


@pytest.fixture(params=VECTORS, ids=lambda path: path.name)
def vector(request, monkeypatch):
    monkeypatch.chdir(request.param)
    return request.param


def tally_in_process(vector):
    """The engine's own functions on the vector's files, without the command around them."""
    options = parser().parse_args(arguments_of(vector))
    contest = parse(Path(options.rules).read_text())
    own = {item.partition("=")[0]: parse(Path(item.partition("=")[2]).read_text()) for item in options.rules_for}
    counting = options.overall.split(",") if options.overall else ()
    files = ContestFiles(contest, own, counting)
    files.add_cards(load(options.cards, card_columns(own, contest), ("team",)))
    if options.turnins:
        files.add_turnins(load(options.turnins, TURNIN_COLUMNS, ("team",)))
    boxes = files.boxes()
    all_categories = files.categories if files.has_teams else None
    return tally(
        {category: files.rules(category) for category in files.categories},
        boxes,
        overall=counting or all_categories,
        seed=options.seed,
        overall_rules=contest,
    )


def test_engine_gives_the_expected_result(vector):
    expected = expected_of(vector)
    if "refused" in expected:
        with pytest.raises(ValueError):
            tally_in_process(vector)
    else:
        assert to_json(tally_in_process(vector)) == expected


def test_command_prints_the_expected_result(vector, capsys):
    status = main(arguments_of(vector))
    check_printed(expected_of(vector), status, *capsys.readouterr(), (vector / "expected.json").read_text())


def test_checker_prints_the_expected_result(vector):
    done = subprocess.run(
        [sys.executable, "-I", CHECKER, "--tally", *arguments_of(vector)], capture_output=True, encoding="utf-8"
    )
    check_printed(
        expected_of(vector), done.returncode, done.stdout, done.stderr, (vector / "expected.json").read_text()
    )


def check_printed(expected, status, out, err, text):
    if "refused" in expected:
        assert (status, out) == (2, "")
        assert [word for word in expected["refused"] if word not in err] == []
    else:
        assert (status, out) == (0, text)


def test_every_vector_is_listed_in_the_readme():
    listed = [line.split("|")[1].strip() for line in (ROOT / "fixtures/tally-vectors/README.md").read_text().split("\n")
              if line.startswith("| ") and not line.startswith(("| Vector", "| ---"))]  # fmt: skip
    assert listed == [path.name for path in VECTORS]
