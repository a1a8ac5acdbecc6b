"""Packages that were published once and are never made again: every later version must accept them as they are.

What each shows is in `fixtures/packages/README.md`; `values.json` has what a sceptic noted on the day.
"""

import hashlib
import importlib.util
import json
import re
import shlex
import subprocess
import sys
from itertools import product
from pathlib import Path

import pytest

from contest.rules.draw.commitment import short_form
from contest.rules.ruleset import SHIPPED, shipped, words
from judging.rules import workings
from reports.rules.package.archive import load, pack, unpack
from reports.rules.package.verify import UNPROVEN, verify
from tests.reports.forging import chain_again, changed_fields, read_rows, resum, seal_again, write_rows
from tests.rewording import reword_everything

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "fixtures/packages"
CHECKER = ROOT / "reports/rules/package/check.py"
VALUES = json.loads((FOLDER / "values.json").read_text(encoding="utf-8"))

# The bytes of the files. A package that no longer passes is a defect of the program, never of the file.
SHA256 = {
    "eventful": "188263ae79ef40f22992fac61823590edf48f063a2596ff6ce22d39aef5bb96c",
    "four-criteria": "ca8c1937fed3e0cb133d19bd3bc30e0aacafe535b81df6a1c28a1b74d5c2449b",
    "liking-scale": "94397190fd46424dd88020fe4137a9dba325afccf7762f58c7baa476821a46d2",
    "plain-points": "3162dda849de568ebbaa3dbef1ff1c1ffcb035173546c137b6ae31c72d797725",
    "taste-double": "56b89f2070edc2a2acb4b95dffeae1708b764cb4cf18f2f2c290b9ccb115d421",
    "trimmed-panel": "65276820a4c8709e752c8a152534b70306b7dd0b1ee630d0167cc78a8ad09b6d",
    "uneven-weights": "9cc998f2af336b45fad83df84bbee62051dde83512c2f4f3e1a2f9414b4f581d",
}
NAMES = sorted(SHA256)
OPTIONS = ("draw", "log", "sum")


@pytest.fixture(scope="module")
def packages():
    return {name: unpack((FOLDER / f"{name}.zip").read_bytes()) for name in NAMES}


def noted(name):
    """The values of the day by the option that takes them."""
    values = VALUES[name]
    return {"draw": values["draw"], "log": values["day"], "sum": values["sum"]}


def failing(files, **values):
    return [finding.text for finding in verify(files, **values) if not finding.holds]


def wrong(full):
    return f"{(int(full[0], 16) + 1) % 16:x}{full[1:]}"


# The files themselves


def test_golden_files_are_those_that_were_published():
    assert {name: hashlib.sha256((FOLDER / f"{name}.zip").read_bytes()).hexdigest() for name in NAMES} == SHA256
    assert {path.name for path in FOLDER.iterdir()} == {f"{name}.zip" for name in NAMES} | {"README.md", "values.json"}
    assert set(VALUES) == set(NAMES)


def test_each_shipped_rule_set_has_a_package(packages):
    assert set(NAMES) == {*SHIPPED, "eventful"}
    for key, rules in shipped().items():
        assert VALUES[key]["rules"] == rules.name
        assert f'name = "{rules.name}"' in packages[key]["rules/contest.toml"].decode()


def test_golden_packages_show_what_they_are_kept_for(packages):
    """Every kind of log row and of outcome that the format names is in one of them."""
    day = "".join(files["log-day.csv"].decode() for files in packages.values())
    cards = "".join(files["log-cards.csv"].decode() for files in packages.values())
    results = "".join(files["results.csv"].decode() for files in packages.values())
    turnins = "".join(files["turnins.csv"].decode() for files in packages.values())
    for what in ("secret of the draw made", "boxes drawn", "box recorded", "box undone", "rest came in on time",
                 "labels corrected", "name corrected", "category cancelled", "late team entered", "tables changed",
                 "seal opened", "one person declared", "tally closed", "tally revised",
                 "result published"):  # fmt: skip
        assert f",{what}," in day, what
    for what in ("card handed in", "card corrected", "card keyed again", "ruling", "ruling withdrawn"):
        assert f",{what}," in cards, what
    for kind in ("penalty", "disqualification", "lost", "dismissal"):
        assert f'""kind"":""{kind}""' in cards, kind
    for status in ("accepted", "late", "absent", "refused", "disqualified"):
        assert f",{status}," in turnins, status
    for code in ("lowest:", "highest:", "median_distance:", "lot=", "highest_card=", "dropped_cards=", ",no\n"):
        assert code in results, code
    eventful = packages["eventful"]
    facts = json.loads(eventful["contest.json"])
    assert (facts["revision"], facts["seal_opened"] is None) == (2, False)
    assert [row["key"] for row in facts["categories"] if row["cancelled"]] == ["dessert"]
    assert "public-2.txt" in eventful
    assert b"word\t" in eventful["public.txt"]
    assert b"\nforbid\t" in eventful["draw.txt"]
    assert b'needs = "all_entered"' in eventful["rules/contest.toml"]


