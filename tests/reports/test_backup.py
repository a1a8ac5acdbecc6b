"""Everything in one file, and put back: on SQLite, and on PostgreSQL where its own tools are installed."""

import json
import shutil
import sqlite3
import stat
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.db import connection

from reports.backup import archive
from reports.backup.archive import BackupError
from reports.backup.make import target_of
from tests.reports.backups import Home, Homes, chain_holds
from tests.site.served import Served

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(
        connection.vendor == "postgresql" and not all(map(shutil.which, ("pg_dump", "pg_restore", "psql"))),
        reason="pg_dump, pg_restore and psql are not installed here",
    ),
]
only_sqlite = pytest.mark.skipif(connection.vendor != "sqlite", reason="about SQLite's files")


@pytest.fixture(scope="module")
def homes(tmp_path_factory: pytest.TempPathFactory, django_db_setup: None, django_db_blocker) -> Iterator[Homes]:
    with django_db_blocker.unblock():
        made = Homes(tmp_path_factory.mktemp("homes"))
        yield made
        made.close()


@pytest.fixture(scope="module")
def backup(homes: Homes, django_db_blocker) -> Path:
    """Made once; tests that change it work on a copy."""
    return homes.first.backup()


@pytest.fixture(scope="module")
def told(homes: Homes) -> dict:
    return homes.first.told()


def test_it_is_one_private_file_that_lists_what_is_in_it(homes: Homes, backup: Path, told: dict) -> None:
    assert backup.parent == homes.first.data / "backups"
    assert [path.name for path in backup.parent.iterdir()] == [backup.name]  # nothing half-made beside it
    assert stat.S_IMODE(backup.stat().st_mode) == 0o600
    assert stat.S_IMODE(backup.parent.stat().st_mode) == 0o700
    with zipfile.ZipFile(backup) as archive:
        assert archive.testzip() is None
        facts = json.loads(archive.read("backup.json"))
        assert archive.read("secret.key").decode() == (homes.first.data / "secret.key").read_text()
    # Six teams in two categories, with two tables of six seats.
    assert (facts["rows"]["contest_team"], facts["rows"]["contest_box"], facts["rows"]["contest_seat"]) == (6, 12, 12)
    assert facts["rows"]["contest_logrow"] == len(told["log"])
    assert [(name, head) for _, name, _, head, _ in facts["chains"]] == [
        ("day", told["heads"]["day"]),
        ("cards", told["heads"]["cards"]),
    ]
    assert facts["broken"] == []


def test_put_into_an_empty_place_it_gives_the_same_standings_and_the_same_log(
    homes: Homes, backup: Path, told: dict
) -> None:
    home = homes.empty()
    said = home.done("restore", str(backup))
    assert "Restored and checked" in said
    again = home.told()
    assert again == told
    assert chain_holds(again["log"])
    assert len(again["places"]) == 8  # two categories, then six teams overall
    assert not (home.data / "restore-unfinished").exists()
    assert not list(home.data.glob(".*"))


def test_the_restored_database_keeps_its_log_as_the_first_one_did(homes: Homes, backup: Path) -> None:
    """The triggers that refuse to change what is kept came along."""
    home = homes.empty()
    home.done("restore", str(backup))
    ran = home.run("shell", "-v", "0", "-c", "from contest.models import LogRow; LogRow.objects.update(what='nothing')")
    assert ran.returncode != 0
    assert "a row that is kept cannot change" in ran.stderr


def test_it_does_not_replace_anything_unasked(homes: Homes, backup: Path, told: dict) -> None:
    home = homes.copy()
    home.shell("from contest.models import Team; Team.objects.create(name='Team Newcomer')")
    line = home.refused("restore", str(backup))
    assert "add --replace" in line
    assert home.shell("from contest.models import Team; print(Team.objects.count())").strip() == "7"
    assert home.told() == told


