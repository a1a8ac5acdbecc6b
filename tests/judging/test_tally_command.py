"""The open command ``tally``, run as people run it."""
# ruff: noqa: E501 - a complaint is one line, and is shown as one

import csv
import io
import json
import os
import random
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from contest.rules.ruleset import from_document, parse, shipped_text, to_document, to_toml
from judging.tally_cli import main

ROOT = Path(__file__).resolve().parents[2]
RULES = shipped_text("taste-double")
HEADER = "category,box,table,seat,appearance,taste,tenderness"


def cards(box, marks, *, category="ribs", table="1", team=None):
    """Rows of one box, seats from 1; a mark stands for all three criteria."""
    rows = []
    for seat, mark in enumerate(marks, 1):
        rows.append(f"{category},{box},{table},{seat},{mark},{mark},{mark}" + (f",{team}" if team else ""))
    return rows


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "rules.toml").write_text(RULES, encoding="utf-8")
    return tmp_path


def write(name, rows, header=HEADER):
    Path(name).write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")


def run(capsys, *arguments):
    """(exit status, standard output, standard error)."""
    status = main(["cards.csv", "--rules", "rules.toml", *arguments])
    return status, *capsys.readouterr()


def refused(capsys, *arguments):
    status, out, err = run(capsys, *arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    return err.rstrip("\n")


def test_json(folder, capsys):
    write("cards.csv", [*cards("482", [9, 9, 9, 8, 8, 5]), *cards("157", [8] * 5), *cards("300", [9, 9, 9])])
    status, out, err = run(capsys)
    assert (status, err) == (0, "")
    assert json.loads(out) == {
        "categories": {
            "ribs": [
                {
                    "box": "482",
                    "rank": 1,
                    "total": "193.5",  # (27 + 16) × 4.5
                    "status": "ranked",
                    "counted": ["1", "2", "3", "4", "5"],
                    "dropped": [{"seat": "6", "why": "lowest:22.5:36"}],
                    "decided_by": None,
                },
                {
                    "box": "157",
                    "rank": 2,
                    "total": "180",
                    "status": "ranked",
                    "counted": ["1", "2", "3", "4", "5"],
                    "dropped": [],
                    "decided_by": None,
                },
                {
                    "box": "300",
                    "rank": None,
                    "total": None,
                    "status": "short",
                    "counted": [],
                    "dropped": [],
                    "decided_by": None,
                },
            ]
        },
        "overall": [],
    }


def test_csv(folder, capsys):
    write("cards.csv", cards("482", [9, 9, 9, 8, 8, 5], team="Team Alder"), header=f"{HEADER},team")
    _, out, _ = run(capsys, "--format", "csv")
    box, team = csv.DictReader(io.StringIO(out))
    assert (box["category"], box["rank"], box["box"], box["total"]) == ("ribs", "1", "482", "193.5")
    assert (box["counted"], box["dropped"], box["why"]) == ("1 2 3 4 5", "6", "lowest:22.5:36")
    assert (team["category"], team["rank"], team["team"], team["eligible"]) == ("overall", "1", "Team Alder", "yes")


def test_turnins_teams_and_overall(folder, capsys):
    write(
        "cards.csv",
        [
            *cards("101", [9] * 6, category="chicken", team="Team Alder"),
            *cards("102", [8] * 6, category="chicken", team="Team Birch"),
            *cards("201", [7] * 6, team="Team Birch"),
            *cards("203", [7] * 2, team="Team Cedar"),
        ],
        header=f"{HEADER},team",
    )
    write(
        "turnins.csv",
        ["ribs,202,absent,Team Alder", "ribs,203,Late,", "dessert,301,accepted,Team Cedar", "chicken,101,accepted,"],
        header="category,box,status,team",
    )
    status, out, err = run(capsys, "--turnins", "turnins.csv", "--overall", "chicken,ribs,dessert")
    found = json.loads(out)
    assert status == 0
    assert err == "note: box 203 in ribs is late: its two cards are ignored\n"
    assert [(box["box"], box["status"]) for box in found["categories"]["ribs"]] == [
        ("201", "ranked"),
        ("202", "absent"),
        ("203", "late"),
    ]
    assert found["categories"]["dessert"][0]["status"] == "short"  # accepted, and no card came
    assert [(team["team"], team["rank"], team["total"], team["eligible"]) for team in found["overall"]] == [
        ("Team Birch", 1, "337.5", False),  # no dessert
        ("Team Alder", 2, "202.5", False),
        ("Team Cedar", 3, "0", False),
    ]
    arguments = ["--turnins", "turnins.csv", "--rules-for", "dessert=rules.toml", "--overall", "chicken, ribs"]
    _, out, _ = run(capsys, *arguments)
    eligible = {team["team"]: team["eligible"] for team in json.loads(out)["overall"]}
    assert eligible == {"Team Birch": True, "Team Alder": False, "Team Cedar": False}  # no place in ribs


def test_a_category_with_rules_of_its_own(folder, capsys):
    document = to_document(parse(shipped_text("plain-points")))
    document["criterion"] = [{"key": "taste", "weight": "1"}, {"key": "sweetness", "weight": "2"}]
    document["tie_break"] = []
    Path("dessert.toml").write_text(to_toml(from_document(document)), encoding="utf-8")
    header = f"{HEADER},sweetness"
    rows = [f"{row}," for row in cards("482", [9] * 6)]
    sweet = [f"dessert,700,1,{seat},,10,,9" for seat in range(1, 4)]
    write("cards.csv", rows + sweet, header=header)
    _, out, _ = run(capsys, "--rules-for", "dessert=dessert.toml")
    assert json.loads(out)["categories"]["dessert"][0]["total"] == "28"
    write("cards.csv", [*rows, "dessert,700,1,1,8,10,,9"], header=header)
    assert refused(capsys, "--rules-for", "dessert=dessert.toml") == (
        "cards.csv row 8 column appearance: the rules of dessert have no appearance; empty the cell"
    )


def test_a_lot_needs_a_seed(folder, capsys):
    write("cards.csv", [*cards("482", [8] * 6), *cards("157", [8] * 6)])
    assert refused(capsys) == (
        "cards.csv: ribs boxes 157 and 482 tie at 180 after every other tie-break; give --seed TEXT for the lot"
    )
    status, out, _ = run(capsys, "--seed", "words")
    assert status == 0
    # By hand: printf words:ribs:157 | sha256sum begins e42a99be, printf words:ribs:482 | sha256sum 78c7faf3.
    assert [box["box"] for box in json.loads(out)["categories"]["ribs"]] == ["482", "157"]


GOOD = cards("482", [9] * 6)
TEAMS = f"{HEADER},team"


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (["ribs,482,1,1,9,10,9"], "cards.csv row 2 column taste: 10 is above the scale: 1 to 9, whole marks"),
        (["ribs,482,1,1,9,8.5,9"], "cards.csv row 2 column taste: 8.5: whole marks only"),
        (["ribs,482,1,1,9,nine,9"], "cards.csv row 2 column taste: “nine” is not a number: type 9"),
        (["ribs,482,1,1,9,,9"], "cards.csv row 2 column taste: no mark: type one, 1 to 9, whole marks"),
        ([",482,1,1,9,9,9"], "cards.csv row 2 column category: empty; type the category"),
        (["ribs,,1,1,9,9,9"], "cards.csv row 2 column box: empty; type the box"),
        (["ribs,482,,1,9,9,9"], "cards.csv row 2 column table: empty; type the table"),
        (["ribs,482,1,,9,9,9"], "cards.csv row 2 column seat: empty; type the seat"),
        ([*GOOD, "ribs,482,1,3,9,9,9"], "cards.csv row 8 column seat: seat 3 has a card for box 482 in row 4 already; delete one"),
        ([*GOOD, "ribs,482,1,7,9,9,9"], "cards.csv row 8 column box: one card more for box 482 than the 6 of the rules (per_entry); delete one"),
        ([*GOOD[:2], "ribs,482,2,3,9,9,9"], "cards.csv row 4 column table: box 482 is at table 1 in row 2, here at 2; a box has one table, mend one of the rows"),
        (["ribs,482,1,1,9,9"], "cards.csv row 2 column tenderness: the row ends before it: 6 cells where the header has 7; add what is missing"),
        ([], "cards.csv row 2: no cards; add a row for each card"),
    ],
)  # fmt: skip
def test_bad_cards(folder, capsys, rows, said):
    write("cards.csv", rows)
    assert refused(capsys) == said


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([*cards("1", [9], team="A"), "ribs,1,1,2,9,9,9,B"], "cards.csv row 3 column team: box 1 belongs to A in row 2, here to B; a box has one team, mend one of the rows"),
        ([*cards("1", [9], team="A"), *cards("2", [9], team="A")], "cards.csv row 3 column team: A has box 1 in ribs already, row 2; a team has one box in a category, mend one of the rows"),
        ([*cards("1", [9], team="A"), "ribs,2,1,1,9,9,9,"], "cards.csv row 3 column team: box 2 has no team while others have; fill it in"),
    ],
)  # fmt: skip
def test_bad_teams(folder, capsys, rows, said):
    write("cards.csv", rows, header=TEAMS)
    assert refused(capsys) == said


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("category,box,table,seat,appearance,taste", "cards.csv row 1 column tenderness: missing; the header needs category,box,table,seat,appearance,taste,tenderness"),
        (f"{HEADER},judge", "cards.csv row 1 column judge: unknown column; delete it or rename it, known are category, box, table, seat, appearance, taste, tenderness, team"),
        (f"{HEADER},taste", "cards.csv row 1 column taste: there twice; delete one"),
    ],
)  # fmt: skip
def test_bad_headers(folder, capsys, header, said):
    write("cards.csv", GOOD, header=header)
    assert refused(capsys) == said


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (["ribs,482,lost,"], "turnins.csv row 2 column status: “lost” is no status; write accepted, late, absent, refused or disqualified"),
        (["ribs,482,,"], "turnins.csv row 2 column status: empty; type the status"),
        (["ribs,482,late,", "ribs,482,absent,"], "turnins.csv row 3 column box: box 482 of ribs is in row 2 already; delete one"),
        (["ribs,482,late,B"], "turnins.csv row 2 column team: box 482 belongs to A in cards.csv row 2, here to B; a box has one team, mend one of the rows"),
        (["ribs,500,absent,A"], "turnins.csv row 2 column team: A has box 482 in ribs already, cards.csv row 2; a team has one box in a category, mend one of the rows"),
    ],
)  # fmt: skip
def test_bad_turnins(folder, capsys, rows, said):
    write("cards.csv", cards("482", [9] * 6, team="A"), header=TEAMS)
    write("turnins.csv", rows, header="category,box,status,team")
    assert refused(capsys, "--turnins", "turnins.csv") == said


