"""check.py, which every results package carries: it needs nothing, agrees with the engine, and finds forgeries.

The package of these tests is written by hand from `reports/rules/package/FORMAT.txt`, without the project's code.
"""

import ast
import csv
import hashlib
import importlib.util
import io
import json
import random
import subprocess
import sys
import zipfile
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from scipy import stats

from contest.rules.ruleset import RuleSetError, from_document, to_toml
from judging.rules.tally import Box, Card, tally, to_json
from judging.rules.tally_csv import result_csv

ROOT = Path(__file__).resolve().parents[3]
CHECKER = ROOT / "reports/rules/package/check.py"


@pytest.fixture(scope="module")
def checker():
    """The program as a module; it is not imported by the name that the project knows it by."""
    spec = importlib.util.spec_from_file_location("checker", CHECKER)
    module = importlib.util.module_from_spec(spec)
    sys.modules["checker"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    yield module
    del sys.modules["checker"]


# What it needs.


def test_checker_imports_only_the_standard_library():
    tree = ast.parse(CHECKER.read_text())
    names = [alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names]
    names += [node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    roots = {name.partition(".")[0] for name in names}
    assert roots
    assert roots <= sys.stdlib_module_names
    assert not roots & {"socket", "ssl", "urllib", "http", "ftplib", "asyncio", "subprocess", "ctypes", "importlib"}


def test_checker_has_at_most_600_lines():
    assert len(CHECKER.read_text().splitlines()) <= 600


def test_checker_runs_in_an_empty_environment(tmp_path, folder):
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", tmp_path / "venv"], check=True)
    python = tmp_path / "venv/bin/python"
    listed = subprocess.run([python, "-c", "import numpy"], capture_output=True)
    assert listed.returncode == 1, "the environment is not empty"
    done = subprocess.run([python, folder / "check.py"], capture_output=True, encoding="utf-8", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "FAILS" not in done.stdout


# The tally.

CRITERIA = ("appearance", "taste", "tenderness", "impression")
DROPS = ("none", "lowest", "highest", "highest_and_lowest", "grubbs", "median_distance")
TIES = ("counted_criterion", "criterion", "dropped_cards", "highest_card", "lot")
STATUSES = ("accepted",) * 12 + ("late", "absent", "refused", "disqualified")


def random_document(rng, drop):
    """A rule set as a document; some are refused, and then another is made."""
    low, high, step = rng.choice([(1, 9, "1"), (2, 9, "1"), (1, 10, "0.5"), (0, 3, "1"), (-1, 1, "0.25")])
    keys = rng.sample(CRITERIA, rng.randint(1, 4))
    penalty = rng.choice([None, low - 1])
    scale = {"lowest": low, "highest": high, "step": step} | ({} if penalty is None else {"penalty": penalty})
    results = ["unranked", "penalty_marks"] if penalty is not None else ["unranked"]
    steps = [
        {"by": by, "criterion": rng.choice(keys)} if "criterion" in by else {"by": by}
        for by in rng.choices(TIES, k=rng.randint(0, 5))
    ]
    return {
        "name": "Random",
        "scale": scale,
        "criterion": [{"key": key, "weight": rng.choice(["1", "2", "1.5", "0.3", "0", "1.905"])} for key in keys],
        "cards": {"per_entry": rng.randint(1, 8), "fewest": rng.randint(1, 6)},
        "drop": {
            "rule": drop,
            "count": rng.randint(0, 3),
            "when_short": rng.choice(["keep", "drop"]),
            "alpha": rng.choice(["0.05", "0.01", "0.5"]),
            "limit": rng.choice(["3.5", "2", "0.7"]),
        },
        "total": {"of": rng.choice(["sum", "mean"]), "when_short": rng.choice(["scale", "scale", "as_is"])},
        "late": {"result": rng.choice(results)},
        "disqualified": {"result": rng.choice(results)},
        "tie_break": steps,
        "overall": {"needs": rng.choice(["all_judged", "all_entered", "any"])},
    }


def accepted_rules(rng, drop):
    for _ in range(1000):
        try:
            return from_document(random_document(rng, drop))
        except RuleSetError as error:
            refused = error  # weights all 0, a drop that leaves too few, and the like
    raise AssertionError(f"every document was refused, the last one: {refused}")


def random_marks(rng, rules):
    scale = rules.scale
    places = int((scale.highest - scale.lowest) / scale.step)
    # Near the top, as real marks are: ties and equal cards are common.
    marks = [scale.lowest + scale.step * max(0, places - abs(int(rng.gauss(0, places / 4)))) for _ in rules.criteria]
    if scale.penalty is not None and rng.random() < 0.05:
        marks[rng.randrange(len(marks))] = scale.penalty
    return tuple(marks)


def random_contest(rng):
    contest = accepted_rules(rng, rng.choice(DROPS))
    rules = {"chicken": contest, "ribs": contest}
    if rng.random() < 0.5:
        rules["dessert"] = accepted_rules(rng, rng.choice(DROPS))
    boxes = []
    for category, own in rules.items():
        for team in range(rng.randint(1, 9)):
            number = rng.choice([own.per_entry] * 3 + list(range(own.per_entry + 1)))
            marks = [random_marks(rng, own) for _ in range(number)]
            if (
                boxes and boxes[-1].category == category and rng.random() < 0.3
            ):  # a tie, whose cards come in another order
                marks = rng.sample([card.marks for card in boxes[-1].cards], len(boxes[-1].cards))
            cards = tuple(Card(str(seat), card) for seat, card in enumerate(marks, 1))
            boxes.append(Box(category, str(98 + team), str(team % 3), rng.choice(STATUSES), cards, f"Team {team}"))
    return contest, rules, boxes


def entries_of(checker, boxes, rules):
    """The boxes as the checker's own values."""
    entries = []
    for box in boxes:
        entry = checker.Entry(box.box, box.category, box.team)
        entry.status = box.status
        entry.cards = [
            rules[box.category].card([Fraction(Decimal(mark)) for mark in card.marks], card.seat) for card in box.cards
        ]
        entries.append(entry)
    return entries


@pytest.mark.parametrize("batch", range(8))
def test_checker_and_engine_agree_on_random_contests(checker, batch):
    rng = random.Random(f"contests {batch}")
    ranked = dropped = decided = 0
    for _ in range(50):
        contest, rules, boxes = random_contest(rng)
        counting = rng.sample(sorted(rules), rng.randint(1, len(rules)))
        engine = tally(rules, boxes, overall=counting, seed="words of the day", overall_rules=contest)
        own = {category: checker.read_rules(to_toml(rule_set)) for category, rule_set in rules.items()}
        entries = entries_of(checker, boxes, own)
        result = checker.tally(own, entries, counting, checker.read_rules(to_toml(contest)), "words of the day")
        assert json.loads(checker.result_json(result)) == to_json(engine)
        assert checker.result_csv(result) == result_csv(engine)
        ranked += sum(entry.rank is not None for entry in entries)
        dropped += sum(len(entry.gone) for entry in entries)
        decided += sum(entry.decided_by is not None for entry in entries)
    # The contests reached what they are meant to reach.
    assert ranked > 300
    assert dropped > 50
    assert decided > 50


@pytest.mark.parametrize("alpha", ["0.000001", "0.05", "0.5"])
def test_critical_values_agree_with_scipy(checker, alpha):
    # NIST/SEMATECH e-Handbook 1.3.5.17.1; the reference for Student's t is scipy.stats.
    for n in range(3, 101):
        t = stats.t.isf(float(alpha) / (2 * n), n - 2)
        reference = (n - 1) ** 2 / n * t * t / (n - 2 + t * t)
        # Half a unit of the twelfth digit is at most 5e-12 of the value; scipy's own error is far below.
        assert float(checker.critical_square(n, Fraction(alpha))) == pytest.approx(reference, rel=5.1e-12, abs=0)


@pytest.mark.parametrize("alpha", ["0.001", "0.05", "0.1", "0.5"])
def test_critical_value_of_four_cards_is_exact(checker, alpha):
    # With two degrees of freedom t has a closed form, by which the square is 9/4 (1 - alpha/4)².
    exact = Fraction(9, 4) * (1 - Fraction(alpha) / 4) ** 2
    assert checker.critical_square(4, Fraction(alpha)) == round(exact * 10**11) / Fraction(10**11)


# The package.


def sha(data):
    return hashlib.sha256(data.encode() if isinstance(data, str) else data).hexdigest()


def csv_text(header, rows):
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows([header.split(","), *rows])
    return out.getvalue()


RULES = """name = "Two cards"
[scale]
lowest = 1
highest = 9
[[criterion]]
key = "taste"
weight = "1"
[cards]
per_entry = 2
fewest = 1
[drop]
rule = "none"
"""
SECRET = "5e" * 32 + "\n"
UIDS = {number: f"00000000-0000-4000-8000-00000000000{number}" for number in (1, 2, 3)}
CORRECTED_NAMES = ("Smoke One", "Ash & Ember", "Low “n” Slow")
AT = "2026-06-13T12:00:00.000Z"


def entries_sum(*names):
    return sha("".join(f"{number}\t{UIDS[number]}\t{name}\n" for number, name in enumerate(names, 1)))


def categories_sum(*names):
    return sha("".join(f"{key}\t{name}\n" for key, name in zip(("chicken", "ribs", "pork"), names, strict=True)))


def chain_text(events):
    rows, before = [], "0" * 64
    for number, (what, facts) in enumerate(events, 1):
        text = facts if isinstance(facts, str) else json.dumps(facts, sort_keys=True, separators=(",", ":"))
        row = [str(number), AT, what, text, before]
        before = sha("\n".join(row))
        rows.append([*row, before])
    return csv_text("number,at,what,facts,previous,hash", rows)


def head_of(log):
    return log.decode().rstrip("\n").rpartition(",")[2]


def make_package(**changed):
    """A package of three teams: drawn twice, two names corrected, two labels swapped, pork cancelled.

    `changed` replaces parts before the sums, the log and the publishing row are made; so does `texts`, by file name.
    """
    names = changed.get("names", CORRECTED_NAMES)
    categories = changed.get("categories", ("Chicken", "Spare Ribs", "Pork"))
    commitment = sha(SECRET)
    words = changed.get("words", ["word\tapple tree", "word\tblue moon"])
    public = "\n".join([f"commitment\t{commitment}", "draw\t1", *words]) + "\n"
    reason = f"reason\t{changed.get('reason', 'a table was lost')}"
    public2 = "\n".join([f"commitment\t{commitment}", "draw\t2", reason, *words]) + "\n"
    seed = sha(SECRET + public2)
    boxes = [("chicken", "204", "1", "1", "1"), ("chicken", "207", "1", "2", "2"), ("chicken", "530", "1", "3", "3"),
             ("ribs", "311", "1", "2", "1"), ("ribs", "402", "1", "1", "2"),
             ("pork", "755", "1", "1", "3")]  # fmt: skip
    head = ["algorithm\tfairbox-draw-1", f"seed\t{seed}", "places\tany"]
    head += [f"tables\t{key}\t1" for key in ("chicken", "ribs", "pork")]
    head += ["used\t123 456", f"entries\t{entries_sum('Smoke One', 'Ash and Ember', 'Low “n” Slow')}"]
    head += [f"categories\t{categories_sum('Chicken', 'Ribs', 'Pork')}", "forbid\t3\t2"]
    draw = "\n".join([*head, *("\t".join(box) for box in boxes)]) + "\n"
    cards = [("chicken", "204", "1", "A", "8", "2"), ("chicken", "204", "1", "B", "9", "2"),
             ("chicken", "207", "1", "A", "7", "1"), ("chicken", "207", "1", "B", "7", "1"),
             ("ribs", "311", "1", "A", "6", "1"), ("ribs", "402", "1", "B", "5", "2")]  # fmt: skip
    turnins = [("chicken", "204", "accepted", "2"), ("chicken", "207", "accepted", "1"),
               ("chicken", "530", "absent", "3"), ("ribs", "311", "accepted", "1"),
               ("ribs", "402", "accepted", "2")]  # fmt: skip
    # By hand: 8 + 9; 7 + 7; a lone 6 scaled by two, a lone 5 scaled by two. Team 3 was absent throughout.
    results = [("chicken", "1", "204", "2", "17", "ranked", "", "A B", "", "", "", ""),
               ("chicken", "2", "207", "1", "14", "ranked", "", "A B", "", "", "", ""),
               ("chicken", "", "530", "3", "", "absent", "", "", "", "", "", ""),
               ("ribs", "1", "311", "1", "12", "ranked", "", "A", "", "", "", ""),
               ("ribs", "2", "402", "2", "10", "ranked", "", "B", "", "", "", ""),
               ("overall", "1", "", "2", "27", "", "", "", "", "", "", "yes"),
               ("overall", "2", "", "1", "26", "", "", "", "", "", "", "yes")]  # fmt: skip
    contest = {
        "format": "fairbox-package-2",
        "uid": "00000000-0000-4000-8000-0000000000aa",
        "name": "Mill Pond Smoke",
        "place": "Mill Pond",
        "date": "2026-06-13",
        "time_zone": "UTC",
        "one_person": False,
        "seal_opened": None,
        "revision": 1,
        "reason": "",
        "categories": [
            {"key": key, "name": name, "turn_in_at": "2026-06-13T12:00:00+00:00", "counts": key != "pork",
             "cancelled": key == "pork"}
            for key, name in zip(("chicken", "ribs", "pork"), categories, strict=True)
        ],
        "teams": [{"number": n, "uid": UIDS[n], "name": name} for n, name in enumerate(names, 1)],
    }  # fmt: skip
    contest |= changed.get("contest", {})
    fixed = dict.fromkeys(("contest", "chicken", "ribs", "pork"), sha(RULES))
    drawn = {"commitment": commitment, "boxes": 6, "quality": {}, "rules": fixed}
    renamed = {"from": "Ash and Ember", "to": "Ash & Ember"}
    ribs = {"category": "ribs", "from": "Ribs", "to": "Spare Ribs"}
    events = [
        ("secret of the draw made", {"commitment": commitment}),
        ("boxes drawn", {**drawn, "draw": 1, "fingerprint": "0" * 64}),
        ("boxes drawn", {**drawn, "draw": 2, "fingerprint": sha(draw), "reason": "a table was lost"}),
        ("name corrected", {"entry": 2, **renamed, "entries": entries_sum(*CORRECTED_NAMES)}),
        ("labels corrected", {"category": "chicken", "boxes": ["204", "207"], "reason": "wrong lid"}),
        ("name corrected", {**ribs, "categories": categories_sum("Chicken", "Spare Ribs", "Pork")}),
        ("tally closed", {"revision": 1, "inputs": "1" * 64, "reason": ""}),
    ]
    texts = {
        "contest.json": json.dumps(contest, ensure_ascii=False, indent=1) + "\n",
        **{f"rules/{key}.toml": RULES for key in ("contest", "chicken", "ribs")},
        "cards.csv": csv_text("category,box,table,seat,taste,team", cards),
        "turnins.csv": csv_text("category,box,status,team", turnins),
        "labels.csv": csv_text("number,one,other,reason", [("1", "204", "207", "wrong lid")]),
        "secret.txt": SECRET,
        "public.txt": public,
        "public-2.txt": public2,
        "draw.txt": draw,
        "log-cards.csv": chain_text([("marks locked", {}), ("tally closed", {"revision": 1})]),
        "results.csv": csv_text(
            "category,rank,box,team,total,status,decided_by,counted,dropped,why,ties,eligible", results
        ),
        "READ-ME.txt": "Read me.\n",
        "FORMAT.txt": "The format.\n",
        "check.py": CHECKER.read_text(),
    }
    texts |= changed.get("texts", {})
    return publish({name: text.encode() for name, text in texts.items() if text is not None}, events)


def publish(files, events):
    """The files with the row that publishes, and their sums."""
    facts = {"revision": 1, "inputs": "1" * 64, "files": {name: sha(data) for name, data in files.items()}}
    return resum({**files, "log-day.csv": chain_text([*events, ("result published", facts)]).encode()})


def resum(files):
    sums = {name: sha(data) for name, data in files.items() if name != "SHA256SUMS"}
    return {**files, "SHA256SUMS": "".join(f"{sums[name]}  {name}\n" for name in sorted(sums)).encode()}


def write_zip(path, files, *more):
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in [*files.items(), *more]:
            archive.writestr(name, data)
    return path


def write_folder(path, files):
    for name, data in files.items():
        (path / name).parent.mkdir(parents=True, exist_ok=True)
        (path / name).write_bytes(data)
    return path


@pytest.fixture
def folder(tmp_path):
    return write_folder(tmp_path / "package", make_package())


def failures(checker, path, **noted):
    return [text for holds, text in checker.check(path, noted) if not holds]


def run(*arguments):
    done = subprocess.run([sys.executable, "-I", CHECKER, *arguments], capture_output=True, encoding="utf-8")
    return done.returncode, done.stdout, done.stderr


def test_valid_package_holds_as_zip_and_as_folder(tmp_path, folder):
    files = make_package()
    zipped = write_zip(tmp_path / "package.zip", files)
    for path in (zipped, folder):
        status, out, err = run(path)
        assert (status, err) == (0, "")
        assert "FAILS" not in out
        assert "Only a value noted on the day" in out
        assert "names corrected since: 1" in out


def test_values_of_the_day_hold_long_and_short(tmp_path):
    files = make_package()
    path = write_zip(tmp_path / "package.zip", files)
    values = {"draw": sha(files["draw.txt"]), "log": head_of(files["log-day.csv"]), "sum": sha(files["SHA256SUMS"])}
    for name, value in values.items():
        short = "-".join(value[place : place + 4] for place in range(0, 20, 4))
        for noted in (value, short, short.replace("-", " ").upper()):
            status, out, _ = run(path, f"--{name}", noted)
            assert (status, "Only a value noted on the day" in out) == (0, False)
        other = ("f" if value[0] != "f" else "0") + value[1:20]
        assert run(path, f"--{name}", other)[0] == 1


@pytest.mark.parametrize("noted", ["", "a1b2", "a1b2 c3d4 e5f6 0718 293", "g" * 20, "a" * 63])
def test_value_of_another_length_is_wrong_usage(tmp_path, noted):
    status, out, err = run(write_zip(tmp_path / "package.zip", make_package()), "--draw", noted)
    assert (status, out) == (2, "")
    assert "64 hex digits" in err


def test_missing_path_is_wrong_usage(tmp_path):
    assert run(tmp_path / "nothing.zip")[:2] == (2, "")


def test_unreadable_zip_fails(tmp_path):
    (tmp_path / "broken.zip").write_bytes(b"not a zip")
    status, out, err = run(tmp_path / "broken.zip")
    assert (status, out.startswith("FAILS"), err) == (1, True, "")


def test_unknown_format_is_named(checker, tmp_path):
    path = write_zip(tmp_path / "package.zip", make_package(contest={"format": "fairbox-package-9"}))
    (failure,) = failures(checker, path)
    assert "this package is of format fairbox-package-9; this program reads fairbox-package-2" in failure


def test_changed_byte_of_any_file_fails(checker, tmp_path):
    files = make_package()
    for name, data in files.items():
        for place in sorted({0, len(data) // 2, len(data) - 1}):
            changed = bytearray(data)
            changed[place] ^= 1
            path = write_zip(tmp_path / "package.zip", {**files, name: bytes(changed)})
            assert failures(checker, path), f"{name} byte {place}"


def test_changed_byte_fails_with_fresh_sums_too(checker, tmp_path):
    files = make_package()
    for name, data in files.items():
        if name == "SHA256SUMS":
            continue
        for place in sorted({0, len(data) // 2, len(data) - 1}):
            changed = bytearray(data)
            changed[place] ^= 1
            path = write_zip(tmp_path / "package.zip", resum({**files, name: bytes(changed)}))
            assert failures(checker, path), f"{name} byte {place}"


def test_missing_file_fails(checker, tmp_path):
    files = make_package()
    for name in files:
        rest = {other: data for other, data in files.items() if other != name}
        assert failures(checker, write_zip(tmp_path / "package.zip", rest)), name
        assert failures(checker, write_zip(tmp_path / "package.zip", resum(rest))) or name == "SHA256SUMS", name


def test_added_file_fails_however_it_is_listed(checker, tmp_path):
    files = make_package()
    for name in ("notes.txt", "rules/pork.toml", "rules/", "public-4.txt", ".hidden"):
        if not name.endswith("/"):
            assert failures(checker, write_zip(tmp_path / "one.zip", {**files, name: b"x"})), name
            assert failures(checker, write_zip(tmp_path / "two.zip", resum({**files, name: b"x"}))), name
    assert failures(checker, write_zip(tmp_path / "three.zip", make_package(texts={"notes.txt": "listed everywhere"})))


def test_stray_file_in_a_folder_fails_and_an_empty_folder_does_not(checker, folder):
    (folder / "empty/deeper").mkdir(parents=True)
    assert failures(checker, folder) == []
    (folder / "empty/deeper/stray.txt").write_text("x")
    assert failures(checker, folder)


@pytest.mark.filterwarnings("ignore:Duplicate name:UserWarning")
def test_file_that_is_twice_in_the_zip_fails(checker, tmp_path):
    files = make_package()
    path = write_zip(tmp_path / "package.zip", files, ("READ-ME.txt", files["READ-ME.txt"]))
    assert failures(checker, path) == ["No file is in the package twice."]


# Forgeries that rebuild every sum, the row that publishes included: the package does not agree with itself.
SWAPPED_NAMES = ("Ash & Ember", "Smoke One", "Low “n” Slow")
SAME_UID = [{"number": number, "uid": UIDS[1], "name": name} for number, name in enumerate(CORRECTED_NAMES, 1)]
FORGED = {
    "names of two teams swapped": ({"names": SWAPPED_NAMES}, "list of entries"),
    "a team's uid changed": ({"contest": {"teams": SAME_UID}}, "list of entries"),
    "names of two categories swapped": ({"categories": ("Spare Ribs", "Chicken", "Pork")}, "list of categories"),
    "another first public text": ({"texts": {"public.txt": "draw\t1\n"}}, "commitment"),
    "words out of order": ({"words": ["word\tblue moon", "word\tapple tree"]}, "commitment"),
    "another reason of the redraw": ({"reason": "a team came late"}, "commitment"),
    "another secret": ({"texts": {"secret.txt": "5f" * 32 + "\n"}}, "commitment"),
    "another rule set": ({"texts": {"rules/ribs.toml": RULES.replace("per_entry = 2", "per_entry = 3")}}, "rule sets"),
    "a label correction left out": ({"texts": {"labels.csv": "number,one,other,reason\n"}}, "team and the table"),
    "a redraw kept quiet": ({"texts": {"public-2.txt": None}}, "commitment"),
    "another revision": ({"contest": {"revision": 2}}, "publishes"),
}  # fmt: skip


@pytest.mark.parametrize("forgery", FORGED)
def test_forgery_with_every_sum_rebuilt_fails(checker, tmp_path, forgery):
    changed, expected = FORGED[forgery]
    texts = failures(checker, write_zip(tmp_path / "package.zip", make_package(**changed)))
    assert [text for text in texts if expected in text]


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("results.csv", "chicken,1,204,2,17", "chicken,1,204,2,18"),
        ("results.csv", "A B", "B A"),
        ("cards.csv", "204,1,A,8", "204,1,A,9"),
        ("cards.csv", "207,1,A,7", "207,2,A,7"),
        ("turnins.csv", "530,absent", "530,late"),
        ("turnins.csv", "311,accepted,1", "311,accepted,2"),
    ],
)
def test_changed_figure_with_every_sum_rebuilt_fails(checker, tmp_path, name, old, new):
    text = make_package()[name].decode()
    assert old in text
    path = write_zip(tmp_path / "package.zip", make_package(texts={name: text.replace(old, new, 1)}))
    assert failures(checker, path)


def test_replaced_package_fails_only_by_a_value_of_the_day(checker, tmp_path):
    files, other = make_package(), make_package(contest={"place": "Elsewhere", "one_person": True})
    path = write_zip(tmp_path / "package.zip", other)
    assert failures(checker, path) == []
    assert failures(checker, path, log=head_of(files["log-day.csv"]))
    assert failures(checker, path, sum=sha(files["SHA256SUMS"])[:20])
    assert failures(checker, path, draw=sha(files["draw.txt"])) == []


def test_log_without_a_row_or_with_another_order_fails(checker, tmp_path):
    files = make_package()
    header, *rows = files["log-day.csv"].decode().splitlines()
    for lines in ([header, *rows[1:]], [header, rows[1], rows[0], *rows[2:]], [header, *rows[:-1]], [header]):
        log = ("\n".join(lines) + "\n").encode()
        assert failures(checker, write_zip(tmp_path / "package.zip", resum({**files, "log-day.csv": log})))


def test_name_corrected_without_its_row_fails(checker, tmp_path):
    path = write_zip(tmp_path / "package.zip", make_package(names=("Smoke 1", "Ash & Ember", "Low “n” Slow")))
    assert [text for text in failures(checker, path) if "list of entries" in text]
