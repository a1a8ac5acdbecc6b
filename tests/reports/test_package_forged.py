"""Forged packages: what the day's values catch, each alone, though every sum in the files was rebuilt."""

import io
import json
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.db import transaction

from contest.models import Draw
from contest.rules.draw.commitment import short_form
from contest.services.people import change_entry
from reports.rules.package.archive import PackageError, unpack
from reports.rules.package.verify import verify
from tests.reports import second_verifier
from tests.reports.forging import chain_again, changed_fields, read_rows, resum, seal_again, sha, write_rows
from tests.running import close_and_publish, run_day

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Noted:
    """A published package, and the three values that a sceptic noted."""

    files: dict[str, bytes]
    package: bytes
    draw: str
    log: str
    whole: str


@pytest.fixture(scope="module")
def noted(django_db_setup, django_db_blocker):
    """A day on which one team's name was corrected; only files and values outlive it."""
    with django_db_blocker.unblock(), transaction.atomic():
        contest = run_day()
        entry = contest.entries.get(number=4)
        change_entry(entry=entry, number=4, team_name="Team Larch", head_cook="", home="", by="organiser")
        close_and_publish(contest)
        publication = contest.publications.get()
        package = bytes(publication.package)
        kept = Noted(
            files=unpack(package),
            package=package,
            draw=Draw.objects.get(contest=contest).fingerprint,
            log=publication.log_heads["day"],
            whole=publication.package_sum,
        )
        transaction.set_rollback(True)
    return kept


def failing(files, **values):
    return [finding.text for finding in verify(files, **values) if not finding.holds]


def with_facts(files, change):
    """The files with contest.json changed by `change`, which is given its content."""
    facts = json.loads(files["contest.json"])
    change(facts)
    return {**files, "contest.json": json.dumps(facts, ensure_ascii=False, indent=1).encode() + b"\n"}


def swap_teams(facts):
    """The trick of a loser: the champion's row and another's exchange names and uids."""
    one, two = facts["teams"][0], facts["teams"][2]
    for field in ("name", "uid"):
        one[field], two[field] = two[field], one[field]


def swap_categories(facts):
    one, two = facts["categories"]
    one["name"], two["name"] = two["name"], one["name"]


def test_package_holds_against_every_value_of_the_day(noted):
    values = {"draw": noted.draw, "log": noted.log, "whole": noted.whole}
    assert failing(noted.files, **values) == []
    assert failing(noted.files, **{name: short_form(full) for name, full in values.items()}) == []
    assert second_verifier.verify(noted.files, noted.draw, noted.log) == []
    texts = " ".join(finding.text for finding in verify(noted.files))
    assert "The log names a correction of team 4" in texts
    assert "became “Team Larch”" in texts


@pytest.mark.parametrize("value", ["draw", "log", "whole"])
def test_another_value_of_the_day_fails_in_either_form(noted, value):
    full = getattr(noted, value)
    wrong = f"{(int(full[0], 16) + 1) % 16:x}{full[1:]}"
    for typed in (wrong, short_form(wrong)):
        assert len(failing(noted.files, **{value: typed})) == 1


def test_every_changed_field_fails_with_fresh_sums(noted):
    """With only SHA256SUMS rebuilt, a forgery fails without any value from the day."""
    changes = list(changed_fields(noted.files))
    assert len(changes) > 150
    assert {where.partition(":")[0] for where, _ in changes} == set(noted.files) - {"SHA256SUMS"}
    assert [where for where, files in changes if not failing(resum(files))] == []


def test_every_changed_field_fails_with_everything_rebuilt(noted):
    """With the chains and the row that publishes rebuilt too, the log's end and the sum each catch it alone."""
    survived = []
    for where, files in changed_fields(noted.files):
        forged = seal_again(files)
        if forged == noted.files:
            continue  # the change was in what the forger rebuilds
        complaints = " ".join(failing(forged, log=noted.log, whole=noted.whole))
        if json.loads(forged["contest.json"]).get("format") != "fairbox-package-2":
            assert "This package is of format" in complaints
            continue
        for alone in ("No row of either log has the printed head", "not what was noted on the day"):
            if alone not in complaints:
                survived.append((where, alone))
    assert survived == []


@pytest.mark.parametrize("swap", [swap_teams, swap_categories])
def test_swapped_names_fail_with_the_fingerprint_alone(noted, swap):
    forged = seal_again(with_facts(noted.files, swap))
    assert any("not those that the draw's fingerprint covers" in text for text in failing(forged, draw=noted.draw))
    assert "names" in second_verifier.verify(forged, noted.draw)