SLIPS = {
    "chickn,850,disqualified": "turnins.csv row 2 column category: no card, --rules-for or --overall names chickn; did you mean chicken?",
    "brisket,850,disqualified": "turnins.csv row 2 column category: no card, --rules-for or --overall names brisket; known are chicken and ribs",
    "ribs,850,disqualified": "turnins.csv row 2 column category: box 850 has cards under chicken, cards.csv row 2; correct the category or the box",
}  # fmt: skip


@pytest.mark.parametrize("row", SLIPS)
def test_turnin_that_would_miss_its_box_is_refused(folder, capsys, row):
    write("cards.csv", [*cards("850", [9] * 6, category="chicken"), *cards("201", [8] * 6)])
    write("turnins.csv", [row], header="category,box,status")
    assert refused(capsys, "--turnins", "turnins.csv") == SLIPS[row]


def test_turnins_without_cards_stay_good_input(folder, capsys):
    write("cards.csv", [*cards("850", [9] * 6, category="chicken"), *cards("201", [8] * 6)])
    rows = ["chicken,851,absent", "ribs,202,late", "ribs,203,accepted", "pork,301,absent"]
    write("turnins.csv", rows, header="category,box,status")
    status, out, _ = run(capsys, "--turnins", "turnins.csv", "--rules-for", "pork=rules.toml")
    assert status == 0
    assert {box["box"]: box["status"] for box in json.loads(out)["categories"]["ribs"]} == {
        "201": "ranked",
        "202": "late",
        "203": "short",
    }


