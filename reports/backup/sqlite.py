"""Copying an SQLite database while it is in use, reading a copy, and putting one in its place."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from reports.backup.content import CHAIN_ROWS, CHAINS, MIGRATIONS, Content, chain_of

NAME = "database.sqlite3"


class Damaged(Exception):
    """A database file that SQLite cannot read, or that fails its own check; the text says what it said."""


class InUse(Exception):
    """Another process has the database open."""


def copy(source: Path, target: Path) -> Content:
    """Copy the database as it is at this moment, in one piece, while others read and write; what was copied.

    The copy is one file without a log beside it. Raises sqlite3.Error where it cannot be written.
    """
    with closing(sqlite3.connect(source, timeout=20, isolation_level=None)) as original:
        original.execute("BEGIN")
        content = content_of(original)  # this read holds the moment that is copied
        with closing(sqlite3.connect(target, isolation_level=None)) as made:
            original.backup(made)
            made.execute("PRAGMA journal_mode = DELETE")
        original.execute("COMMIT")
    return content


def content_of(connection: sqlite3.Connection) -> Content:
    named = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name"
    tables = [name for (name,) in connection.execute(named)]
    rows = {table: connection.execute(f'SELECT count(*) FROM "{table}"').fetchone()[0] for table in tables}  # noqa: S608
    if not {"contest_logchain", "django_migrations"} <= set(tables):
        return Content(rows, (), ())
    return Content(
        rows,
        tuple(
            chain_of(contest, name, length, head, connection.execute(CHAIN_ROWS.format("?"), [pk]))
            for pk, contest, name, length, head in connection.execute(CHAINS).fetchall()
        ),
        tuple(sorted(f"{app}.{name}" for app, name in connection.execute(MIGRATIONS))),
    )


def read(path: Path) -> Content:
    """What a database file holds, after SQLite's own check of it. Raises Damaged."""
    try:
        # Read as it lies: nothing is written beside it, and nobody else has it.
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?immutable=1", uri=True)) as connection:
            said = [text for (text,) in connection.execute("PRAGMA integrity_check")]
            if said != ["ok"]:
                raise Damaged("; ".join(said[:3]))
            orphans = connection.execute("PRAGMA foreign_key_check").fetchall()
            if orphans:
                raise Damaged(f"{len(orphans)} rows point to rows that are not there, the first in {orphans[0][0]}")
            return content_of(connection)
    except sqlite3.DatabaseError as error:
        raise Damaged(str(error)) from None


@contextmanager
def alone(path: Path) -> Iterator[Content]:
    """The database for this process alone, its log written back into it. Raises InUse, or Damaged."""
    with closing(sqlite3.connect(path, timeout=1, isolation_level=None)) as connection:
        try:
            # Nobody may have a database open while it leaves the mode in which readers and a writer share it.
            connection.execute("PRAGMA journal_mode = DELETE")
            connection.execute("PRAGMA locking_mode = EXCLUSIVE")
            connection.execute("BEGIN EXCLUSIVE")
            content = content_of(connection)
        except sqlite3.OperationalError as error:
            if "locked" in str(error):
                raise InUse from None
            raise Damaged(str(error)) from None
        except sqlite3.DatabaseError as error:
            raise Damaged(str(error)) from None
        yield content
