"""The sentences beside a result."""

from contest.rules.ruleset import from_document, shipped, to_document
from judging.rules.tally import tally
from judging.rules.workings import working
from tests.judging.rules.helpers import box, one_criterion, result, results

DOUBLE = shipped()["taste-double"]
SIX = [(9, 9, 9), (9, 9, 8), (8, 9, 8), (8, 8, 9), (9, 8, 8), (7, 7, 6)]


def test_a_plain_box_in_public():
    assert working(result(DOUBLE, SIX), DOUBLE, public=True) == [
        "Six cards: 40.5, 39, 38, 37.5, 37, 30.",
        "The lowest, 30, was dropped.",
        "Total 192.",
        "Place 1.",
    ]


def test_a_plain_box_for_the_officials():
    lines = working(result(DOUBLE, SIX), DOUBLE)
    assert lines[1] == "Table 1, seat 1: appearance 9, taste 9, tenderness 9; 40.5 points."
    assert lines[6] == "Table 1, seat 6: appearance 7, taste 7, tenderness 6; 30 points."
    assert len(lines) == 10


def test_scaled_and_mean():
    five_eights = one_criterion(rule="highest_and_lowest", count=1, fewest=4)
    assert working(result(five_eights, [8] * 5), five_eights, public=True) == [
        "Five cards: 8, 8, 8, 8, 8.",
        "Five cards counted where a full box counts four: 40 × 4 ÷ 5 = 32. Total 32.",
        "Place 1.",
    ]
    mean = one_criterion(of="mean", fewest=3)
    assert working(result(mean, [9, 8, 8]), mean, public=True)[1] == "Mean of three cards: 25 ÷ 3 = 25/3."


def test_dropped_for_other_reasons():
    ends = one_criterion(rule="highest_and_lowest", count=1)
    assert working(result(ends, [9, 8, 7, 6, 5, 5]), ends, public=True)[1:4] == [
        "Dropped: the lowest of six cards, 5; of equal cards the first by marks, then seat, goes.",
        "Dropped: the highest of six cards, 9.",
        "Total 26.",
    ]
    far = one_criterion(rule="grubbs", count=1)
    assert working(result(far, [8, 8, 8, 8, 8, 1]), far, public=True)[1:3] == [
        "One card was dropped: 1 is 2.0412 standard deviations from the mean of six cards, about 6.8333; Grubbs' "
        "test at 0.05 allows 1.8871.",
        "Five cards counted where a full box counts six: 40 × 6 ÷ 5 = 48. Total 48.",
    ]


def test_a_tie_and_what_broke_it():
    found = results(
        DOUBLE,
        box("101", [(9, 8, 8)] * 6),  # 37 each
        box("102", [(7, 9, 8)] * 6),
        box("103", [(7, 9, 8)] * 5 + [(7, 9, 7)]),  # the same cards counted, a lower one dropped
    )
    assert working(found["103"], DOUBLE, public=True)[2:] == [
        "Total 185.",
        "Level on the total with box 102 and box 101.",
        "Taste over the counted cards: 45, against 45 for box 102 and 40 for box 101.",
        "Tenderness over the counted cards: level, 40 each.",
        "Appearance over the counted cards: level, 35 each.",
        "The points of the dropped cards: 35.5, against 37 for box 102.",
        "Place 2.",
    ]


def test_a_lot():
    rules = one_criterion(cards=1, ties=("lot",))
    found = results(rules, box("101", [9]), box("102", [9]), seed="s")
    # sha256sum of "s:ribs:101" and "s:ribs:102" begin so.
    line = working(found["101"], rules, public=True)[3]
    assert line.startswith("A lot, smallest first: ")
    assert line.endswith("… for box 102.")


def test_no_place():
    rules = one_criterion(fewest=4)
    assert working(result(rules, [9, 9, 9]), rules) == [
        "Three cards were marked; four are needed.",
        "The box waits for the head judge's ruling and has no place until then.",
    ]
    assert working(result(rules, [], status="absent"), rules) == ["The box was not handed in: no total and no place."]


def test_penalty_marks():
    document = to_document(shipped()["weighted-nine"])
    rules = from_document(document | {"late": {"result": "penalty_marks"}})
    assert working(result(rules, [], status="late"), rules) == [
        "The box came late: it counts as six cards with the penalty mark 1 throughout, 4 each.",
        "Total 20.",
        "Place 1.",
    ]


def test_a_team():
    rules = one_criterion(cards=1, ties=("highest_card",))
    boxes = [
        box("1", [9], category="chicken", team="Team Alder"),
        box("2", [8], category="chicken", team="Team Birch"),
        box("3", [1], category="ribs", team="Team Birch"),
        box("4", [9], category="ribs", status="late", team="Team Alder"),
        box("5", [7], category="ribs", team="Team Cedar"),
    ]
    answer = tally({"chicken": rules, "ribs": rules}, boxes, overall=["chicken", "ribs"])
    alder, birch, cedar = answer.overall
    assert working(alder, rules) == [
        "Chicken 9 and ribs nothing (late).",
        "Together 9.",
        "Level on the total with Team Birch.",
        "The best card, then the next best and so on: 9, against 8, 1 for Team Birch.",
        "Place 1.",
    ]
    assert working(birch, rules)[0] == "Chicken 8 and ribs 1."
    assert working(cedar, rules) == [
        "Ribs 7.",
        "Not every counting category was entered: no grand champion or reserve.",
        "Place 3.",
    ]


def test_nothing_public_names_a_table_or_a_seat():
    for rule in ("none", "lowest", "highest_and_lowest", "grubbs", "median_distance"):
        rules = one_criterion(rule=rule, count=1, fewest=3, ties=("highest_card",))
        found = results(
            rules, *(box(str(200 + at), [9, 8, 8, 7, 6, 1], table="TABLE-SEVEN") for at in range(3)), seed="s"
        )
        for each in found.values():
            lines = " ".join(working(each, rules, public=True))
            assert "TABLE" not in lines
            assert "Table" not in lines
            assert not any(f"seat {seat}" in lines for seat in range(1, 7))
