"""The whole draw: what it promises, what it refuses, and that it comes out the same everywhere."""

import random
import subprocess
import sys
from collections import Counter

import pytest

from contest import draw_cli
from contest.rules.draw import DrawRefused, DrawRequest, check, draw_from_seed, make_draw
from tests.contest.rules.requests import full


def test_the_same_texts_give_the_same_draw():
    one = make_draw(full(12, 3, 3), secret="s\n", public="p\n")
    assert one == make_draw(full(12, 3, 3), secret=b"s\n", public="p\n")
    assert one.fingerprint != make_draw(full(12, 3, 3), secret="s\n", public="q\n").fingerprint


def test_the_order_in_which_teams_and_tables_are_given_does_not_matter():
    request = full(12, 3, 3)
    turned = DrawRequest(
        categories=request.categories,
        entries={key: teams[::-1] for key, teams in reversed(request.entries.items())},
        tables={key: tables[::-1] for key, tables in request.tables.items()},
    )
    assert draw_from_seed(request, "x") == draw_from_seed(turned, "x")


def test_a_draw_that_must_never_change():
    """Results packages are recomputed years later: another result needs another algorithm name in draw.txt."""
    request = full(24, 4, 4, most_boxes=6, forbidden=frozenset({(7, 2), (9, 1)}))
    assert draw_from_seed(request, "fixed").fingerprint == FINGERPRINT
    again = "from tests.contest.rules.test_draw import *; print(draw_from_seed(full(24, 4, 4, most_boxes=6, "
    again += "forbidden=frozenset({(7, 2), (9, 1)})), 'fixed').fingerprint)"
    printed = subprocess.run(
        [sys.executable, "-c", again], capture_output=True, text=True, check=True, env={"PYTHONHASHSEED": "77"}
    )
    assert printed.stdout.strip() == FINGERPRINT


FINGERPRINT = "d240096db2a9961702eb22c806da07f0f3c4215f11421b6127e44127a18fd484"


def test_places_are_sorted_and_every_entry_has_one():
    result = draw_from_seed(full(13, 3, 4), "x")
    assert [(p.category, p.box) for p in result.placed] == sorted((p.category, p.box) for p in result.placed)
    assert Counter((p.category, p.team) for p in result.placed) == Counter(
        {(f"c{c}", team): 1 for c in range(1, 5) for team in range(1, 14)}
    )
    load = Counter((p.category, p.table) for p in result.placed)
    assert set(load.values()) == {4, 5}


@pytest.mark.parametrize("seed", range(12))
def test_any_wish_that_is_not_refused_is_kept(seed):
    rng = random.Random(seed)
    keys = ("chicken", "ribs", "pork")[: rng.randint(1, 3)]
    teams, tables = rng.sample(range(1, 400), rng.randint(1, 14)), rng.sample(range(1, 50), rng.randint(1, 4))
    request = DrawRequest(
        categories=keys,
        entries={key: tuple(t for t in teams if rng.random() < 0.8) or (teams[0],) for key in keys},
        tables={key: tuple(t for t in tables if rng.random() < 0.8) or (tables[0],) for key in keys},
        most_boxes=rng.choice([None, 4, 6]),
        forbidden=frozenset((rng.choice(teams), rng.choice(tables)) for _ in range(rng.randint(0, 3))),
        excluded_numbers=frozenset({"482", "233"}),
    )
    try:
        check(request)
    except DrawRefused:
        with pytest.raises(DrawRefused):
            draw_from_seed(request, "x")
        return
    placed = draw_from_seed(request, "x").placed
    assert {(p.category, p.team) for p in placed} == {(k, t) for k in keys for t in request.entries[k]}
    assert all(p.table in request.tables[p.category] for p in placed)
    assert not {(p.team, p.table) for p in placed} & request.forbidden
    load = Counter((p.category, p.table) for p in placed)
    assert request.most_boxes is None or max(load.values()) <= request.most_boxes
    boxes = {p.box for p in placed}
    assert len(boxes) == len(placed)
    assert not boxes & {"482", "233", *map(str, teams)}
    for key, table in load:
        positions = [p.position for p in placed if (p.category, p.table) == (key, table)]
        assert sorted(positions) == list(range(1, len(positions) + 1))