@pytest.mark.parametrize("swap", [swap_teams, swap_categories])
def test_swapped_names_in_a_rebuilt_draw_fail_with_each_value(noted, swap):
    """A forger with all the time in the world: the lists' sums in draw.txt and the log's rows are rebuilt too."""
    forged = rebuilt_draw(with_facts(noted.files, swap))
    assert failing(forged) == []
    assert second_verifier.verify(forged, None) == []
    for value in ("draw", "log", "whole"):
        assert failing(forged, **{value: getattr(noted, value)}), value


def rebuilt_draw(files):
    """The package as if its names had been so at the draw: no correction, other sums, another fingerprint."""
    facts = json.loads(files["contest.json"])
    entries = "".join(f"{team['number']}\t{team['uid']}\t{team['name']}\n" for team in facts["teams"])
    categories = "".join(f"{each['key']}\t{each['name']}\n" for each in facts["categories"])
    sums = {"entries": sha(entries.encode()), "categories": sha(categories.encode())}
    fields = [line.split("\t") for line in files["draw.txt"].decode().split("\n")]
    lines = ["\t".join([line[0], sums[line[0]]] if line[0] in sums else line) for line in fields]
    draw = "\n".join(lines).encode()
    rows = [row for row in read_rows(files["log-day.csv"]) if row[2] != "name corrected"]
    for row in rows:
        if row[2] == "boxes drawn":
            row[3] = json.dumps({**json.loads(row[3]), "fingerprint": sha(draw)})
    return seal_again({**files, "draw.txt": draw, "log-day.csv": write_rows(rows)})


def test_names_swapped_by_invented_corrections_are_named_and_fail(noted):
    """Rows that claim a correction pass the fingerprint; they are read out, and the log's end and the sum fail."""
    facts = json.loads(noted.files["contest.json"])
    one, two = facts["teams"][0], facts["teams"][2]
    rows = read_rows(noted.files["log-day.csv"])
    for team, name in ((one, two["name"]), (two, one["name"])):
        old, team["name"] = team["name"], name
        entries = "".join(f"{each['number']}\t{each['uid']}\t{each['name']}\n" for each in facts["teams"])
        change = {"entry": team["number"], "from": old, "to": name, "entries": sha(entries.encode())}
        rows.insert(-1, ["", rows[-1][1], "name corrected", json.dumps(change), "", ""])
    files = {**noted.files, "contest.json": json.dumps(facts).encode(), "log-day.csv": write_rows(rows)}
    forged = seal_again(files)
    assert failing(forged, draw=noted.draw) == []
    texts = " ".join(finding.text for finding in verify(forged, draw=noted.draw))
    assert f"correction of team {one['number']}" in texts
    assert f"correction of team {two['number']}" in texts
    assert failing(forged, log=noted.log)
    assert failing(forged, whole=noted.whole)


def test_swapped_uids_cannot_be_corrected(noted):
    def swap(facts):
        one, two = facts["teams"][0], facts["teams"][2]
        one["uid"], two["uid"] = two["uid"], one["uid"]

    assert failing(seal_again(with_facts(noted.files, swap)), draw=noted.draw)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("name", "Example Cook-off of Next Year"),
        ("date", "2026-06-14"),
        ("place", "Another Field"),
        ("time_zone", "Europe/Lisbon"),
        ("uid", "33333333-3333-4333-8333-333333333333"),
        ("one_person", True),
    ],
)
def test_another_contest_fails_with_log_and_sum_each_alone(noted, field, value):
    changed = with_facts(noted.files, lambda facts: facts.update({field: value}))
    assert failing(resum(changed))
    forged = seal_again(changed)
    assert failing(forged, log=noted.log)
    assert failing(forged, whole=noted.whole)


def test_flipped_one_person_fails_without_any_value(noted):
    forged = seal_again(with_facts(noted.files, lambda facts: facts.update({"one_person": True})))
    assert "contest.json says that one person worked desk and tally; the log does not." in failing(forged)


@pytest.mark.parametrize("name", ["READ-ME.txt", "FORMAT.txt", "check.py"])
def test_replaced_text_fails_with_log_and_sum_each_alone(noted, name):
    forged = {**noted.files, name: b"All is well.\n"}
    assert failing(resum(forged))
    assert failing(seal_again(forged), log=noted.log)
    assert failing(seal_again(forged), whole=noted.whole)


