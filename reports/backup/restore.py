"""Putting a backup back. What was there is kept aside; a restore that is broken off is finished by running it again."""

import os
import shutil
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from contest.commandline import program
from reports.backup import archive, make, postgres, sqlite
from reports.backup.archive import BackupError, Opened, sync_file, sync_folder

SERVED = "The site is being served, or another program has the database open. End it (Ctrl-C), then restore."
HAS_DATA = (
    "There is a contest or an account here already. To put the backup in its place, add --replace: "
    "what is here is kept aside."
)


@dataclass(frozen=True, slots=True)
class Restored:
    """`aside`: where that is which was here before; `notes`: what the reader should know."""

    aside: Path | None
    notes: tuple[str, ...]


def unfinished() -> Path:
    """This file stands while a restore is under way."""
    return Path(settings.DATA_DIR) / "restore-unfinished"


def restore(path: Path, *, replace: bool) -> Restored:
    """Check the backup, put it in place of what is here, and check it there. Raises BackupError; until everything
    was checked nothing has changed."""
    Path(settings.DATA_DIR).mkdir(parents=True, exist_ok=True)
    connection.close()
    try:
        with archive.opened(path, beside=_beside()) as backup:
            _refuse(backup, path)
            put = _into_sqlite if connection.vendor == "sqlite" else _into_postgres
            aside = put(backup, replace)
            _check(backup)
    except OSError as error:
        raise BackupError(
            f"The backup could not be put back: {error}. Nothing is lost: mend that, run it again."
        ) from None
    except (sqlite.Damaged, postgres.ToolTrouble) as error:
        raise BackupError(f"The backup could not be put back: {error}") from None
    return Restored(aside, tuple(_notes(backup)))


def _beside() -> Path:
    """Where the backup is unpacked: on the disk of the database, so that it is put in place by its name alone."""
    return Path(connection.settings_dict["NAME"]).parent if connection.vendor == "sqlite" else Path(settings.DATA_DIR)


def _refuse(backup: Opened, path: Path) -> None:
    engine = backup.facts["engine"]
    if engine != connection.vendor:
        raise BackupError(f"{path.name} is of a database of {engine}; the one here is {connection.vendor}.")
    if backup.content.broken != backup.facts.get("broken", []):
        raise BackupError(f"{path.name}: {' '.join(backup.content.broken)} It was whole when the backup was made.")
    known = {f"{app}.{name}" for app, name in MigrationLoader(None).disk_migrations}
    strange = sorted(set(backup.content.migrations) - known)
    if strange:
        raise BackupError(f"{path.name} was made by a newer Fairbox ({strange[0]}). Restore it with that one.")


def _key_file() -> Path:
    return Path(settings.DATA_DIR) / archive.KEY


def _put_key(key: str | None) -> None:
    """The key of the backup, so that slips printed again open what the printed ones do."""
    if key is None or os.environ.get("FAIRBOX_SECRET_KEY"):
        return
    half = _key_file().with_name(f".{archive.KEY}.part")
    with open(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
        file.write(key)
        file.flush()
        os.fsync(file.fileno())
    os.replace(half, _key_file())


def _begin() -> None:
    unfinished().write_text(f"A restore was broken off. Run {program()} restore again.\n")
    sync_file(unfinished())
    sync_folder(unfinished().parent)


def _end() -> None:
    sync_folder(unfinished().parent)
    unfinished().unlink(missing_ok=True)
    sync_folder(unfinished().parent)


def _into_sqlite(backup: Opened, replace: bool) -> Path | None:
    place = Path(connection.settings_dict["NAME"])
    sync_file(backup.database)
    if not place.exists():
        _begin()
        return _swap(backup, place, None)
    try:
        with sqlite.alone(place) as there:
            # The second run of a restore that was broken off finds the backup's own database already.
            if there.has_data and not replace:
                raise BackupError(HAS_DATA)
            aside = _new_aside() if there.has_data else None
            _begin()
            return _swap(backup, place, aside)
    except sqlite.InUse:
        raise BackupError(SERVED) from None
    except sqlite.Damaged:
        if not replace:
            raise BackupError(
                "The database here cannot be read. To put the backup in its place, add --replace."
            ) from None
        aside = _new_aside()
        _begin()
        # What is damaged is kept as it lies, with the parts that belong to it.
        for part in (f"{place.name}-wal", f"{place.name}-shm"):
            with suppress(FileNotFoundError):
                os.replace(place.with_name(part), aside / part)
        return _swap(backup, place, aside)


def _new_aside() -> Path:
    stem = f"replaced-{datetime.now(UTC):%Y%m%dT%H%M%SZ}"
    number, path = 1, Path(settings.DATA_DIR) / stem
    while path.exists():
        number += 1
        path = path.with_name(f"{stem}-{number}")
    path.mkdir(mode=0o700)
    return path


def _swap(backup: Opened, place: Path, aside: Path | None) -> Path | None:
    """Copies aside first, then the key, then the database: at every moment there is a whole database here."""
    if aside is not None:
        for file in (place, _key_file()):
            if file.exists():
                _keep(file, aside / file.name)
        sync_folder(aside)
        sync_folder(aside.parent)
    _put_key(backup.key)
    os.replace(backup.database, place)
    return aside


def _keep(file: Path, kept: Path) -> None:
    """Under a second name; opening the file here to copy it would give up this process's lock on it."""
    try:
        os.link(file, kept)
    except OSError:  # a disk that knows no second names
        shutil.copy2(file, kept)
        sync_file(kept)


def _into_postgres(backup: Opened, replace: bool) -> Path | None:
    aside = None
    try:
        with postgres.alone(connection) as there:
            if there.has_data:
                if not replace:
                    raise BackupError(HAS_DATA)
                aside = make.make(make.target_of("", now=datetime.now(UTC)), occasion="before it was replaced")
            _begin()
            _put_key(backup.key)
            postgres.put(connection, backup.database)
            return aside
    except sqlite.InUse:
        raise BackupError(SERVED) from None


def _check(backup: Opened) -> None:
    """What is in place now is what was in the backup."""
    if connection.vendor == "sqlite":
        content = sqlite.read(Path(connection.settings_dict["NAME"]))
    else:
        with connection.cursor() as cursor:
            content = postgres.content_of(cursor)
    wrong = archive.differences(content.document(), backup.content.document())
    if wrong:
        raise BackupError(f"What is in place now is not what was in the backup: {' '.join(wrong)}")
    _end()


def _notes(backup: Opened) -> list[str]:
    notes = list(backup.content.broken)
    if backup.key is None and backup.facts["key_sum"] != archive.key_sum(settings.SECRET_KEY):
        notes.append(
            "The secret key here is not the one of the backup, which came without it: set FAIRBOX_SECRET_KEY as it "
            "was. Otherwise everybody signs in anew, and printed slips have to be made anew."
        )
    return notes
