"""The marks of a scale and the messages for a cell."""

from decimal import Decimal

import pytest

from contest.rules.ruleset import from_document, shipped, to_document
from judging.rules.scale import MarkError, allowed, parse_mark


def test_allowed_marks():
    uneven = shipped()["uneven-weights"]
    # From 1 by halves to 20; the penalty, 0, is not among them.
    assert allowed(uneven, "taste") == tuple(Decimal(mark) / 2 for mark in range(2, 41))
    halves = allowed(shipped()["four-criteria"], "impression")
    assert (halves[0], halves[1], halves[-1], len(halves)) == (1, Decimal("1.5"), 10, 19)
    with pytest.raises(KeyError):
        allowed(uneven, "smoke")


def test_a_criterion_may_have_its_own_step():
    document = to_document(shipped()["taste-double"])
    document["criterion"][0]["step"] = "0.5"
    rules = from_document(document)
    assert Decimal("8.5") in allowed(rules, "appearance")
    assert Decimal("8.5") not in allowed(rules, "taste")


@pytest.mark.parametrize(
    ("text", "mark"),
    [("9", "9"), (" 9 ", "9"), ("9.0", "9"), ("+9", "9"), ("8.5", "8.5"), ("8,5", "8.5"), ("8,50", "8.5")],
)
def test_marks_that_stand(text, mark):
    found = parse_mark(text, shipped()["four-criteria"], "taste")
    assert found == Decimal(mark)
    assert found in allowed(shipped()["four-criteria"], "taste")


@pytest.mark.parametrize(
    ("key", "text", "said"),
    [
        ("taste-double", "10", "10 is above the scale: 1 to 9, whole marks"),
        ("taste-double", "0", "0 is below the scale: 1 to 9, whole marks"),
        ("taste-double", "-3", "-3 is below the scale: 1 to 9, whole marks"),
        ("taste-double", "8.5", "8.5: whole marks only"),
        ("taste-double", "nine", "“nine” is not a number: type 9"),
        ("taste-double", "Outstanding", "“Outstanding” is not a number: type 9"),
        ("taste-double", "eleven", "“eleven” is not a number: type a mark, 1 to 9, whole marks"),
        ("taste-double", "8x", "“8x” is not a number: type a mark, 1 to 9, whole marks"),
        ("taste-double", "1e0", "“1e0” is not a number: type a mark, 1 to 9, whole marks"),
        ("taste-double", "NaN", "“NaN” is not a number: type a mark, 1 to 9, whole marks"),
        ("taste-double", "", "no mark: type one, 1 to 9, whole marks"),
        ("taste-double", "1,000", "“1,000” is not a number: type a mark, 1 to 9, whole marks"),
        ("four-criteria", "8.25", "8.25: half marks only, 8 or 8.5"),
        ("uneven-weights", "0", "0 is the penalty mark, given by ruling only: 1 to 20, half marks"),
    ],
)
def test_marks_that_do_not(key, text, said):
    with pytest.raises(MarkError) as caught:
        parse_mark(text, shipped()[key], "taste")
    assert str(caught.value) == said


def test_the_penalty_mark_passes_where_a_ruling_stands_behind_it():
    assert parse_mark("0", shipped()["uneven-weights"], "taste", penalty=True) == 0
    with pytest.raises(MarkError, match="-1 is below the scale"):
        parse_mark("-1", shipped()["uneven-weights"], "taste", penalty=True)
