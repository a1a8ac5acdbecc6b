"""Checks of the two logs: whether they are whole, what they say of the seal, and the row that publishes."""

from collections.abc import Iterator

from reports.rules.package.archive import bound_sums
from reports.rules.package.logreplay import broken_at
from reports.rules.package.opened import Finding, OpenedPackage


def check_logs(package: OpenedPackage, noted: str | None) -> Iterator[Finding]:
    """Yield whether both chains are whole; `noted` is the hash of any of their rows, as printed on the day."""
    hashes: dict[str, list[str]] = {}
    for name in ("day", "cards"):
        chain = package.chain(name)
        broken = broken_at(chain)
        hashes[name] = [row.hash for row in chain]
        if broken is not None:
            yield Finding(False, f"log-{name}.csv: row {broken} does not fit the row before it.")
        else:
            yield Finding(True, f"log-{name}.csv is whole: {len(chain)} rows.")
    if noted is not None:
        yield _noted_row(hashes, noted)
    yield from _seal(package)


def _noted_row(hashes: dict[str, list[str]], noted: str) -> Finding:
    for name, rows in hashes.items():
        place = next((place for place, row in enumerate(rows, 1) if row.startswith(noted)), None)
        if place is not None:
            after = len(rows) - place
            more = f", {after} rows were written after it" if after else ", its last"
            return Finding(True, f"log-{name}.csv contains the printed head at row {place}{more}.")
    return Finding(False, "No row of either log has the printed head: this is not the log of that day.")


def _seal(package: OpenedPackage) -> Iterator[Finding]:
    """contest.json tells of an early opening of the seal, and of one person, where the log of the day does."""
    chain = package.chain("day")
    opened = [row.known["reason"] for row in chain if row.what == "seal opened"]
    stated = package.facts["seal_opened"]
    same = [stated["reason"]] == opened if stated else not opened
    if not same:
        yield Finding(False, "contest.json does not say of the seal what the log of the day says.")
    elif opened:
        yield Finding(True, f"The log says that the seal was opened early: {opened[0]}")
    else:
        yield Finding(True, "The log has no record of the seal being opened early.")
    alone = any(row.what == "one person declared" for row in chain)
    if alone and package.facts["one_person"] is not True:
        yield Finding(False, "The log says that one person worked desk and tally; contest.json does not.")
    if not alone and package.facts["one_person"] is not False:
        yield Finding(False, "contest.json says that one person worked desk and tally; the log does not.")


def check_publication(package: OpenedPackage) -> Iterator[Finding]:
    """Yield whether the log of the day ends with the row that published this revision, with every file's sum in it."""
    chain = package.chain("day")
    if not chain or chain[-1].what != "result published":
        yield Finding(False, "log-day.csv does not end with the row that published the result.")
        return
    facts = chain[-1].known
    if facts["revision"] != package.facts["revision"]:
        stated = package.facts["revision"]
        yield Finding(False, f"The log published revision {facts['revision']}, contest.json is revision {stated}.")
    tallied = package.tallied("day")[-1].known["inputs"]
    if facts["inputs"] is None or facts["inputs"] != tallied:
        yield Finding(False, "The log does not publish what the tally of this revision was made from.")
    bound, actual = facts["files"], bound_sums(package.files)
    wrong = sorted(name for name in {*bound, *actual} if bound.get(name) != actual.get(name))
    yield Finding(
        not wrong,
        f"Not as they were published: {', '.join(wrong)}."
        if wrong
        else f"All {len(actual)} files that the publication bound are as they were published.",
    )
