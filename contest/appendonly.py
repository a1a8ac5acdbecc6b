"""Tables whose rows the database itself keeps: triggers refuse what would change or remove them, or break the seal.

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


@dataclass(frozen=True)
class Refusal:
    """A row of `table` that is refused at `event` (INSERT or UPDATE) where the SQL condition `when` holds."""

    table: str
    event: str
    when: str
    text: str

    @property
    def name(self) -> str:
        return f"seal_{self.table}_{self.event.lower()}"


_UNDECLARED = (
    "NEW.one_person AND NOT EXISTS (SELECT 1 FROM contest_contest k WHERE k.id = NEW.contest_id AND k.one_person)"
)
_NOT_ONE_PERSON = "contest_contestrole: this is no one-person contest"

#: The copy of the one-person flag, which lets a role stand beside the desk, says what the contest says; and the
#: contest's own is never cleared.
REFUSALS = [
    Refusal("contest_contestrole", "INSERT", _UNDECLARED, _NOT_ONE_PERSON),
    Refusal("contest_contestrole", "UPDATE", _UNDECLARED, _NOT_ONE_PERSON),
    Refusal(
        "contest_contest",
        "UPDATE",
        "OLD.one_person AND NOT NEW.one_person",
        "contest_contest: a one-person contest stays one",
    ),
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
    of_app = [each for each in _all() if each.table in there and each.table.startswith(f"{sender.label}_")]
    install(connection, of_app)


def _all() -> list[Guard | Refusal]:
    return [*GUARDS, *REFUSALS]


def install(connection: BaseDatabaseWrapper, wanted: list[Guard | Refusal] | None = None) -> None:
    """Create the triggers anew; SQLite and PostgreSQL are known, any other database is refused."""
    for each in _all() if wanted is None else wanted:
        made = _made(connection, each) if isinstance(each, Guard) else _made_refusal(connection, each)
        _run(connection, [*_removed(connection, each), *made])


def remove(connection: BaseDatabaseWrapper) -> None:
    for each in _all():
        _run(connection, _removed(connection, each))


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
            *_on_postgresql(
                f"{guard.name}_changed", guard.table, "UPDATE", _changes(guard, "IS DISTINCT FROM"), changed
            ),
            *_on_postgresql(f"{guard.name}_gone", guard.table, "DELETE", guard.stays, gone),
        ]
    raise NotImplementedError(f"No append-only triggers are known for {connection.vendor}.")


def _made_refusal(connection: BaseDatabaseWrapper, refusal: Refusal) -> list[str]:
    if connection.vendor == "sqlite":
        return [
            f"CREATE TRIGGER {refusal.name} BEFORE {refusal.event} ON {refusal.table} WHEN {refusal.when} "
            f"BEGIN SELECT RAISE(ABORT, '{refusal.text}'); END"
        ]
    return _on_postgresql(refusal.name, refusal.table, refusal.event, refusal.when, refusal.text)


def _on_postgresql(name: str, table: str, event: str, condition: str, text: str) -> list[str]:
    row = "OLD" if event == "DELETE" else "NEW"
    return [
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF {condition} THEN RAISE EXCEPTION USING ERRCODE = '23000', MESSAGE = '{text}'; END IF; "
        f"RETURN {row}; END $$",
        f"CREATE TRIGGER {name} BEFORE {event} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
    ]


def _removed(connection: BaseDatabaseWrapper, kept: Guard | Refusal) -> list[str]:
    names = [f"{kept.name}_changed", f"{kept.name}_gone"] if isinstance(kept, Guard) else [kept.name]
    if connection.vendor == "postgresql":
        # A table with constraints still to be checked takes no change of its triggers.
        drops = [f"DROP TRIGGER IF EXISTS {name} ON {kept.table}" for name in names]
        return ["SET CONSTRAINTS ALL IMMEDIATE", *drops, "SET CONSTRAINTS ALL DEFERRED"]
    return [f"DROP TRIGGER IF EXISTS {name}" for name in names]