def test_box_numbers_used_in_every_category_stay_good_input(folder, capsys):
    write("cards.csv", [*cards("1", [9] * 6, category="chicken"), *cards("1", [8] * 6), *cards("2", [7] * 6)])
    write("turnins.csv", ["chicken,2,absent"], header="category,box,status")
    status, out, _ = run(capsys, "--turnins", "turnins.csv")
    assert (status, [box["status"] for box in json.loads(out)["categories"]["chicken"]]) == (0, ["ranked", "absent"])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--rules-for", "dessert=rules.toml"], "--rules-for dessert: no such category in the files; there is ribs"),
        (["--rules-for", "dessert"], "--rules-for dessert: write CATEGORY=RULES.toml, for example dessert=OTHER.toml"),
        (["--rules-for", "ribs=rules.toml", "--rules-for", "ribs=rules.toml"], "--rules-for ribs=rules.toml: ribs has rules already; give one for each category"),
        (["--rules-for", "ribs=none.toml"], "none.toml: no such file; check the path"),
        (["--overall", "ribs"], "--overall ranks teams, and the files name none; add a column team"),
        (["--turnins", "none.csv"], "none.csv: no such file; check the path"),
        (["--format", "xml"], "tally: argument --format: invalid choice: 'xml' (choose from 'json', 'csv'); see manage.py tally --help"),
        (["--colour"], "tally: unrecognized arguments: --colour; see manage.py tally --help"),
        (["--rul", "x"], "tally: unrecognized arguments: --rul x; see manage.py tally --help"),
    ],
)  # fmt: skip
def test_bad_arguments(folder, capsys, arguments, said):
    write("cards.csv", GOOD)
    assert refused(capsys, *arguments) == said


