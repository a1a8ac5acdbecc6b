"""Totals, drops and ties worked out by hand from the rules' text."""

import hashlib
from decimal import Decimal
from fractions import Fraction

import pytest

from contest.rules.ruleset import DROPS, TIE_BREAKS, from_document, shipped, to_document
from judging.rules import drops, ties
from judging.rules.tally import Box, Card, LotNeeded, box_ties, tally, team_ties, to_json, total_text
from judging.rules.tally_csv import result_csv
from judging.rules.workings import ignored_text
from tests.judging.rules.helpers import box, one_criterion, result, results


def test_every_rule_that_may_be_named_is_there():
    assert set(drops.RULES) == set(DROPS)
    assert set(ties.RULES) == set(TIE_BREAKS)


def test_five_eights_of_six_do_not_outrank_six_nines():
    # Highest and lowest dropped: a full box counts four cards. Five cards are short, so none is dropped; five times
    # eight is 40, scaled to four cards 32, against four nines, 36.
    rules = one_criterion(rule="highest_and_lowest", count=1, fewest=4)
    found = results(rules, box("101", [8] * 5), box("102", [9] * 6))
    assert (found["101"].total, found["102"].total) == (32, 36)
    assert (found["101"].rank, found["102"].rank) == (2, 1)


PROFILES = {
    # profile: cards of six seats, as marks
    "full, apart": [9, 8, 7, 6, 5, 2],
    "full, all equal": [7, 7, 7, 7, 7, 7],
    "full, one low": [8, 8, 8, 8, 8, 1],
    "full, one high": [2, 2, 2, 2, 2, 9],
    "full, two low": [9, 9, 8, 8, 1, 1],
    "short by one": [9, 8, 7, 6, 2],
    "short by two": [9, 8, 7, 2],
    "too few": [9, 9, 9],
    "none": [],
}
# (rule, when_short) × profile: the dropped seats and the total, with six cards, four at the fewest and sums scaled.
# Grubbs' limits at .05 for 4, 5 and 6 cards: 1.4812, 1.7150, 1.8871. Modified z above 3.5; count is 1 throughout.
TABLE = {
    ("none", "keep"): {
        "full, apart": ("", "37"),
        "full, all equal": ("", "42"),
        "full, one low": ("", "41"),
        "full, one high": ("", "19"),
        "full, two low": ("", "36"),
        "short by one": ("", "38.4"),  # 32 × 6 ÷ 5
        "short by two": ("", "39"),  # 26 × 6 ÷ 4
    },
    ("lowest", "keep"): {
        "full, apart": ("6", "35"),
        "full, all equal": ("1", "35"),
        "full, one low": ("6", "40"),
        "full, one high": ("1", "17"),
        "full, two low": ("5", "35"),
        "short by one": ("", "32"),  # five counted, as of a full box
        "short by two": ("", "32.5"),  # 26 × 5 ÷ 4
    },
    ("lowest", "drop"): {
        "full, apart": ("6", "35"),
        "full, all equal": ("1", "35"),
        "full, one low": ("6", "40"),
        "full, one high": ("1", "17"),
        "full, two low": ("5", "35"),
        "short by one": ("5", "37.5"),  # 30 × 5 ÷ 4
        "short by two": ("", "32.5"),  # four must stay
    },
    ("highest", "keep"): {
        "full, apart": ("1", "28"),
        "full, all equal": ("6", "35"),
        "full, one low": ("5", "33"),
        "full, one high": ("6", "10"),
        "full, two low": ("2", "27"),
        "short by one": ("", "32"),
        "short by two": ("", "32.5"),
    },
    ("highest_and_lowest", "keep"): {
        "full, apart": ("6 1", "26"),
        "full, all equal": ("1 6", "28"),
        "full, one low": ("6 5", "32"),
        "full, one high": ("1 6", "8"),
        "full, two low": ("5 2", "26"),
        "short by one": ("", "25.6"),  # 32 × 4 ÷ 5
        "short by two": ("", "26"),
    },
    ("highest_and_lowest", "drop"): {
        "full, apart": ("6 1", "26"),
        "full, all equal": ("1 6", "28"),
        "full, one low": ("6 5", "32"),
        "full, one high": ("1 6", "8"),
        "full, two low": ("5 2", "26"),
        "short by one": ("5", "30"),  # room for one: the front first
        "short by two": ("", "26"),
    },
    ("grubbs", "keep"): {
        "full, apart": ("", "37"),  # G = 4.1667 ÷ 2.4833 = 1.678
        "full, all equal": ("", "42"),  # no spread
        "full, one low": ("6", "48"),  # 40 × 6 ÷ 5
        "full, one high": ("6", "12"),
        "full, two low": ("", "36"),
        "short by one": ("", "38.4"),
        "short by two": ("", "39"),
    },
    ("grubbs", "drop"): {
        "full, apart": ("", "37"),
        "full, all equal": ("", "42"),
        "full, one low": ("6", "48"),
        "full, one high": ("6", "12"),
        "full, two low": ("", "36"),
        "short by one": ("", "38.4"),  # G = 4.4 ÷ 2.7019 = 1.629
        "short by two": ("", "39"),  # four must stay
    },
    ("median_distance", "drop"): {
        "full, apart": ("", "37"),  # 0.6745 × 4.5 ÷ 1.5 = 2.02
        "full, all equal": ("", "42"),  # no spread
        "full, one low": ("6", "48"),  # MAD 0: 0.7979 × 7 ÷ (7 ÷ 6) = 4.79; 40 × 6 ÷ 5
        "full, one high": ("6", "12"),
        "full, two low": ("5", "42"),  # median 8, MAD 1: 0.6745 × 7 = 4.72; of equals the earlier; 35 × 6 ÷ 5
        "short by one": ("", "38.4"),  # 0.6745 × 5 ÷ 1 = 3.37
        "short by two": ("", "39"),
    },
}