@pytest.mark.parametrize("name", ["notes.txt", "rules/pork.toml", "cards.csv.bak", "sub/cards.csv", "public-2.txt"])
def test_added_file_fails_without_any_value(noted, name):
    forged = {**noted.files, name: b"more\n"}
    assert failing(forged)
    assert failing(seal_again(forged))


def test_every_missing_file_fails_without_any_value(noted):
    for name in noted.files:
        rest = {each: data for each, data in noted.files.items() if each != name}
        assert failing(rest), name
        if name not in ("SHA256SUMS", "log-day.csv", "log-cards.csv"):
            assert failing(seal_again(rest)), name


def doubled(package, name):
    """The zip with another file of a name that it has."""
    data = io.BytesIO(package)
    with pytest.warns(UserWarning, match="Duplicate name"), zipfile.ZipFile(data, "a") as archive:
        archive.writestr(name, b"another")
    return data.getvalue()


def test_file_twice_in_the_zip_fails(noted, tmp_path):
    for name in ("cards.csv", "READ-ME.txt", "SHA256SUMS"):
        with pytest.raises(PackageError, match="a file name twice"):
            unpack(doubled(noted.package, name))
    path = tmp_path / "package.zip"
    path.write_bytes(doubled(noted.package, "cards.csv"))
    done = run_verify(path, "--draw", noted.draw)
    assert (done.returncode, done.stdout.startswith("FAILS")) == (1, True)


@pytest.mark.parametrize("rows", [0, 1])
def test_log_that_does_not_end_with_the_publication_fails(noted, rows):
    """The row that publishes taken out, or another written after it."""
    log = read_rows(noted.files["log-day.csv"])
    log = log[:-1] if rows == 0 else [*log, ["", log[-1][1], "desk signed in", "{}", "", ""]]
    forged = resum({**noted.files, "log-day.csv": chain_again(write_rows(log))})
    assert "log-day.csv does not end with the row that published the result." in failing(forged)


def test_draw_that_binds_no_names_fails(noted):
    lines = noted.files["draw.txt"].decode().split("\n")
    draw = "\n".join(line for line in lines if not line.startswith("categories\t")).encode()
    assert any("does not bind the names" in text for text in failing(seal_again({**noted.files, "draw.txt": draw})))


def test_unknown_format_is_refused_by_its_name(noted):
    forged = resum(with_facts(noted.files, lambda facts: facts.update({"format": "fairbox-package-1"})))
    assert failing(forged) == ["This package is of format fairbox-package-1; this program reads fairbox-package-2."]


# The command


def run_verify(*arguments):
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), "verify", *map(str, arguments)],
        capture_output=True,
        text=True,
        env={"DJANGO_SETTINGS_MODULE": "no.such.settings", "PATH": ""},
    )


@pytest.fixture
def path(noted, tmp_path):
    path = tmp_path / "package.zip"
    path.write_bytes(noted.package)
    return path


def test_command_takes_either_form_of_each_value(noted, path):
    for option, full in (("--draw", noted.draw), ("--log", noted.log), ("--sum", noted.whole)):
        for typed in (full.upper(), short_form(full), short_form(full, "-").upper()):
            done = run_verify(path, option, typed)
            assert (done.returncode, "note " in done.stdout) == (0, False), done.stdout
        assert run_verify(path, option, "0" * 20).returncode == 1


def test_command_without_a_value_says_what_it_could_not_check(path):
    done = run_verify(path)
    assert done.returncode == 0
    last = done.stdout.splitlines()[-1]
    assert last.startswith("note   Without a value noted on the day, this only shows that the package agrees with")


@pytest.mark.parametrize("typed", ["a1b2", "a1b2c3d4e5f60718293", "a" * 63, "draw"])
def test_command_refuses_anything_shorter(path, typed):
    for option in ("--draw", "--log", "--sum"):
        done = run_verify(path, option, typed)
        assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1)


def test_stray_file_in_the_folder_fails(noted, tmp_path):
    for name, data in noted.files.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(data)
    (tmp_path / "empty").mkdir()
    assert run_verify(tmp_path).returncode == 0
    (tmp_path / "rules" / "notes.txt").write_text("more")
    done = run_verify(tmp_path)
    assert done.returncode == 1
    assert "rules/notes.txt" in done.stdout
