"""The lists of names that a draw's text binds by their sums, and the corrections of names that follow it.

The list of entries has a line for each entry, by team number: number, uid and name, separated by tabs. The list of
categories has a line for each category in the order of the contest: key and name. Names are in normal form NFC with
every run of white space as one blank. Both are UTF-8, each line ended by a line feed.

A correction is a row of the day's log with the sum of the list after it. Undone from the last to the first, the
corrections lead from the names of today back to those that were drawn.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from contest.rules.draw.commitment import one_line, sha256

CORRECTED = "name corrected"
"""The day log's word for such a row."""


@dataclass(frozen=True, slots=True)
class ListedEntry:
    """One entry: team number, the team's uid, its name."""

    number: int
    uid: str
    name: str


@dataclass(frozen=True, slots=True)
class NameLists:
    """All names of a contest: its entries by team number, and its categories (key, name) in their order."""

    entries: tuple[ListedEntry, ...]
    categories: tuple[tuple[str, str], ...]

    @property
    def entries_text(self) -> str:
        """The list of entries, as its sum is taken."""
        ordered = sorted(self.entries, key=lambda entry: entry.number)
        return "".join(f"{entry.number}\t{entry.uid}\t{one_line(entry.name)}\n" for entry in ordered)

    @property
    def categories_text(self) -> str:
        """The list of categories, as its sum is taken."""
        return "".join(f"{key}\t{one_line(name)}\n" for key, name in self.categories)

    @property
    def entries_sum(self) -> str:
        """SHA-256 of the list of entries."""
        return sha256(self.entries_text)

    @property
    def categories_sum(self) -> str:
        """SHA-256 of the list of categories."""
        return sha256(self.categories_text)

    def name_of(self, facts: Mapping[str, Any]) -> str:
        """Return the name of the entry or category that a correction is about.

        Raises ValueError for one that the lists do not hold.
        """
        if "entry" in facts:
            names = [entry.name for entry in self.entries if entry.number == facts["entry"]]
        else:
            names = [name for key, name in self.categories if key == facts["category"]]
        if len(names) != 1:
            raise ValueError("the log corrects a name that contest.json does not have, or has twice")
        return one_line(names[0])

    def renamed(self, facts: Mapping[str, Any], name: str) -> NameLists:
        """Return the lists with another name for the entry or category that a correction is about."""
        if "entry" in facts:
            changed = (replace(entry, name=name) if entry.number == facts["entry"] else entry for entry in self.entries)
            return replace(self, entries=tuple(changed))
        return replace(
            self, categories=tuple((key, name if key == facts["category"] else old) for key, old in self.categories)
        )

    def has_sum_of(self, facts: Mapping[str, Any]) -> bool:
        """Whether the list that a correction is about has the sum that the correction states."""
        if "entry" in facts:
            return bool(facts.get("entries") == self.entries_sum)
        return bool(facts.get("categories") == self.categories_sum)


def read_lists(entries_text: str, categories_text: str) -> NameLists:
    """Return the lists that two such texts hold. Raises ValueError for a line that is not of a list."""
    entries = []
    for line in entries_text.splitlines():
        number, uid, name = line.split("\t")
        entries.append(ListedEntry(int(number), uid, name))
    categories = [tuple(line.split("\t")) for line in categories_text.splitlines()]
    return NameLists(tuple(entries), tuple((key, name) for key, name in categories))


def corrections_between(before: NameLists, after: NameLists) -> list[dict[str, Any]]:
    """Return the facts of the log rows that lead from the names of `before` to those of `after`.

    Entries and categories that only one of the lists has are passed over: they come and go with a draw.
    """
    rows: list[dict[str, Any]] = []
    lists = before
    numbers = {entry.number: one_line(entry.name) for entry in before.entries}
    for entry in after.entries:
        old, new = numbers.get(entry.number), one_line(entry.name)
        if old not in (None, new):
            facts: dict[str, Any] = {"entry": entry.number, "from": old, "to": new}
            lists = lists.renamed(facts, new)
            rows.append({**facts, "entries": lists.entries_sum})
    keys = {key: one_line(name) for key, name in before.categories}
    for key, name in after.categories:
        old, new = keys.get(key), one_line(name)
        if old not in (None, new):
            facts = {"category": key, "from": old, "to": new}
            lists = lists.renamed(facts, new)
            rows.append({**facts, "categories": lists.categories_sum})
    return rows


def apply_corrections(lists: NameLists, corrections: Iterable[Mapping[str, Any]]) -> NameLists:
    """Return the lists after corrections, in the order in which they were logged."""
    for facts in corrections:
        lists = lists.renamed(facts, str(facts["to"]))
    return lists


def undo_corrections(lists: NameLists, corrections: Sequence[Mapping[str, Any]]) -> NameLists:
    """Return the lists as they were before corrections, given in the order in which they were logged.

    Raises ValueError for a correction that does not lead to the names after it, or states another sum.
    """
    for facts in reversed(corrections):
        if lists.name_of(facts) != facts["to"] or not lists.has_sum_of(facts):
            raise ValueError(f"the log's correction to “{facts['to']}” does not lead to the names of contest.json")
        lists = lists.renamed(facts, str(facts["from"]))
    return lists