@pytest.mark.parametrize("rule", TABLE)
@pytest.mark.parametrize("profile", PROFILES)
def test_every_drop_through_the_same_boxes(rule, profile):
    rules = one_criterion(rule=rule[0], when_short=rule[1], count=1, fewest=4)
    found = result(rules, PROFILES[profile])
    if profile in ("too few", "none"):
        assert (found.status, found.rank, found.total, found.counted, found.dropped) == ("short", None, None, (), ())
        return
    seats, total = TABLE[rule][profile]
    assert (" ".join(each.seat for each in found.dropped), total_text(found.total)) == (seats, total)
    assert sorted([*found.counted, *seats.split()]) == [str(seat + 1) for seat in range(found.cards)]


@pytest.mark.parametrize(("limit", "seats"), [("1.349", ""), ("1.3489", "1")])
def test_a_score_at_the_limit_is_not_above_it(limit, seats):
    # Median 7, MAD 1, the ends 2 away: 0.6745 × 2 = 1.349; of equally extreme cards the earlier, 5, goes.
    found = result(one_criterion(cards=5, rule="median_distance", count=1, limit=limit), [5, 6, 7, 8, 9])
    assert " ".join(each.seat for each in found.dropped) == seats


def test_as_is_and_mean():
    as_is = one_criterion(rule="lowest", count=1, fewest=4, total_when_short="as_is")
    assert result(as_is, [9, 8, 7, 6, 2]).total == 32
    assert result(as_is, [9, 8, 7, 2]).total == 26
    mean = one_criterion(rule="lowest", count=1, fewest=3, of="mean")
    assert result(mean, [9, 8, 7, 6, 5, 2]).total == 7
    assert result(mean, [9, 8, 8]).total == Fraction(25, 3)
    assert total_text(Fraction(25, 3)) == "25/3"


def test_the_card_order_decides_which_of_equal_cards_goes():
    # Taste double: appearance 1, taste 2, tenderness 1.5. Cards (3, 6, 4) and (5, 5, 4) both weigh 21.
    rules = shipped()["taste-double"]
    found = result(rules, [(9, 9, 9), (5, 5, 4), (9, 9, 9), (3, 6, 4), (9, 9, 9), (9, 9, 9)])
    assert found.dropped == (("4", "lowest", "21", "21"),)
    # The same marks twice: the first seat as text, so "10" before "2".
    cards = tuple(Card(seat, (5, 5, 5)) for seat in ("2", "10", "3", "4", "5", "6"))
    (twice,) = tally({"ribs": rules}, [Box("ribs", "1", "1", "accepted", cards)]).categories["ribs"]
    assert [each.seat for each in twice.dropped] == ["10"]


