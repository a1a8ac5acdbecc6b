"""Tables whose rows the database itself keeps: triggers refuse what would change or remove them.

The triggers are put in place after every migration, not by one: on SQLite a migration that rebuilds a table drops
its triggers without a word. They guard against a slip of this program and of whoever repairs its data by hand; who
owns the database file can remove them, and meets the hashes of the log instead.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models.signals import post_migrate

_DRAWN = (
    "EXISTS (SELECT 1 FROM contest_logchain c JOIN contest_contest k ON k.id = c.contest_id "
    "WHERE c.id = OLD.chain_id AND k.state <> 'preparing')"
)


@dataclass(frozen=True)
class Guard:
    """`fixed` columns of `table` never change; no row goes while the SQL condition `stays` holds for it."""

    table: str
    fixed: tuple[str, ...]
    stays: str = "1 = 1"

    @property
    def name(self) -> str:
        return f"keep_{self.table}"


#: A contest that was never drawn may be deleted with its log; persons stand in a side row, which may go at any time.
GUARDS = [
    Guard("contest_logrow", ("id", "chain_id", "number", "at", "what", "facts", "previous", "hash"), stays=_DRAWN),
    Guard("contest_turnin", ("id", "box_id", "status", "handed_in_at", "typed", "reason", "recorded_at")),
]


def register() -> None:
    """Put the triggers in place whenever the tables of an app were migrated."""
    post_migrate.connect(_after_migration, dispatch_uid="append-only tables")


def keep(guard: Guard) -> None:
    if guard not in GUARDS:
        GUARDS.append(guard)


def _after_migration(sender: AppConfig, using: str, **kwargs: Any) -> None:
    connection = connections[using]
    there = set(connection.introspection.table_names())
    install(connection, [each for each in GUARDS if each.table in there and each.table.startswith(f"{sender.label}_")])


def install(connection: BaseDatabaseWrapper, guards: list[Guard] | None = None) -> None:
    """Create the triggers anew; SQLite and PostgreSQL are known, any other database is refused."""
    for guard in GUARDS if guards is None else guards:
        _run(connection, [*_removed(connection, guard), *_made(connection, guard)])


def remove(connection: BaseDatabaseWrapper) -> None:
    for guard in GUARDS:
        _run(connection, _removed(connection, guard))


@contextmanager
def aside(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """Without the triggers for a moment: for repairs and for tests of what they guard."""
    remove(connection)
    yield
    install(connection)


def _run(connection: BaseDatabaseWrapper, statements: list[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def _changes(guard: Guard, differs: str) -> str:
    return " OR ".join(f'OLD."{column}" {differs} NEW."{column}"' for column in guard.fixed)


def _made(connection: BaseDatabaseWrapper, guard: Guard) -> list[str]:
    changed, gone = f"{guard.table}: a row that is kept cannot change", f"{guard.table}: a row that is kept cannot go"
    if connection.vendor == "sqlite":
        refuse = "BEGIN SELECT RAISE(ABORT, '{}'); END"
        return [
            f"CREATE TRIGGER {guard.name}_changed BEFORE UPDATE ON {guard.table} "
            f"WHEN {_changes(guard, 'IS NOT')} {refuse.format(changed)}",
            f"CREATE TRIGGER {guard.name}_gone BEFORE DELETE ON {guard.table} WHEN {guard.stays} {refuse.format(gone)}",
        ]
    if connection.vendor == "postgresql":
        return [
            *_on_postgresql(guard, "changed", "UPDATE", _changes(guard, "IS DISTINCT FROM"), changed, "NEW"),
            *_on_postgresql(guard, "gone", "DELETE", guard.stays, gone, "OLD"),
        ]
    raise NotImplementedError(f"No append-only triggers are known for {connection.vendor}.")


def _on_postgresql(guard: Guard, suffix: str, event: str, condition: str, text: str, row: str) -> list[str]:
    name = f"{guard.name}_{suffix}"
    return [
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF {condition} THEN RAISE EXCEPTION USING ERRCODE = '23000', MESSAGE = '{text}'; END IF; "
        f"RETURN {row}; END $$",
        f"CREATE TRIGGER {name} BEFORE {event} ON {guard.table} FOR EACH ROW EXECUTE FUNCTION {name}()",
    ]


def _removed(connection: BaseDatabaseWrapper, guard: Guard) -> list[str]:
    names = [f"{guard.name}_changed", f"{guard.name}_gone"]
    if connection.vendor == "postgresql":
        # A table with constraints still to be checked takes no change of its triggers.
        drops = [f"DROP TRIGGER IF EXISTS {name} ON {guard.table}" for name in names]
        return ["SET CONSTRAINTS ALL IMMEDIATE", *drops, "SET CONSTRAINTS ALL DEFERRED"]
    return [f"DROP TRIGGER IF EXISTS {name}" for name in names]