def test_a_category_with_tables_of_its_own():
    request = DrawRequest(
        categories=("ribs", "dessert"),
        entries={"ribs": tuple(range(1, 13)), "dessert": (1, 2, 3, 4, 5)},
        tables={"ribs": (1, 2), "dessert": (8,)},
    )
    placed = draw_from_seed(request, "x").placed
    assert {p.table for p in placed if p.category == "dessert"} == {8}
    assert Counter(p.table for p in placed if p.category == "ribs") == {1: 6, 2: 6}


def test_one_team_and_one_table():
    (only,) = draw_from_seed(full(1, 1, 1), "x").placed
    assert (only.table, only.position, only.team) == (1, 1, 1)
    assert {p.table for p in draw_from_seed(full(12, 1, 4), "x").placed} == {1}
    assert len(draw_from_seed(full(1, 3, 2), "x").placed) == 2


def ribs(teams, tables, most=None, forbidden=()):
    return DrawRequest(
        categories=("ribs",),
        entries={"ribs": tuple(teams)},
        tables={"ribs": tuple(tables)},
        most_boxes=most,
        forbidden=frozenset(forbidden),
    )


@pytest.mark.parametrize(
    ("request_", "message"),
    [
        (
            ribs(range(1, 20), (1, 2, 3), most=6),
            "ribs: 19 boxes for 18 places at 3 tables of 6; add a table or allow 7 boxes a table",
        ),
        (
            ribs(range(1, 31), (1, 2, 3, 4), most=7),
            "ribs: 30 boxes for 28 places at 4 tables of 7; add a table or allow 8 boxes a table",
        ),
        (
            ribs(range(1, 13), (1, 2), forbidden=[(7, 1), (7, 2)]),
            "ribs: team 7 may go to no table in use; lift one of the conflicts or add a table",
        ),
        (
            ribs(range(1, 49), range(1, 9), most=8, forbidden=[(t, j) for t in range(11, 20) for j in range(2, 9)]),
            "ribs: 9 teams (teams 11, 12, 13, 14, 15, 16, 17, 18 and 19) may go only to table 1, which has 8 places;"
            " lift a conflict, add a table or allow more boxes a table",
        ),
        (
            ribs((1, 2, 3, 4, 5), (1, 2, 3), most=2, forbidden=[(t, 3) for t in range(1, 6)]),
            "ribs: 5 teams (teams 1, 2, 3, 4 and 5) may go only to tables 1 and 2, which have 4 places;"
            " lift a conflict, add a table or allow more boxes a table",
        ),
        (ribs((), (1,)), "ribs: no team has entered; add entries or leave the category out"),
        (ribs((1, 2), ()), "ribs: no table is in use; add a table"),
        (ribs((1, 2, 2), (1,)), "ribs: team 2 is listed twice; list it once"),
        (ribs((1, 2), (1,), most=0), "0 boxes a table: allow at least 1"),
        (DrawRequest((), {}, {}), "no category to draw: name at least one"),
    ],
)
def test_what_cannot_be_is_refused_with_its_reason(request_, message):
    with pytest.raises(DrawRefused) as refused:
        check(request_)
    assert str(refused.value) == message


def test_more_boxes_than_numbers_are_refused():
    with pytest.raises(DrawRefused, match="three-digit numbers are left"):
        check(full(300, 40, 4))


def run(capsys, *arguments):
    status = draw_cli.main(arguments)
    out, err = capsys.readouterr()
    return status, out, err


SIZE = ("--teams", "8", "--tables", "2", "--categories", "2")