def test_each_tie_break_by_hand():
    # Totals 18 throughout (lowest of three dropped).
    base = to_document(one_criterion(cards=3, rule="lowest", count=1))
    base["criterion"] = [{"key": "taste", "weight": "1"}, {"key": "looks", "weight": "1"}]
    a = box("101", [(5, 4), (5, 4), (1, 1)])  # taste counted 10, all 11; dropped 2; best card 9
    b = box("102", [(4, 6), (4, 4), (4, 3)])  # taste counted 8, all 12; dropped 7; best card 10

    def by(*steps):
        return from_document(base | {"tie_break": list(steps)})

    cases = [
        ({"by": "counted_criterion", "criterion": "taste"}, "101", "counted_criterion:taste"),
        ({"by": "criterion", "criterion": "taste"}, "102", "criterion:taste"),
        ({"by": "dropped_cards"}, "102", "dropped_cards"),
        ({"by": "highest_card"}, "102", "highest_card"),
    ]
    for step, first, decided in cases:
        found = results(by(step), a, b)
        assert found[first].rank == 1
        assert {each.rank for each in found.values()} == {1, 2}
        assert {each.decided_by for each in found.values()} == {decided}
    assert {each.rank for each in results(by(), a, b).values()} == {1}


def tried(rules, *boxes, seed=None):
    """The tie-breaks tried, in order, with each box's value: label → [(box, value)]."""
    trace = box_ties(tally({"ribs": rules}, boxes, seed=seed), "ribs")
    return {
        step.step.label: [(name, step.text(at)) for at, name in enumerate(step.names)]
        for steps in trace.values()
        for step in steps
    }


def sevens(*numbers):
    """Boxes in which every mark is 7, with that many cards each."""
    return [box(str(101 + at), [(7, 7, 7)] * number) for at, number in enumerate(numbers)]


def test_lost_cards_decide_no_place():
    # Taste double, every mark 7: 6, 5 and 4 cards all total 157.5, and no mean differs. The dropped cards are passed
    # over, for the short boxes have none; so the lot decides, and without one the place is shared.
    document = to_document(shipped()["taste-double"])
    by_lot = results(from_document(document), *sevens(6, 5, 4), seed="s")
    assert {each.total for each in by_lot.values()} == {Fraction("157.5")}
    assert {each.decided_by for each in by_lot.values()} == {"lot"}
    lots = {number: hashlib.sha256(f"s:ribs:{number}".encode()).hexdigest() for number in by_lot}
    assert sorted(by_lot, key=lambda number: by_lot[number].rank) == sorted(lots, key=lots.get)
    values = tried(from_document(document), *sevens(6, 5, 4), seed="s")
    assert list(values) == [
        "counted_criterion:taste",
        "counted_criterion:tenderness",
        "counted_criterion:appearance",
        "lot",
    ]
    # The short boxes' means are taken over fewer cards: 7 each.
    assert values["counted_criterion:taste"] == [("101", "7"), ("102", "7"), ("103", "7")]
    every = [{"by": "criterion", "criterion": "taste"}, {"by": "dropped_cards"}, {"by": "highest_card"}]
    shared = results(from_document(document | {"tie_break": every}), *sevens(6, 5, 4))
    assert [(each.rank, each.decided_by) for each in shared.values()] == [(1, None)] * 3


def test_highest_card_compares_as_many_as_the_shortest_has():
    # Means of 6: nine and seven and two against nine and three; the third card is not compared.
    rules = one_criterion(cards=3, of="mean", ties=("highest_card",))
    pair = box("101", [9, 7, 2]), box("102", [9, 3])
    found = results(rules, *pair)
    assert (found["101"].rank, found["102"].rank) == (1, 2)
    assert tried(rules, *pair) == {"highest_card": [("101", "9,7"), ("102", "9,3")]}
    level = results(rules, box("101", [9, 3, 6]), box("102", [9, 3]))
    assert (level["101"].rank, level["102"].rank) == (1, 2)  # nine and six against nine and three
    same = results(rules, box("101", [7, 6, 5]), box("102", [7, 5]), box("103", [6]))
    assert [each.rank for each in same.values()] == [1, 1, 3]  # 7 against 7 and 6, one card each