# They pass


@pytest.mark.parametrize("name", NAMES)
def test_golden_package_passes_verify_with_every_value(packages, name):
    files, values = packages[name], VALUES[name]
    given = [("draw", values["draw"]), ("whole", values["sum"])]
    given += [("log", values[head]) for head in ("day", "cards", "earlier")]
    for option, full in given:
        for typed in (full, short_form(full), short_form(full, "-").upper()):
            assert failing(files, **{option: typed}) == []
        for typed in (wrong(full), short_form(wrong(full))):
            assert len(failing(files, **{option: typed})) == 1
    assert failing(files, draw=values["draw"], log=values["day"], whole=values["sum"]) == []
    assert failing(files) == []


def run(*command, cwd=ROOT):
    done = subprocess.run([sys.executable, *command], capture_output=True, encoding="utf-8", cwd=cwd)
    assert done.stderr == ""
    return done.returncode, done.stdout


@pytest.mark.parametrize("program", ["its own check.py", "this check.py", "verify"])
@pytest.mark.parametrize("name", NAMES)
def test_golden_package_passes_the_program(packages, tmp_path, name, program):
    path = FOLDER / f"{name}.zip"
    (tmp_path / "check.py").write_bytes(packages[name]["check.py"])
    start = {
        "its own check.py": ["-I", tmp_path / "check.py", path],
        "this check.py": ["-I", CHECKER, path],
        "verify": [ROOT / "manage.py", "verify", path],
    }[program]
    values = noted(name)
    choices = [{option: values[option]} for option in OPTIONS] + [values]
    for choice, form in product(choices, (str, short_form)):
        typed = [part for option, full in choice.items() for part in (f"--{option}", form(full))]
        status, out = run(*start, *typed)
        assert (status, "FAILS" in out) == (0, False), out
    for option in OPTIONS:
        status, out = run(*start, f"--{option}", short_form(wrong(values[option])))
        assert (status, out.count("FAILS")) == (1, 1), out


@pytest.mark.parametrize("name", NAMES)
def test_golden_package_passes_as_a_folder(packages, tmp_path, name):
    """In the folder that it was unpacked to, check.py needs no path."""
    for file, data in packages[name].items():
        (tmp_path / file).parent.mkdir(exist_ok=True)
        (tmp_path / file).write_bytes(data)
    assert load(tmp_path) == packages[name]
    status, out = run("-I", "check.py", "--sum", VALUES[name]["sum"], cwd=tmp_path)
    assert (status, "FAILS" in out) == (0, False), out


def test_without_a_value_one_plain_sentence_says_what_is_open():
    path = FOLDER / "taste-double.zip"
    status, out = run(ROOT / "manage.py", "verify", path)
    assert (status, out.count("note ")) == (0, 1)
    assert out.endswith(f"note   {UNPROVEN}\n")
    status, out = run("-I", CHECKER, path)
    assert (status, out.count("Only a value noted on the day")) == (0, 1)


# They can be worked out by hand