def test_the_command_prints_the_draw_and_its_quality(capsys):
    status, out, err = run(capsys, *SIZE, "--seed", "x")
    lines = out.splitlines()
    assert status == 0
    assert lines[0] == "category,box,table,position,team"
    assert len(lines) == 17
    result = draw_from_seed(
        DrawRequest(("1", "2"), {k: tuple(range(1, 9)) for k in "12"}, dict.fromkeys("12", (1, 2))), "x"
    )
    assert lines[1:] == [f"{p.category},{p.box},{p.table},{p.position},{p.team}" for p in result.placed]
    assert "repeats: 0 (least possible 0)\n" in err
    assert "E_A: 1.0000 (bound 1.0000)\n" in err
    assert err.splitlines()[-1] == result.quality.sentence


def test_without_a_seed_the_command_tells_the_one_it_took(capsys):
    _, first, err = run(capsys, *SIZE)
    seed = err.splitlines()[0].removeprefix("seed: ")
    assert len(seed) == 64
    assert run(capsys, *SIZE, "--seed", seed)[1] == first
    assert run(capsys, *SIZE)[1] != first


def test_skips_and_conflicts_come_from_files(capsys, tmp_path):
    (tmp_path / "skips.csv").write_text("team,category\n3,1\n8,2\n")
    (tmp_path / "conflicts.csv").write_text("team,table\n1,2\n")
    more = ("--skips", str(tmp_path / "skips.csv"), "--conflicts", str(tmp_path / "conflicts.csv"))
    status, out, _ = run(capsys, *SIZE, "--seed", "x", *more)
    rows = [line.split(",") for line in out.splitlines()[1:]]
    assert status == 0
    assert {(row[0], row[4]) for row in rows} == {
        (c, str(t)) for c in "12" for t in range(1, 9) if (c, t) not in {("1", 3), ("2", 8)}
    }
    assert [row[2] for row in rows if row[4] == "1"] == ["1", "1"]


@pytest.mark.parametrize(
    ("name", "text", "complaint"),
    [
        ("skips", "team,category\n3,1\n3,9\n", "row 3 column category: '9' is no category of this draw; give a whole"),
        ("skips", "team,category\n3,1\n3,1\n", "row 3 column category: team 3 with category 1 is there twice"),
        ("skips", "team\n3\n", "row 1 column category: missing"),
        ("conflicts", "team,table\n,1\n", "row 2 column team: empty"),
        ("conflicts", "team,table\n9,1\n", "row 2 column team: '9' is no team of this draw"),
    ],
)
def test_a_bad_file_is_refused_in_one_line_that_names_the_place(capsys, tmp_path, name, text, complaint):
    path = tmp_path / f"{name}.csv"
    path.write_text(text)
    status, out, err = run(capsys, *SIZE, f"--{name}", str(path))
    assert (status, out) == (2, "")
    assert err.startswith(f"{path} {complaint}")
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (("--teams", "8"), "draw: the following arguments are required: --tables, --categories"),
        (("--teams", "0", "--tables", "1", "--categories", "1"), "draw: argument --teams: '0' is not a whole number"),
        (("--teams", "x", "--tables", "1", "--categories", "1"), "draw: argument --teams: 'x' is not a whole number"),
        ((*SIZE, "--skips", "/nowhere.csv"), "/nowhere.csv: no such file"),
        (("--teams", "400", "--tables", "40", "--categories", "4"), "draw: 1600 boxes need a number each"),
        ((*SIZE, "--seed", "\udcff"), "draw: argument --seed: not UTF-8 text"),
    ],
)
def test_bad_arguments_are_refused_in_one_line(capsys, arguments, complaint):
    status, out, err = run(capsys, *arguments)
    assert (status, out) == (2, "")
    assert err.startswith(complaint)
    assert err.count("\n") == 1


def test_the_command_runs_before_django_is_set_up():
    program = (
        "import sys; from contest import draw_cli; status = draw_cli.main(sys.argv[1:]);"
        " assert 'django' not in sys.modules; sys.exit(status)"
    )
    done = subprocess.run([sys.executable, "-c", program, *SIZE, "--seed", "x"], capture_output=True, check=False)
    assert done.returncode == 0