def test_overall_of_an_unknown_category(folder, capsys):
    write("cards.csv", cards("482", [9] * 6, team="A"), header=TEAMS)
    assert refused(capsys, "--overall", "ribs,pork") == "--overall pork: no such category in the files; there is ribs"
    assert refused(capsys, "--overall", " ,") == "--overall names no category; write for example ribs"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (RULES.replace("count = 1", "count = 5"), "rules.toml: drop.count = 5: a full box of 6 would keep 1 cards, fewer than fewest (4); lower it to 2"),
        ("name = ", "rules.toml: document = "),
        ("", "rules.toml: name is missing: "),
    ],
)  # fmt: skip
def test_bad_rules(folder, capsys, text, said):
    write("cards.csv", GOOD)
    Path("rules.toml").write_text(text, encoding="utf-8")
    assert refused(capsys).startswith(said)


def test_bad_rules_bytes_and_folders(folder, capsys):
    write("cards.csv", GOOD)
    Path("rules.toml").write_bytes(b"name = '\xff'")
    assert refused(capsys) == "rules.toml: not UTF-8 text; save it as UTF-8"
    Path("rules.toml").unlink()
    Path("rules.toml").mkdir()
    assert refused(capsys) == "rules.toml: cannot be read (Is a directory); check the path and its permissions"


def test_spreadsheet_forms(folder, capsys):
    write("cards.csv", GOOD)
    _, plain, _ = run(capsys)
    text = Path("cards.csv").read_text(encoding="utf-8")
    for data in (
        text.replace("\n", "\r\n").replace(",", ";").encode("utf-8-sig"),
        text.replace(",", "\t").encode("utf-16"),
        text.replace(",9", ",9.0").encode(),
        text.replace("\n", ",,\n").encode() + b",,,,,,,,\n\n",
    ):
        Path("cards.csv").write_bytes(data)
        assert run(capsys) == (0, plain, "")


def test_windows_1252_is_read_and_said(folder, capsys):
    rows = "\n".join([TEAMS, *cards("482", [9] * 6, team="Team Grün")])
    Path("cards.csv").write_bytes(rows.encode("cp1252"))
    status, out, err = run(capsys)
    assert (status, json.loads(out)["overall"][0]["team"]) == (0, "Team Grün")
    assert err == "cards.csv: not UTF-8, read as Windows-1252; check the accents in names\n"