def test_dropped_cards_are_passed_over_where_a_box_has_none():
    rules = one_criterion(cards=3, fewest=2, rule="lowest", count=1, ties=("dropped_cards", "highest_card"))
    # Totals 16: of three cards the lowest is dropped, two cards are all kept.
    three = box("101", [9, 7, 7]), box("102", [8, 8]), box("103", [9, 7, 1])
    found = results(rules, *three)
    assert list(tried(rules, *three)) == ["highest_card"]
    assert (found["102"].rank, {found["101"].rank, found["103"].rank}) == (3, {1})


def test_overall_ties_sum_the_means_of_the_categories():
    base = to_document(one_criterion(cards=2, of="mean", fewest=1))
    base["criterion"] = [{"key": "taste", "weight": "1"}, {"key": "looks", "weight": "1"}]
    both = from_document(base | {"tie_break": [{"by": "counted_criterion", "criterion": "looks"}]})
    without = one_criterion(cards=2, of="mean", fewest=1)  # no looks: adds nothing
    boxes = [
        box("1", [(6, 4), (5, 5)], team="A"),
        box("2", [(7, 3)], team="B"),
        box("3", [5, 6], team="A", category="pork"),
        box("4", [Decimal("6"), 5], team="B", category="pork"),
    ]
    answer = tally({"ribs": both, "pork": without}, boxes, overall=["ribs", "pork"])
    assert [(team.team, team.total, team.decided_by) for team in answer.overall] == [
        ("A", Fraction("15.5"), "counted_criterion:looks"),
        ("B", Fraction("15.5"), "counted_criterion:looks"),
    ]
    (step,) = team_ties(answer)["A"]
    assert [step.text(0), step.text(1)] == ["4.5", "3"]


def test_a_group_that_splits_leaves_its_parts_to_the_next_rule():
    rules = one_criterion(cards=3, ties=("highest_card", "lot"))
    found = results(rules, box("101", [9, 5, 4]), box("102", [7, 6, 5]), box("103", [7, 6, 5]), seed="s")
    assert (found["101"].rank, found["101"].decided_by) == (1, "highest_card")
    digests = {name: hashlib.sha256(f"s:ribs:{name}".encode()).hexdigest() for name in ("102", "103")}
    first, second = sorted(digests, key=digests.get)
    assert (found[first].rank, found[second].rank) == (2, 3)
    assert found[first].decided_by == found[second].decided_by == "lot"


def test_a_lot_without_a_seed_names_the_tie():
    rules = one_criterion(cards=1, ties=("highest_card", "lot"))
    with pytest.raises(LotNeeded, match="ribs boxes 101 and 102 tie at 9 after every other tie-break") as caught:
        results(rules, box("102", [9]), box("101", [9]), box("103", [8]))
    assert (caught.value.category, caught.value.tied) == ("ribs", ("101", "102"))
    # No tie, no seed needed.
    assert results(rules, box("101", [9]), box("103", [8]))["103"].rank == 2


PENALTY = {"lowest": 2, "highest": 9, "step": 1, "penalty": 1}


def with_results(late="unranked", disqualified="unranked"):
    document = to_document(one_criterion(scale=PENALTY, rule="lowest", count=1, fewest=4))
    return from_document(document | {"late": {"result": late}, "disqualified": {"result": disqualified}})


def test_a_penalty_mark_counts_as_its_number():
    assert result(with_results(), [9, 9, 9, 1, 1, 9]).total == 37
    with pytest.raises(ValueError, match="Taste 0 is not a mark of the scale"):
        result(with_results(), [9, 9, 9, 0, 9, 9])


@pytest.mark.parametrize("status", ["late", "disqualified"])
def test_not_judged_as_penalty_marks(status):
    rules = with_results(**{status: "penalty_marks"})
    answer = tally({"ribs": rules}, [box("101", [9] * 6, status=status), box("102", [2] * 6)])
    low, last = answer.categories["ribs"]
    assert (low.box, low.total, low.rank) == ("102", 10, 1)
    assert (last.box, last.total, last.rank, last.status) == ("101", 5, 2, status)
    assert (last.counted, last.dropped) == ((), ())
    assert answer.warnings == [("101", "ribs", status, 6)]
    assert ignored_text(answer.warnings[0]) == f"box 101 in ribs is {status}: its six cards are ignored"


