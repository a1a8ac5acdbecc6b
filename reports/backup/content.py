"""What a database holds, as far as a copy can be held against it: how many rows, and the log chains."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from reports.rules.package.logreplay import START, Entry, broken_at

CHAINS = "SELECT id, contest_id, name, length, head FROM contest_logchain ORDER BY id"
CHAIN_ROWS = 'SELECT number, at, what, facts, previous, hash FROM contest_logrow WHERE chain_id = {} ORDER BY "number"'
MIGRATIONS = "SELECT app, name FROM django_migrations"


@dataclass(frozen=True, slots=True)
class Chain:
    """The head of a log chain as its own row says, and the number of the first row that does not fit, if any."""

    contest: int
    name: str
    length: int
    head: str
    broken: int | None


@dataclass(frozen=True, slots=True)
class Content:
    """Rows by table, the chains, and the migrations that made the tables as `app.name`."""

    rows: Mapping[str, int]
    chains: tuple[Chain, ...]
    migrations: tuple[str, ...]

    @property
    def has_data(self) -> bool:
        return any(self.rows.get(table) for table in ("contest_contest", "contest_account", "contest_team"))

    @property
    def broken(self) -> list[str]:
        """A sentence for each chain that is not whole."""
        return [
            f"The log of the {chain.name} of contest {chain.contest} does not hold together at row {chain.broken}."
            for chain in self.chains
            if chain.broken is not None
        ]

    def document(self) -> dict[str, Any]:
        """As JSON-able values, for the list of what a backup holds."""
        return {
            "rows": dict(sorted(self.rows.items())),
            "chains": [[each.contest, each.name, each.length, each.head, each.broken] for each in self.chains],
            "migrations": list(self.migrations),
        }


def chain_of(contest: int, name: str, length: int, head: str, rows: Iterable[Sequence[Any]]) -> Chain:
    """`rows`: number, at, what, facts, previous, hash, in their order."""
    entries = [Entry(str(number), *rest) for number, *rest in rows]
    broken = broken_at(entries)
    ends = entries[-1].hash if entries else START
    if broken is None and (len(entries), ends) != (length, head):
        broken = len(entries) + 1
    return Chain(contest, name, length, head, broken)


def differences(copy: Mapping[str, Any], original: Mapping[str, Any]) -> list[str]:
    """What two documents of contents do not have in common, in sentences."""
    found = []
    tables = sorted({*copy["rows"], *original["rows"]})
    for table in tables:
        here, there = copy["rows"].get(table), original["rows"].get(table)
        if here != there:
            found.append(f"{table} has {here or 0} rows instead of {there or 0}.")
    if copy["chains"] != original["chains"]:
        found.append("The log chains are not the same.")
    if copy["migrations"] != original["migrations"]:
        found.append("The tables are of another version.")
    return found