def test_what_it_replaces_is_kept_aside_and_can_be_put_back(homes: Homes, backup: Path, told: dict) -> None:
    home = homes.copy()
    home.shell("from contest.models import Team; Team.objects.create(name='Team Newcomer')")
    aside = Path(home.done("restore", str(backup), "--replace").split("kept: ")[1].splitlines()[0])
    count = "from contest.models import Team; print(Team.objects.count())"
    assert home.shell(count).strip() == "6"
    assert home.told() == told
    if connection.vendor == "sqlite":
        other = homes.empty()
        for name in ("fairbox.sqlite3", "secret.key"):
            shutil.copy(aside / name, other.data / name)
    else:
        other = homes.empty()
        other.done("restore", str(aside))
    assert other.shell(count).strip() == "7"


def test_it_refuses_while_the_site_is_served(homes: Homes, backup: Path) -> None:
    home = homes.copy()
    more = {"DATABASE_URL": home.url} if home.url else {}
    site = Served(home.data, "--loopback", **more)
    try:
        assert site.fetch("/")[0] == 200
        assert "being served" in home.refused("restore", str(backup), "--replace")
        assert site.fetch("/")[0] == 200
        # A backup can be made meanwhile.
        assert home.backup().exists()
    finally:
        site.end()
        site.close()
    assert "Restored" in home.done("restore", str(backup), "--replace")


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-2000])


def flip(path: Path) -> None:
    """One byte in the middle of the packed database."""
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)


def rewrite(path: Path, change) -> None:
    with zipfile.ZipFile(path) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    change(files)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)


def other_list(files: dict[str, bytes]) -> None:
    facts = json.loads(files["backup.json"])
    facts["rows"]["contest_logrow"] -= 1
    files["backup.json"] = json.dumps(facts).encode()


def other_database(files: dict[str, bytes]) -> None:
    name = json.loads(files["backup.json"])["database"]["name"]
    files[name] = files[name][:-1] + b"x"


def newer(files: dict[str, bytes]) -> None:
    import hashlib

    facts = json.loads(files["backup.json"])
    name = facts["database"]["name"]
    assert name == "database.sqlite3"
    path = Path("newer.sqlite3").absolute()
    path.write_bytes(files[name])
    made = sqlite3.connect(path)
    made.execute("INSERT INTO django_migrations (app, name, applied) VALUES ('contest', '0999_later', '2030-01-01')")
    made.commit()
    made.close()
    files[name] = path.read_bytes()
    path.unlink()
    facts["database"]["sha256"] = hashlib.sha256(files[name]).hexdigest()
    facts["migrations"] = sorted([*facts["migrations"], "contest.0999_later"])
    facts["rows"]["django_migrations"] += 1
    files["backup.json"] = json.dumps(facts).encode()


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (cut, "or only a part of one"),
        (flip, "spoilt.zip is"),
        (lambda path: rewrite(path, other_list), "is not what it says it is: contest_logrow has"),
        (lambda path: rewrite(path, other_database), "its database is not the one that was put in"),
        (lambda path: rewrite(path, lambda files: files.pop("backup.json")), "is no backup of Fairbox"),
        (lambda path: path.write_bytes(b""), "is no backup"),
        (lambda path: path.unlink(), "There is no file"),
        (lambda path: (path.unlink(), path.mkdir()), "is a folder"),
    ],
)
def test_a_backup_that_is_not_whole_is_refused(spoil, says: str, backup: Path, tmp_path: Path) -> None:
    spoilt = tmp_path / "spoilt.zip"
    shutil.copy(backup, spoilt)
    spoil(spoilt)
    with pytest.raises(BackupError, match=says), archive.opened(spoilt, beside=tmp_path):
        raise AssertionError("opened")
    assert [path.name for path in tmp_path.iterdir()] in ([], ["spoilt.zip"])