def test_damaged_files_are_tallied_or_refused_in_one_line(folder, capsys):
    """Whatever happens to the bytes: an answer, or one line and nothing else."""
    draw = random.Random("damage")
    write("cards.csv", [*cards("482", [9, 9, 9, 8, 8, 5], team="A"), *cards("157", [8] * 6, team="B")], header=TEAMS)
    write("turnins.csv", ["ribs,482,late,A", "ribs,105,absent,C"], header="category,box,status,team")
    sound = {name: Path(name).read_bytes() for name in ("cards.csv", "turnins.csv", "rules.toml")}
    ends = set()
    for _ in range(600):
        for name, data in sound.items():
            Path(name).write_bytes(data)
        name = draw.choice(sorted(sound))
        at = draw.randrange(len(sound[name]))
        noise = bytes(draw.choice(b',;"\n\r\t\0 90.-x\xe9\xff[]=') for _ in range(draw.randint(0, 3)))
        Path(name).write_bytes(sound[name][:at] + noise + sound[name][at + draw.randint(0, 6) :])
        status, out, err = run(capsys, "--turnins", "turnins.csv", "--seed", "words")
        ends.add(status)
        if status == 0:
            assert json.loads(out)["categories"]
        else:
            assert (status, out, err.count("\n")) == (2, "", 1)
    assert ends == {0, 2}


def command(*arguments, cwd, python=(), **env):
    return subprocess.run(
        [sys.executable, *python, str(ROOT / "manage.py"), *arguments],
        cwd=cwd,
        env={"PATH": os.environ["PATH"], "LC_ALL": "C", **env},
        capture_output=True,
        timeout=60,
    )


def test_runs_in_a_read_only_folder_without_settings(folder):
    write("cards.csv", cards("482", [9] * 6, team="Team Grün"), header=TEAMS)
    folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    before = sorted(folder.iterdir())
    try:
        done = command(
            "tally", "cards.csv", "--rules", "rules.toml", cwd=folder, DJANGO_SETTINGS_MODULE="no.such.settings"
        )
    finally:
        folder.chmod(stat.S_IRWXU)
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout.decode("utf-8"))["overall"][0]["team"] == "Team Grün"
    assert sorted(folder.iterdir()) == before


def test_bad_input_as_a_process(folder):
    write("cards.csv", ["ribs,482,1,1,9,nine,9"])
    done = command("tally", "cards.csv", "--rules", "rules.toml", cwd=folder)
    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr.decode() == "cards.csv row 2 column taste: “nine” is not a number: type 9\n"


@pytest.mark.parametrize(
    ("rule", "heavy"), [("lowest", set()), ("median_distance", set()), ("grubbs", {"scipy", "numpy"})]
)
def test_loads_nothing_heavy_unless_the_rule_needs_it(folder, rule, heavy):
    write("cards.csv", cards("482", [9, 9, 9, 9, 9, 2]))
    Path("rules.toml").write_text(RULES.replace('rule = "lowest"', f'rule = "{rule}"'), encoding="utf-8")
    code = (
        "import runpy, sys\n"
        f"sys.argv = ['manage.py', 'tally', 'cards.csv', '--rules', 'rules.toml']\n"
        "try:\n"
        f"    runpy.run_path({str(ROOT / 'manage.py')!r}, run_name='__main__')\n"
        "except SystemExit as end:\n"
        "    assert end.code == 0, end.code\n"
        "print(sorted({'django', 'numpy', 'pandas', 'scipy', 'tomli_w'} & set(sys.modules)), file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=folder, env={"PYTHONPATH": str(ROOT)}, capture_output=True, timeout=60
    )
    assert json.loads(done.stdout)["categories"]["ribs"][0]["rank"] == 1
    assert done.stderr.decode().strip() == str(sorted(heavy))


def test_help_lists_the_command(folder):
    done = command("help", cwd=ROOT, DJANGO_SETTINGS_MODULE="contest.config.settings", FAIRBOX_DATA=str(folder))
    assert "tally" in done.stdout.decode().split()
    said = command("tally", "--help", cwd=folder)
    assert (said.returncode, said.stderr) == (0, b"")
    assert b"--rules-for" in said.stdout