@pytest.mark.parametrize("status", ["late", "disqualified", "absent", "refused"])
def test_not_judged_is_unranked(status):
    answer = tally({"ribs": with_results()}, [box("101", [9], status=status), box("102", [2] * 6)])
    assert [(each.box, each.rank, each.status) for each in answer.categories["ribs"]] == [
        ("102", 1, "ranked"),
        ("101", None, status),
    ]
    assert [ignored_text(entry) for entry in answer.warnings] == [
        f"box 101 in ribs is {status}: its one card is ignored"
    ]


def test_overall():
    rules = one_criterion(cards=1, ties=("highest_card",))
    boxes = [
        box("101", [9], category="chicken", team="Team Alder"),
        box("102", [9], category="chicken", team="Team Birch"),
        box("103", [5], category="chicken", team="Team Cedar"),
        box("201", [1], category="ribs", team="Team Birch"),
        box("202", [5], category="ribs", team="Team Cedar"),
        box("203", [], category="ribs", team="Team Dogwood", status="absent"),
        box("204", [7], category="chicken", team="Team Dogwood"),
        box("301", [9], category="dessert", team="Team Elder"),
    ]
    answer = tally(dict.fromkeys(("chicken", "ribs", "dessert"), rules), boxes, overall=["chicken", "ribs"])
    assert [(t.team, t.rank, t.total, t.eligible, t.decided_by) for t in answer.overall] == [
        ("Team Birch", 1, 10, True, "highest_card"),
        ("Team Cedar", 2, 10, True, "highest_card"),
        ("Team Alder", 3, 9, False, None),
        ("Team Dogwood", 4, 7, False, None),  # entered ribs, and has no place there
        ("Team Elder", 5, 0, False, None),
    ]
    assert [team.team for team in answer.champions()] == ["Team Birch", "Team Cedar"]
    entered = tally(
        dict.fromkeys(("chicken", "ribs", "dessert"), rules), boxes, overall=["chicken", "ribs"], needs="all_entered"
    )
    assert [team.team for team in entered.overall if team.eligible] == ["Team Birch", "Team Cedar", "Team Dogwood"]
    every = tally(dict.fromkeys(("chicken", "ribs", "dessert"), rules), boxes, overall=["ribs"], needs="any")
    assert all(team.eligible for team in every.overall)


def test_a_category_without_boxes_is_not_needed():
    rules = one_criterion(cards=1)
    answer = tally({"ribs": rules, "pork": rules}, [box("1", [9], team="A")], overall=["ribs", "pork"])
    assert [(team.team, team.eligible) for team in answer.overall] == [("A", True)]


def test_a_team_that_turned_nothing_in_is_in_no_ranking():
    rules = one_criterion(cards=1, fewest=1)
    boxes = [
        box("1", [9], team="Team Alder"),
        box("2", [], team="Team Birch", status="absent"),
        box("3", [], team="Team Birch", status="absent", category="pork"),
        box("4", [], team="Team Cedar", status="absent"),
        box("5", [], team="Team Cedar", status="refused", category="pork"),
    ]
    for needs in ("all_judged", "all_entered", "any"):
        answer = tally({"ribs": rules, "pork": rules}, boxes, overall=["ribs", "pork"], needs=needs)
        assert [team.team for team in answer.overall] == ["Team Alder", "Team Cedar"]
        # The box keeps its row in its category.
        assert {each.box: each.status for each in answer.categories["ribs"]}["2"] == "absent"


def test_overall_across_rule_sets_of_different_units():
    # Chicken counts thirds (a mean of three), dessert hundredths: 25/3 + 2.25 exactly.
    chicken = one_criterion(cards=3, of="mean")
    dessert = one_criterion(cards=1, weight="0.75")
    answer = tally(
        {"chicken": chicken, "dessert": dessert},
        [
            box("1", [9, 8, 8], category="chicken", team="Team Alder"),
            box("2", [3], category="dessert", team="Team Alder"),
        ],
        overall=["chicken", "dessert"],
    )
    assert answer.overall[0].total == Fraction(25, 3) + Fraction(9, 4)