@only_sqlite
@pytest.mark.parametrize(
    ("spoil", "says"),
    [(cut, "or only a part of one"), (lambda path: rewrite(path, newer), "was made by a newer Fairbox")],
)
def test_a_refused_backup_changes_nothing(
    spoil, says: str, homes: Homes, backup: Path, tmp_path: Path, monkeypatch
) -> None:
    monkeypatch.chdir(tmp_path)
    spoilt = tmp_path / "spoilt.zip"
    shutil.copy(backup, spoilt)
    spoil(spoilt)
    home = homes.first
    before = {path.name: path.read_bytes() for path in home.data.iterdir() if path.is_file()}
    assert says in home.refused("restore", str(spoilt), "--replace")
    assert {path.name: path.read_bytes() for path in home.data.iterdir() if path.is_file()} == before


@only_sqlite
def test_a_backup_takes_the_place_of_a_database_that_cannot_be_read(homes: Homes, backup: Path, told: dict) -> None:
    home = homes.copy()
    data = bytearray(home.database.read_bytes())
    data[:4096] = b"\0" * 4096
    home.database.write_bytes(data)
    assert "cannot be read" in home.refused("restore", str(backup))
    aside = Path(home.done("restore", str(backup), "--replace").split("kept: ")[1].splitlines()[0])
    assert (aside / "fairbox.sqlite3").read_bytes() == bytes(data)
    assert home.told() == told


@only_sqlite
def test_an_unfinished_restore_is_told_and_finished_by_running_it_again(homes: Homes, backup: Path, told: dict) -> None:
    home = homes.copy()
    (home.data / "restore-unfinished").write_text("")
    ran = home.run("check")
    assert ran.returncode == 1
    assert "A restore was broken off" in ran.stderr
    assert "Restored" in home.done("restore", str(backup), "--replace")
    assert home.run("check").returncode == 0


@only_sqlite
def test_a_log_that_was_tampered_with_is_copied_and_told(homes: Homes) -> None:
    home = homes.copy()
    broken = sqlite3.connect(home.database)
    for (name,) in broken.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        broken.execute(f"DROP TRIGGER {name}")
    broken.execute("UPDATE contest_logrow SET facts = '{}' WHERE number = 2 AND chain_id = 1")
    broken.commit()
    broken.close()
    made = home.backup()
    other = homes.empty()
    assert "does not hold together at row 2" in other.done("restore", str(made))
    assert not chain_holds(other.told()["log"])


def test_where_it_goes_can_be_said(homes: Homes, tmp_path: Path) -> None:
    home = homes.first
    named = tmp_path / "before-lunch.zip"
    assert home.done("backup", str(named)).splitlines()[0] == str(named)
    assert "is not overwritten" in home.refused("backup", str(named))
    now = datetime(2026, 6, 13, 12, 30, 5, tzinfo=UTC)
    assert target_of(str(tmp_path), now=now) == tmp_path / "fairbox-20260613T123005Z.zip"
    (tmp_path / "fairbox-20260613T123005Z.zip").touch()
    assert target_of(str(tmp_path), now=now) == tmp_path / "fairbox-20260613T123005Z-2.zip"
    for nowhere in (tmp_path / "nowhere" / "x.zip", tmp_path / "nowhere"):
        with pytest.raises(BackupError, match="There is no folder"):
            target_of(str(nowhere), now=now)


@only_sqlite
def test_the_standard_tools_open_what_is_inside(homes: Homes, backup: Path, tmp_path: Path) -> None:
    """Fairbox is not needed to get at the data: unzip, and SQLite."""
    with zipfile.ZipFile(backup) as archive:
        archive.extract("database.sqlite3", tmp_path)
    inside = sqlite3.connect(tmp_path / "database.sqlite3")
    assert inside.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert inside.execute("SELECT count(*) FROM contest_box").fetchone() == (12,)
    inside.close()


def test_homes_are_apart(homes: Homes) -> None:
    """What the tests above rely on: a copy does not write into the first."""
    home: Home = homes.copy()
    home.shell("from contest.models import Season; Season.objects.create(name='Apart', year=2026)")
    count = "from contest.models import Season; print(Season.objects.filter(name='Apart').count())"
    assert (home.shell(count).strip(), homes.first.shell(count).strip()) == ("1", "0")
