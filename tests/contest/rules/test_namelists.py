"""The lists of names that a draw binds, and the corrections that follow it."""

import hashlib
from dataclasses import replace

import pytest

from contest.rules.namelists import (
    ListedEntry,
    NameLists,
    apply_corrections,
    corrections_between,
    read_lists,
    undo_corrections,
)

UIDS = ("11111111-1111-4111-8111-111111111111", "22222222-2222-4222-8222-222222222222")
LISTS = NameLists(
    (ListedEntry(2, UIDS[1], "Team  Birch "), ListedEntry(1, UIDS[0], "Team A\u0308sche")),
    (("ribs", "Ribs"), ("chicken", "Chicken\u2003thighs")),
)


def test_lists_to_the_letter():
    assert LISTS.entries_text == f"1\t{UIDS[0]}\tTeam Äsche\n2\t{UIDS[1]}\tTeam Birch\n"
    assert LISTS.categories_text == "ribs\tRibs\nchicken\tChicken thighs\n"
    assert LISTS.entries_sum == hashlib.sha256(LISTS.entries_text.encode()).hexdigest()
    assert LISTS.categories_sum == hashlib.sha256(LISTS.categories_text.encode()).hexdigest()


def test_lists_are_read_back_from_their_texts():
    read = read_lists(LISTS.entries_text, LISTS.categories_text)
    assert (read.entries_text, read.categories_text) == (LISTS.entries_text, LISTS.categories_text)


def renamed(lists, numbers=None, keys=None):
    """The lists with other names, by team number and by category key."""
    entries = tuple(replace(entry, name=(numbers or {}).get(entry.number, entry.name)) for entry in lists.entries)
    return NameLists(entries, tuple((key, (keys or {}).get(key, name)) for key, name in lists.categories))


@pytest.mark.parametrize(
    ("after", "number"),
    [
        (LISTS, 0),
        (renamed(LISTS, {2: "Team Birch"}), 0),  # the same once white space is folded
        (renamed(LISTS, {2: "Team Bark"}), 1),
        (renamed(LISTS, {1: "Team Birch", 2: "Team Äsche"}), 2),  # exchanged
        (renamed(LISTS, {1: "Team Ash"}, {"ribs": "Spare ribs"}), 2),
    ],
)
def test_corrections_lead_there_and_back(after, number):
    rows = corrections_between(LISTS, after)
    assert len(rows) == number
    assert apply_corrections(LISTS, rows).entries_sum == after.entries_sum
    assert apply_corrections(LISTS, rows).categories_sum == after.categories_sum
    before = undo_corrections(after, rows)
    assert (before.entries_sum, before.categories_sum) == (LISTS.entries_sum, LISTS.categories_sum)


def test_correction_states_names_and_the_new_sum():
    after = renamed(LISTS, {2: "Team Bark"})
    facts = {"entry": 2, "from": "Team Birch", "to": "Team Bark", "entries": after.entries_sum}
    assert corrections_between(LISTS, after) == [facts]
    after = renamed(LISTS, keys={"ribs": "Spare ribs"})
    facts = {"category": "ribs", "from": "Ribs", "to": "Spare ribs", "categories": after.categories_sum}
    assert corrections_between(LISTS, after) == [facts]


@pytest.mark.parametrize("change", [{"to": "Team Bard"}, {"entries": "0" * 64}, {"entry": 1}, {"entry": 9}])
def test_correction_that_does_not_fit_is_refused(change):
    after = renamed(LISTS, {2: "Team Bark"})
    facts = {**corrections_between(LISTS, after)[0], **change}
    with pytest.raises(ValueError, match="correct"):
        undo_corrections(after, [facts])


def test_uid_is_never_corrected():
    swapped = replace(LISTS, entries=(ListedEntry(2, UIDS[0], "Team Birch"), ListedEntry(1, UIDS[1], "Team Äsche")))
    assert corrections_between(LISTS, swapped) == []
    assert undo_corrections(swapped, []).entries_sum != LISTS.entries_sum