@pytest.mark.parametrize(
    ("boxes", "overall", "complaint"),
    [
        ([box("1", [9, 9])], None, "box 1 in ribs has 2 cards where 1 are expected"),
        ([box("1", [9]), box("1", [8])], None, "box 1 is in ribs twice"),
        ([box("1", [9], category="pork")], None, "box 1 is in pork, a category without rules"),
        ([box("1", [9], status="lost")], None, "box 1 in ribs is lost, which is no status of a box"),
        ([box("1", [(9, 9)])], None, "a card has 2 marks where the score sheet has 1"),
        ([box("1", [9])], ["ribs"], "box 1 in ribs has no team"),
        ([box("1", [9], team="A"), box("2", [9], team="A")], ["ribs"], "team A has two boxes in ribs"),
        ([box("1", [9], team="A")], ["pork"], "pork counts toward the overall"),
    ],
)
def test_what_cannot_be_tallied(boxes, overall, complaint):
    with pytest.raises(ValueError, match=complaint):
        tally({"ribs": one_criterion(cards=1)}, boxes, overall=overall)


def test_two_cards_of_one_seat():
    twice = Box("ribs", "1", "1", "accepted", (Card("1", (9,)), Card("1", (8,))))
    with pytest.raises(ValueError, match="box 1 in ribs has two cards of one seat"):
        tally({"ribs": one_criterion(cards=2)}, [twice])


def test_json():
    rules = one_criterion(cards=2, rule="lowest", count=1)
    answer = tally({"ribs": rules}, [box("7", [9, 5], team="Team Alder"), box("8", [], team="T")], overall=["ribs"])
    assert to_json(answer) == {
        "categories": {
            "ribs": [
                {
                    "box": "7",
                    "rank": 1,
                    "total": "9",
                    "status": "ranked",
                    "counted": ["1"],
                    "dropped": [{"seat": "2", "why": "lowest:5:9"}],
                    "decided_by": None,
                },
                {
                    "box": "8",
                    "rank": None,
                    "total": None,
                    "status": "short",
                    "counted": [],
                    "dropped": [],
                    "decided_by": None,
                },
            ]
        },
        "overall": [
            {"team": "Team Alder", "rank": 1, "total": "9", "eligible": True, "decided_by": None},
            {"team": "T", "rank": 2, "total": "0", "eligible": False, "decided_by": None},
        ],
    }


def test_csv_holds_codes_and_tie_values():
    rules = from_document(
        to_document(one_criterion(cards=3, rule="lowest", count=1, ties=("dropped_cards", "highest_card")))
    )
    boxes = [
        box("1", [9, 7, 5], team="A B"),
        box("2", [8, 8, 5], team="B"),
        box("3", [6, 5, 5], team="C"),
        box("4", [], team="D", status="absent"),
    ]
    lines = result_csv(tally({"ribs": rules}, boxes, overall=["ribs"])).splitlines()
    assert lines == [
        "category,rank,box,team,total,status,decided_by,counted,dropped,why,ties,eligible",
        'ribs,1,1,A B,16,ranked,highest_card,1 2,3,lowest:5:7,"dropped_cards=5 highest_card=9,7,5",',
        'ribs,2,2,B,16,ranked,highest_card,1 2,3,lowest:5:8,"dropped_cards=5 highest_card=8,8,5",',
        "ribs,3,3,C,11,ranked,,1 3,2,lowest:5:5,,",
        "ribs,,4,D,,absent,,,,,,",
        'overall,1,,A B,16,,highest_card,,,,"dropped_cards=5 highest_card=9,7,5",yes',
        'overall,2,,B,16,,highest_card,,,,"dropped_cards=5 highest_card=8,8,5",yes',
        "overall,3,,C,11,,,,,,,yes",
    ]


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (Fraction(180), "180"),
        (Fraction(337028, 10000), "33.7028"),
        (Fraction(-1, 8), "-0.125"),
        (Fraction(1, 40), "0.025"),
        (Fraction(100, 3), "100/3"),
        (Fraction(-1, 6), "-1/6"),
        (Fraction(0), "0"),
        (Fraction(10**30 + 1, 10), "100000000000000000000000000000.1"),
    ],
)
def test_total_text(number, text):
    assert total_text(number) == text
    assert Fraction(text) == number