@pytest.mark.parametrize("name", NAMES)
def test_read_me_commands_give_the_results(packages, tmp_path, name):
    """The lines under “By hand”, typed as they are: the shell's sums, then the open command `tally`."""
    files, values = packages[name], VALUES[name]
    for file, data in files.items():
        (tmp_path / file).parent.mkdir(exist_ok=True)
        (tmp_path / file).write_bytes(data)
    text = files["READ-ME.txt"].decode().partition("By hand:\n")[2].replace(" \\\n", " ")
    lines = dict(re.findall(r"^  the (\w.*?): +(\S.*)$", text, re.MULTILINE))
    sums = {what: _shell(line, tmp_path).split()[0] for what, line in lines.items() if "sha256sum" in line}
    commitment, seed = sums["draw's commitment"], sums["draw's seed"]
    assert (sums["sum of this package"], sums["draw's fingerprint"]) == (values["sum"], values["draw"])
    assert f"commitment\t{commitment}\n" in files["public.txt"].decode()
    assert f"seed\t{seed}\n" in files["draw.txt"].decode()
    (tally,) = re.findall(r"^ +manage\.py (tally .*)$", text, re.MULTILINE)
    arguments = shlex.split(tally.replace("SEED", seed))
    done = subprocess.run([sys.executable, ROOT / "manage.py", *arguments], capture_output=True, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (0, files["results.csv"])


def _shell(line, folder):
    return subprocess.run(line, shell=True, capture_output=True, text=True, cwd=folder, check=True).stdout


# No sentence has a say


def test_rewording_every_sentence_leaves_them_valid(packages, monkeypatch):
    rules = shipped()["taste-double"]
    before = words.in_words(rules), workings.tie_break_text(rules.tie_breaks[0], rules)
    reword_everything(monkeypatch)
    after = words.in_words(rules), workings.tie_break_text(rules.tie_breaks[0], rules)
    assert not {*map(str, before)} & {*map(str, after)}, "the sentences did change"
    for name, files in packages.items():
        assert failing(files, draw=VALUES[name]["draw"], log=VALUES[name]["day"], whole=VALUES[name]["sum"]) == []


# Forgeries


@pytest.fixture(scope="module")
def checker():
    """check.py as a module; it is not imported by the name that the project knows it by."""
    spec = importlib.util.spec_from_file_location("golden_checker", CHECKER)
    module = importlib.util.module_from_spec(spec)
    sys.modules["golden_checker"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    yield module
    del sys.modules["golden_checker"]


# What verify checks and check.py says it does not (FORMAT.txt, part 7): 8, 10, and labels.csv against the log.
MORE = re.compile(
    r"The (scores|scoring data|owners of the boxes): |Box .*: the status is|\d+ cards are not|The scoring data is not"
    r"|labels\.csv is not|Drawn again|contest\.json (does not )?say|The log says that one person"
)


def verdicts(checker, files, path, **values):
    """Whether each program accepts the files: verify by what check.py checks too, verify by all, and check.py."""
    complaints = failing(files, **{"whole" if name == "sum" else name: full for name, full in values.items()})
    path.write_bytes(pack(files))
    shared = [text for text in complaints if not MORE.match(text)]
    return not shared, not complaints, all(holds for holds, _ in checker.check(path, values))


@pytest.mark.parametrize("name", ["eventful", "taste-double"])
@pytest.mark.parametrize("forge", [resum, seal_again])
def test_verify_and_check_py_agree_on_each_forgery(checker, packages, tmp_path, name, forge):
    """One field changed, then the sums rebuilt, or the chains and the publishing row too.

    With the day's values none passes, and with only the sums rebuilt none passes at all.
    """
    forgeries = [(where, forge(files)) for where, files in changed_fields(packages[name])]
    forgeries = [(where, files) for where, files in forgeries if files != packages[name]]
    assert len(forgeries) > 100
    values, path = noted(name), tmp_path / "package.zip"
    unequal, accepted = [], []
    for where, files in forgeries:
        shared, whole, other = verdicts(checker, files, path)
        if shared != other:
            unequal.append((where, failing(files), [text for holds, text in checker.check(path, {}) if not holds]))
        if any(verdicts(checker, files, path, **values)):
            accepted.append(where)
        if forge is resum and (whole or other):
            accepted.append(f"{where}, without a value")
    assert unequal == []
    assert accepted == []


def test_unknown_format_is_refused_by_name(checker, packages, tmp_path):
    files = dict(packages["plain-points"])
    facts = json.loads(files["contest.json"])
    files["contest.json"] = json.dumps({**facts, "format": "fairbox-package-7"}).encode()
    (text,) = failing(seal_again(files))
    assert text == "This package is of format fairbox-package-7; this program reads fairbox-package-2."
    (tmp_path / "package.zip").write_bytes(pack(seal_again(files)))
    (text,) = [text for holds, text in checker.check(tmp_path / "package.zip", {}) if not holds]
    assert "this package is of format fairbox-package-7; this program reads fairbox-package-2" in text


def test_rows_and_members_of_a_later_version_change_nothing(checker, packages, tmp_path):
    """FORMAT.txt, part 9: log rows of other kinds, and members that are not named, are passed over."""
    files = dict(packages["eventful"])
    facts = json.loads(files["contest.json"])
    files["contest.json"] = json.dumps({**facts, "weather": "rain"}).encode()
    for log in ("log-day.csv", "log-cards.csv"):
        header, *rows = read_rows(files[log])
        rows.insert(5, ["", rows[5][1], "box weighed", '{"box":"101","grams":812,"status":"light"}', "", ""])
        rows[2][3] = json.dumps({**json.loads(rows[2][3]), "later": 1})
        files[log] = chain_again(write_rows([header, *rows]))
    later = seal_again(files)
    assert failing(later) == []
    (tmp_path / "package.zip").write_bytes(pack(later))
    assert [text for holds, text in checker.check(tmp_path / "package.zip", {}) if not holds] == []
