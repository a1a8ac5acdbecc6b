"""The sentences beside a result."""

from contest.rules.ruleset import from_document, shipped, to_document
from judging.rules.standings import box_standings, standings_of
from judging.rules.tally import tally
from judging.rules.workings import box_working, team_working
from tests.judging.rules.helpers import box, one_criterion

DOUBLE = shipped()["taste-double"]


def working_of(rules, *boxes, public=False, seed=None):
    """The sentences of each box, by box number, made from its codes and figures."""
    came = {each.box: {card.seat: [str(mark) for mark in card.marks] for card in each.cards} for each in boxes}
    answer = tally({"ribs": rules}, boxes, seed=seed)
    return {each.box: box_working(each, came[each.box], rules, public=public) for each in box_standings(answer, "ribs")}


def working(rules, cards, *, public=False, **more):
    return working_of(rules, box("101", cards, **more), public=public)["101"]


SIX = [(9, 9, 9), (9, 9, 8), (8, 9, 8), (8, 8, 9), (9, 8, 8), (7, 7, 6)]


def test_a_plain_box_in_public():
    assert working(DOUBLE, SIX, public=True) == [
        "Six cards: 40.5, 39, 38, 37.5, 37, 30.",
        "The lowest, 30, was dropped.",
        "Total 192.",
        "Place 1.",
    ]


def test_a_plain_box_for_the_officials():
    lines = working(DOUBLE, SIX)
    assert lines[1] == "Table 1, seat 1: appearance 9, taste 9, tenderness 9; 40.5 points."
    assert lines[6] == "Table 1, seat 6: appearance 7, taste 7, tenderness 6; 30 points."
    assert len(lines) == 10


def test_scaled_and_mean():
    five_eights = one_criterion(rule="highest_and_lowest", count=1, fewest=4)
    assert working(five_eights, [8] * 5, public=True) == [
        "Five cards: 8, 8, 8, 8, 8.",
        "Five cards counted where a full box counts four: 40 × 4 ÷ 5 = 32. Total 32.",
        "Place 1.",
    ]
    mean = one_criterion(of="mean", fewest=3)
    assert working(mean, [9, 8, 8], public=True)[1] == "Average of three cards: 25 ÷ 3 = 25/3."


def test_dropped_for_other_reasons():
    ends = one_criterion(rule="highest_and_lowest", count=1)
    assert working(ends, [9, 8, 7, 6, 5, 5], public=True)[1:4] == [
        "Dropped: the lowest of six cards, 5; of equal cards the first by marks, then seat, goes.",
        "Dropped: the highest of six cards, 9.",
        "Total 26.",
    ]
    far = one_criterion(rule="grubbs", count=1)
    assert working(far, [8, 8, 8, 8, 8, 1], public=True)[1:3] == [
        "One card was dropped: 1 is 2.0412 standard deviations from the average of six cards, about 6.8333; Grubbs' "
        "test at 0.05 allows 1.8871.",
        "Five cards counted where a full box counts six: 40 × 6 ÷ 5 = 48. Total 48.",
    ]


def test_a_tie_and_what_broke_it():
    lines = working_of(
        DOUBLE,
        box("101", [(9, 8, 8)] * 6),  # 37 each
        box("102", [(7, 9, 8)] * 6),
        box("103", [(7, 9, 8)] * 5 + [(7, 9, 7)]),  # the same cards counted, a lower one dropped
        public=True,
    )
    assert lines["103"][2:] == [
        "Total 185.",
        "Level on the total with box 102 and box 101.",
        "Average taste of the counted cards: 9, against 9 for box 102 and 8 for box 101.",
        "Average tenderness of the counted cards: level, 8 each.",
        "Average appearance of the counted cards: level, 7 each.",
        "Average points of the dropped cards: 35.5, against 37 for box 102.",
        "Place 2.",
    ]


def test_a_lot():
    rules = one_criterion(cards=1, ties=("lot",))
    line = working_of(rules, box("101", [9]), box("102", [9]), seed="s", public=True)["101"][3]
    assert line.startswith("A lot, smallest first: ")
    assert line.endswith("… for box 102.")


def test_no_place():
    rules = one_criterion(fewest=4)
    assert working(rules, [9, 9, 9]) == [
        "Three cards were scored; four are needed.",
        "The box waits for the head judge's ruling and has no place until then.",
    ]
    assert working(rules, [], status="absent") == ["The box was not turned in: no total and no place."]


def test_penalty_marks():
    document = to_document(shipped()["uneven-weights"])
    rules = from_document(document | {"scale": document["scale"] | {"lowest": 2, "penalty": 1, "words": {}}}
                          | {"late": {"result": "penalty_marks"}})  # fmt: skip
    assert working(rules, [], status="late") == [
        "The box came late: it counts as six cards with the penalty score 1 throughout, 3.75 points each.",
        "Total 18.75.",
        "Place 1.",
    ]


def test_a_team():
    rules = one_criterion(cards=1, ties=("highest_card",))
    boxes = [
        box("1", [9], category="chicken", team="1"),
        box("2", [8], category="chicken", team="2"),
        box("3", [1], category="ribs", team="2"),
        box("4", [9], category="ribs", status="late", team="1"),
        box("5", [7], category="ribs", team="3"),
    ]
    answer = tally({"chicken": rules, "ribs": rules}, boxes, overall=["chicken", "ribs"])
    outcome = standings_of(
        answer,
        names={"chicken": "Chicken", "ribs": "Ribs"},
        counting=["chicken", "ribs"],
        needs="all_judged",
        teams={"1": "Team Alder", "2": "Team Birch", "3": "Team Cedar"},
    )
    assert team_working(outcome, "1", rules) == [
        "Chicken 9 and Ribs nothing (late).",
        "Together 9.",
        "No place in every counting category: cannot be grand champion or reserve.",
        "Level on the total with Team Birch (2).",
        "The best card, then the next best and so on: 9, against 8 for Team Birch (2).",
        "Place 1.",
    ]
    assert team_working(outcome, "2", rules)[0] == "Chicken 8 and Ribs 1."
    assert team_working(outcome, "3", rules) == [
        "Ribs 7.",
        "No place in every counting category: cannot be grand champion or reserve.",
        "Place 3.",
    ]


def test_nothing_public_names_a_table_or_a_seat():
    for rule in ("none", "lowest", "highest_and_lowest", "grubbs", "median_distance"):
        rules = one_criterion(rule=rule, count=1, fewest=3, ties=("highest_card",))
        boxes = [box(str(200 + at), [9, 8, 8, 7, 6, 1], table="TABLE-SEVEN") for at in range(3)]
        for sentences in working_of(rules, *boxes, seed="s", public=True).values():
            lines = " ".join(sentences)
            assert "TABLE" not in lines
            assert "Table" not in lines
            assert not any(f"seat {seat}" in lines for seat in range(1, 7))
