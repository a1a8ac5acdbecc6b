"""The file of a backup: a zip with the database, the secret key, and a list of what the database held.

It is written under a name of its own, read back and held against the database, and only then gets its real name: what
has a backup's name is a whole backup.
"""

import hashlib
import hmac
import json
import os
import shutil
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reports.backup import postgres, sqlite
from reports.backup.content import Content, differences

FORMAT = "fairbox-backup-1"
LIST, KEY = "backup.json", "secret.key"
DATABASES = {"sqlite": sqlite, "postgresql": postgres}
CHUNK = 1024 * 1024


class BackupError(Exception):
    """A backup that cannot be made, read or put back; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A backup that was checked: its list, the database it holds as a file, what that holds, and the key if any."""

    facts: dict[str, Any]
    database: Path
    content: Content
    key: str | None


def key_sum(key: str) -> str:
    """By which a key is known again; it tells nothing about the key."""
    return hmac.new(key.encode(), b"the key of a backup", hashlib.sha256).hexdigest()[:16]


def sum_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def sync_folder(folder: Path) -> None:
    """What was renamed in `folder` is so on the disk too."""
    if os.name != "posix":  # elsewhere a folder cannot be opened, and renaming is written through
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_file(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def write(
    target: Path, *, engine: str, database: Path, content: Content, facts: dict[str, Any], key: str | None
) -> None:
    """Make the backup `target` of a copied database; nothing of that name is there before it was read back."""
    half = target.with_name(f".{target.name}.part")
    listed = {
        "format": FORMAT,
        "engine": engine,
        **facts,
        "database": {"name": DATABASES[engine].NAME, "sha256": sum_of(database)},
        **content.document(),
    }
    try:
        with open(os.open(half, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600), "w+b") as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
                archive.writestr(LIST, json.dumps(listed, indent=1))
                if key is not None:
                    archive.writestr(KEY, key)
                archive.write(database, DATABASES[engine].NAME)
            file.flush()
            os.fsync(file.fileno())
        with opened(half, beside=target.parent):
            pass
        os.replace(half, target)
        sync_folder(target.parent)
    finally:
        half.unlink(missing_ok=True)


@contextmanager
def opened(path: Path, *, beside: Path) -> Iterator[Opened]:
    """The backup `path`, unpacked to a file in `beside` and checked against its own list. Raises BackupError."""
    unpacked = beside / f".{path.name.strip('.')}.{os.getpid()}.unpacked"
    try:
        yield _checked(path, unpacked)
    finally:
        unpacked.unlink(missing_ok=True)


def _checked(path: Path, unpacked: Path) -> Opened:
    try:
        with zipfile.ZipFile(path) as archive:
            facts = _list(archive, path)
            with archive.open(facts["database"]["name"]) as packed, _private(unpacked) as file:
                shutil.copyfileobj(packed, file, CHUNK)
            key = archive.read(KEY).decode() if KEY in archive.namelist() else None
        if sum_of(unpacked) != facts["database"]["sha256"]:
            raise BackupError(f"{path.name} is damaged: its database is not the one that was put in.")
        content = DATABASES[facts["engine"]].read(unpacked)
    except FileNotFoundError:
        raise BackupError(f"There is no file {path}. Check the name.") from None
    except IsADirectoryError:
        raise BackupError(f"{path} is a folder: name the file in it.") from None
    except sqlite.Damaged as error:
        raise BackupError(f"{path.name} is damaged: {error}") from None
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, KeyError) as error:
        raise BackupError(f"{path.name} is no backup, or only a part of one ({error}). Copy it again.") from None
    wrong = differences(content.document(), facts)
    if wrong:
        raise BackupError(f"{path.name} is not what it says it is: {' '.join(wrong)}")
    return Opened(facts, unpacked, content, key)


def _private(path: Path) -> Any:
    return open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb")


def _list(archive: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    no_backup = BackupError(f"{path.name} is no backup of Fairbox: a results package and a copied database are not.")
    try:
        facts = json.loads(archive.read(LIST))
        engine, name = facts["engine"], facts["database"]["name"]
        known = facts["format"] == FORMAT and name == DATABASES[engine].NAME
        known = known and isinstance(facts["rows"], dict) and {"chains", "migrations", "made_at"} <= set(facts)
    except (KeyError, TypeError, ValueError):
        raise no_backup from None
    if not known:
        raise no_backup
    return dict(facts)
