"""A backup and a restore broken off at each of their steps on the disk; the second half of `tests.load.power_cut`."""

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from django.conf import settings
from django.db import connection

from contest.models import Team
from reports.backup import archive
from reports.backup.make import folder, make
from reports.backup.restore import restore, unfinished
from tests.load.power_cut import die_at, faults, fingerprint, settle


def cut_through_files() -> None:
    cut_backups()
    cut_restores()


def cut_backups() -> None:
    before, steps, done = fingerprint(), [], False
    while not done:
        done, names = die_at(len(steps) + 1, make, disk=True)
        for path in folder().glob("fairbox-*.zip"):  # whatever has the name of a backup is one
            with archive.opened(path, beside=Path(settings.DATA_DIR)) as found:
                assert found.content.rows["contest_box"] == 8, path  # two draws of four boxes
        assert fingerprint() == before
        steps += names[-1:] if not done else []
    assert list(folder().glob("fairbox-*.zip"))
    print(json.dumps({"act": "backup", "steps": steps}), flush=True)


class Place:
    """The data folder with one database and key, to which it goes back after every death."""

    def __init__(self) -> None:
        self.data, self.database = Path(settings.DATA_DIR), Path(connection.settings_dict["NAME"])
        self.key = self.data / archive.KEY
        settle()
        for path in (self.database, self.key):
            shutil.copy(path, f"{path}.before")
        self.state = self.now()

    def now(self) -> tuple[str, str]:
        connection.close()
        with closing(sqlite3.connect(self.database)) as there:
            assert there.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        found = fingerprint(), self.key.read_text()
        settle()
        return found

    def put_back(self) -> None:
        connection.close()
        for part in ("-wal", "-shm"):
            Path(f"{self.database}{part}").unlink(missing_ok=True)
        for path in (self.database, self.key):
            shutil.copy(f"{path}.before", path)
        for aside in self.data.glob("replaced-*"):
            shutil.rmtree(aside)


def cut_restores() -> None:
    target = make(Path(settings.DATA_DIR) / "earlier.zip")
    earlier = fingerprint(), (Path(settings.DATA_DIR) / archive.KEY).read_text()
    Team.objects.create(name="Team Newcomer")
    (Path(settings.DATA_DIR) / archive.KEY).write_text("another key")
    place, steps, done = Place(), [], False
    assert place.state[0] != earlier[0]
    while not done:
        done, names = die_at(len(steps) + 1, lambda: restore(target, replace=True), disk=True)
        assert list(faults()) == []
        found = place.now()
        assert found[0] in (place.state[0], earlier[0]), names
        assert found in (place.state, earlier) or unfinished().exists(), names
        if done:
            assert found == earlier
            break
        steps += names[-1:]
        again, _ = die_at(0, lambda: restore(target, replace=True), disk=True)  # running it once more mends everything
        assert again
        assert place.now() == earlier
        assert not unfinished().exists()
        place.put_back()
    assert not unfinished().exists()
    print(json.dumps({"act": "restore", "steps": steps}), flush=True)
