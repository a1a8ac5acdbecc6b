"""Making a backup of everything, while the site is in use."""

import os
import re
import sqlite3
import time
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.db import connection

from reports.backup import archive, postgres, sqlite
from reports.backup.archive import BackupError

#: Backups that were made by themselves: so many are kept, the newest. One made by hand stays until somebody deletes it.
KEPT = 20
_OWN = re.compile(r"^fairbox-\d{8}T\d{6}Z-by-itself(-\d+)?\.zip$")


def folder() -> Path:
    """Where backups lie unless told otherwise, readable by this account alone."""
    path = Path(settings.DATA_DIR) / "backups"
    path.mkdir(parents=True, exist_ok=True)
    os.chmod(path, 0o700)
    return path


def target_of(where: str, *, now: datetime) -> Path:
    """The file to write for what was typed: nothing, a folder, or the file itself. Raises BackupError."""
    path = Path(where) if where else folder()
    if path.is_dir():
        return _free(path, f"fairbox-{now:%Y%m%dT%H%M%SZ}")
    if path.suffix != ".zip":
        raise BackupError(f"There is no folder {path}. Make it first, or name a file that ends in .zip.")
    if path.exists():
        raise BackupError(f"{path} is there already and is not overwritten. Choose another name.")
    if not path.parent.is_dir():
        raise BackupError(f"There is no folder {path.parent}. Make it first.")
    return path


def _free(where: Path, stem: str) -> Path:
    number, path = 1, where / f"{stem}.zip"
    while path.exists():
        number += 1
        path = where / f"{stem}-{number}.zip"
    return path


def make(target: Path | None = None, *, occasion: str = "by hand") -> Path:
    """Write a backup and read it back; without a target one of those that are made by themselves. Raises BackupError.

    A log that does not hold together is copied like any other, and told by `broken` in the backup's list.
    """
    now = datetime.now(UTC)
    by_itself = target is None
    target = target or _free(folder(), f"fairbox-{now:%Y%m%dT%H%M%SZ}-by-itself")
    _clear_halves(target.parent)
    copied = target.with_name(f".{target.name}.database")
    try:
        os.close(os.open(copied, os.O_WRONLY | os.O_CREAT, 0o600))
        if connection.vendor == "sqlite":
            content = sqlite.copy(Path(connection.settings_dict["NAME"]), copied)
        else:
            content = postgres.copy(connection, copied)
        key = None if os.environ.get("FAIRBOX_SECRET_KEY") else settings.SECRET_KEY
        facts = {
            "made_at": now.isoformat(timespec="seconds"),
            "occasion": occasion,
            "key_sum": archive.key_sum(settings.SECRET_KEY),
            "broken": content.broken,
        }
        archive.write(target, engine=connection.vendor, database=copied, content=content, facts=facts, key=key)
    except OSError as error:
        raise BackupError(_disk(error, target.parent)) from None
    except (sqlite3.Error, postgres.ToolTrouble) as error:
        raise BackupError(f"The database could not be copied: {error}") from None
    finally:
        for path in (copied, copied.with_name(f"{copied.name}-journal")):
            path.unlink(missing_ok=True)
    if by_itself:
        keep_newest()
    return target


def _disk(error: OSError, where: Path) -> str:
    return f"The backup could not be written to {where}: {error.strerror or error}. Make room there, or choose another."


def keep_newest() -> list[str]:
    """Delete the oldest backups that were made by themselves; their names."""
    own = sorted(path for path in folder().iterdir() if _OWN.match(path.name))
    for path in own[:-KEPT]:
        path.unlink(missing_ok=True)
    return [path.name for path in own[:-KEPT]]


def _clear_halves(where: Path) -> None:
    """What a power cut left of an earlier backup; one that is being written at this moment is younger."""
    for path in [*where.glob(".fairbox-*.part"), *where.glob(".fairbox-*.database*"), *where.glob(".*.unpacked")]:
        if path.is_file() and time.time() - path.stat().st_mtime > 3600:
            path.unlink(missing_ok=True)
