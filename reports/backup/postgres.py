"""Copying a PostgreSQL database with its own tools, reading a copy, and putting one in its place."""

import os
import re
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from django.db.backends.postgresql.client import DatabaseClient

from reports.backup.content import CHAIN_ROWS, CHAINS, MIGRATIONS, Content, chain_of
from reports.backup.sqlite import Damaged, InUse

NAME = "database.dump"

#: What COPY writes for signs that would break its lines.
_ESCAPES = {"b": "\b", "f": "\f", "n": "\n", "r": "\r", "t": "\t", "v": "\v"}


class ToolTrouble(Exception):
    """pg_dump, pg_restore or psql is missing or has failed; the text is what it said."""


def copy(database: Any, target: Path) -> Content:
    """Copy the database of the Django connection `database` as it is at this moment; what was copied."""
    other = database.copy()
    try:
        with other.cursor() as cursor:
            cursor.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
            content = content_of(cursor)
            cursor.execute("SELECT pg_export_snapshot()")
            snapshot = cursor.fetchone()[0]
            with target.open("wb") as out:
                _run(database, "pg_dump", ["--format=custom", "--no-owner", f"--snapshot={snapshot}"], stdout=out)
            cursor.execute("COMMIT")
    finally:
        other.close()
    return content


def content_of(cursor: Any) -> Content:
    def every(sql: str) -> list[tuple[Any, ...]]:
        cursor.execute(sql)
        return list(cursor.fetchall())

    tables = [name for (name,) in every("SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1")]
    rows = {table: every(f'SELECT count(*) FROM "{table}"')[0][0] for table in tables}  # noqa: S608
    if not {"contest_logchain", "django_migrations"} <= set(tables):
        return Content(rows, (), ())
    return Content(
        rows,
        tuple(
            chain_of(contest, name, length, head, every(CHAIN_ROWS.format(int(pk))))
            for pk, contest, name, length, head in every(CHAINS)
        ),
        _migrations(every(MIGRATIONS)),
    )


def _migrations(rows: list[tuple[Any, ...]]) -> tuple[str, ...]:
    return tuple(sorted(f"{app}.{name}" for app, name in rows))


def read(path: Path) -> Content:
    """What a dump holds, read from the dump itself, not from a database. Raises Damaged, or ToolTrouble."""
    kept: dict[str, list[dict[str, str]]] = {"contest_logchain": [], "contest_logrow": [], "django_migrations": []}
    counts: dict[str, int] = {}
    try:
        with tempfile.TemporaryFile() as out:
            _run(None, "pg_restore", ["--data-only", "--file=-", str(path)], stdout=out)
            out.seek(0)
            for table, row in _rows(out, set(kept)):
                counts[table] = counts.get(table, 0) + (row != {})
                if row and table in kept:
                    kept[table].append(row)
    except ToolTrouble as error:
        raise Damaged(str(error)) from None
    rows_of: dict[str, list[dict[str, str]]] = {}
    for row in kept["contest_logrow"]:
        rows_of.setdefault(row["chain_id"], []).append(row)
    chains = []
    for chain in sorted(kept["contest_logchain"], key=lambda each: int(each["id"])):
        ordered = sorted(rows_of.get(chain["id"], []), key=lambda each: int(each["number"]))
        entries = [[row[name] for name in ("number", "at", "what", "facts", "previous", "hash")] for row in ordered]
        chains.append(chain_of(int(chain["contest_id"]), chain["name"], int(chain["length"]), chain["head"], entries))
    migrations = _migrations([(row["app"], row["name"]) for row in kept["django_migrations"]])
    return Content(counts, tuple(chains), migrations)


def _rows(lines: IO[bytes], wanted: set[str]) -> Iterator[tuple[str, dict[str, str]]]:
    """(table, row) of everything that the script of a dump copies in; an empty row where a table begins.

    Only rows of `wanted` tables are taken apart: those of others are counted.
    """
    table, columns = "", []
    for raw in lines:
        if table == "":
            begins = re.match(rb'COPY public\."?(\w+)"? \((.*)\) FROM stdin;', raw)
            if begins:
                table = begins[1].decode()
                columns = [name.strip(' "') for name in begins[2].decode().split(",")]
                yield table, {}
        elif raw == b"\\.\n":
            table = ""
        elif table in wanted:
            cells = raw.decode().removesuffix("\n").split("\t")
            yield table, dict(zip(columns, map(_plain, cells), strict=True))
        else:
            yield table, {"": ""}


def _plain(cell: str) -> str:
    return re.sub(r"\\(.)", lambda found: _ESCAPES.get(found[1], found[1]), cell)


@contextmanager
def alone(database: Any) -> Iterator[Content]:
    """What the database holds, where nobody else is connected to it. Raises InUse."""
    with database.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid() "
            "AND backend_type = 'client backend'"
        )
        if cursor.fetchone()[0]:
            raise InUse
        content = content_of(cursor)
    database.close()
    yield content


def put(database: Any, path: Path) -> None:
    """Everything in the database is replaced by the dump, in one transaction: all of it or nothing."""
    with tempfile.TemporaryFile() as script:
        script.write(b"SET client_min_messages = warning;\nDROP SCHEMA public CASCADE;\nCREATE SCHEMA public;\n")
        script.flush()
        _run(None, "pg_restore", ["--no-owner", "--no-privileges", "--file=-", str(path)], stdout=script)
        script.seek(0)
        options = ["--no-psqlrc", "--quiet", "--single-transaction", "--set=ON_ERROR_STOP=1", "--output=/dev/null"]
        _run(database, "psql", options, stdin=script)


def _run(database: Any, tool: str, options: list[str], **streams: Any) -> None:
    connected: list[str] = []
    more: dict[str, str] | None = None
    if database is not None:
        psql, more = DatabaseClient.settings_to_cmd_args_env(database.settings_dict, [])
        connected = [*psql[1:-1], f"--dbname={psql[-1]}"]
    try:
        ran = subprocess.run(  # noqa: S603
            [tool, *connected, *options],
            env={**os.environ, **(more or {})},
            stderr=subprocess.PIPE,
            check=False,
            **{"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, **streams},
        )
    except FileNotFoundError:
        raise ToolTrouble(f"{tool} is not installed here. Install the client of PostgreSQL.") from None
    if ran.returncode:
        said = ran.stderr.decode(errors="replace").strip().splitlines() or [f"status {ran.returncode}"]
        raise ToolTrouble(f"{tool}: {said[0]}"[:300])
