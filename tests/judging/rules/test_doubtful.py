"""Questions about marks that look like slips. The limits are the tool's own choice: no source gives them."""

import doctest
from decimal import Decimal

import pytest

from judging.rules import doubtful
from judging.rules.doubtful import doubts

CRITERIA = ("appearance", "taste", "tenderness")


def ask(table, boxes, criteria=CRITERIA):
    """`table`: seat → one text of marks for each box."""
    cards = {
        (box, seat): tuple(Decimal(mark) for mark in text.split())
        for seat, texts in table.items()
        for box, text in zip(boxes, texts, strict=True)
        if text
    }
    return [
        (each.kind, each.seat, each.boxes)
        for each in doubts(cards, boxes=boxes, seats=sorted(table), criteria=criteria)
    ]


def test_three_from_the_median_of_the_rest_is_asked_about_two_is_not():
    table = {"A": ["8 5 7"], "B": ["8 8 7"], "C": ["7 8 7"], "D": ["8 8 6"]}
    assert ask(table, ["482"]) == [("apart", "A", ("482",))]
    table["A"] = ["8 6 7"]
    assert ask(table, ["482"]) == []


def test_the_own_mark_is_no_part_of_the_median():
    # The median of all three is 7, of the rest (7, 9) 8: 5 is three below the rest, though two below all.
    table = {"A": ["5 6"], "B": ["7 6"], "C": ["9 5"]}
    assert ask(table, ["482"], criteria=("taste", "tenderness"))[0] == ("apart", "A", ("482",))


def test_a_median_between_two_marks_is_exact():
    table = {"A": ["5.5 6"], "B": ["8 6"], "C": ["9 5"]}  # the rest: 8.5, exactly three above
    assert ("apart", "A", ("482",)) in ask(table, ["482"], criteria=("taste", "tenderness"))
    table = {"A": ["5.6 6"], "B": ["8 6"], "C": ["9 5"]}
    assert ("apart", "A", ("482",)) not in ask(table, ["482"], criteria=("taste", "tenderness"))


def test_one_other_judge_makes_no_median():
    assert ask({"A": ["9 8 9"], "B": ["4 5 4"]}, ["482"]) == []


def test_two_neighbouring_boxes_that_fit_each_other_look_swapped():
    others = {seat: ["8 9 8", "4 5 4", "7 6 7"] for seat in "BCD"}
    swapped = {"A": ["4 5 5", "8 8 9", "7 6 7"], **others}
    assert ask(swapped, ["482", "119", "736"]) == [("swapped", "A", ("482", "119"))]
    right = {"A": ["8 8 9", "4 5 5", "7 6 7"], **others}
    assert ask(right, ["482", "119", "736"]) == []


def test_boxes_that_are_not_neighbours_are_asked_about_one_by_one():
    others = {seat: ["8 9 8", "7 6 7", "4 5 4"] for seat in "BCD"}
    table = {"A": ["4 5 5", "7 6 7", "8 8 9"], **others}
    assert {kind for kind, _, _ in ask(table, ["482", "119", "736"])} == {"apart"}


def test_cards_of_equal_marks_are_named_once_a_sheet():
    table = {"A": ["8 8 8", "7 8 7", "6 6 6"], "B": ["8 7 8", "7 7 8", "6 7 6"], "C": ["7 8 8", "8 7 7", "6 7 7"]}
    assert ask(table, ["482", "119", "736"]) == [("equal", "A", ("482", "736"))]


def test_one_criterion_has_no_equal_marks():
    assert ask({"A": ["8"], "B": ["8"], "C": ["8"]}, ["482"], criteria=("liking",)) == []


@pytest.mark.parametrize("missing", ["A", "B"])
def test_missing_cards_are_left_out(missing):
    table = {"A": ["8 9 8"], "B": ["8 9 8"], "C": ["8 9 8"], "D": ["8 9 8"]}
    table[missing] = [""]
    assert ask(table, ["482"]) == []
    assert ask({"A": [""], "B": [""]}, ["482"]) == []


def test_nothing_is_asked_where_nothing_is():
    assert doubts({}, boxes=[], seats=[], criteria=CRITERIA) == []


def test_the_worked_example_of_the_docstring_holds():
    outcome = doctest.testmod(doubtful)
    assert (outcome.failed, outcome.attempted > 0) == (0, True)
