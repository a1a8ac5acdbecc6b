"""What the rules promise of every contest, for any marks."""

from decimal import Decimal
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from contest.rules.ruleset import from_document, shipped, to_document
from judging.rules.tally import Box, Card, tally
from tests.judging.rules.helpers import one_criterion

DROPS = ("none", "lowest", "highest", "highest_and_lowest", "grubbs", "median_distance")
DOUBLE = to_document(shipped()["taste-double"])


def rule_set(rule="lowest", *, when_short="keep", ties=("counted_criterion", "dropped_cards"), factor="1", of="sum"):
    steps = [{"by": by, "criterion": "taste"} if "criterion" in by else {"by": by} for by in ties]
    criteria = [c | {"weight": str(Decimal(c["weight"]) * Decimal(factor))} for c in DOUBLE["criterion"]]
    drop = {"rule": rule, "count": 1, "when_short": when_short}
    return from_document(
        DOUBLE | {"criterion": criteria, "drop": drop, "tie_break": steps, "total": {"of": of, "when_short": "scale"}}
    )


marks = st.tuples(*[st.integers(1, 9)] * 3)
panels = st.lists(st.lists(marks, min_size=3, max_size=6), min_size=1, max_size=8)


def boxes_of(panels):
    return [
        Box("ribs", str(100 + at), "1", "accepted", tuple(Card(str(seat), each) for seat, each in enumerate(cards, 1)))
        for at, cards in enumerate(panels)
    ]


def summary(rules, boxes):
    found = tally({"ribs": rules}, boxes, seed="s").categories["ribs"]
    return {each.box: (each.status, each.total, each.rank, each.decided_by) for each in found}


@given(panels=panels, rule=st.sampled_from(DROPS), data=st.data())
def test_the_order_of_rows_never_matters(panels, rule, data):
    """Rows in any order give the very same answer: seats are part of a card, so this needs no precondition."""
    rules = rule_set(rule, ties=("highest_card", "lot"))
    boxes = boxes_of(panels)
    shuffled = [
        Box(box.category, box.box, box.table, box.status, tuple(data.draw(st.permutations(box.cards))))
        for box in data.draw(st.permutations(boxes))
    ]
    first, second = (tally({"ribs": rules}, each, seed="s").categories["ribs"] for each in (boxes, shuffled))
    for one, other in zip(first, second, strict=True):
        assert (one.box, one.rank, one.total) == (other.box, other.rank, other.total)
        assert (one.counted, one.dropped, one.decided_by) == (other.counted, other.dropped, other.decided_by)


@given(panels=panels, rule=st.sampled_from(DROPS), data=st.data())
def test_who_sits_where_never_matters(panels, rule, data):
    """Cards change seats. Equal weights are ordered by their marks before the seat, so totals and ranks stay: a
    seat chooses only between cards with the very same marks."""
    rules = rule_set(rule, ties=("counted_criterion", "criterion", "dropped_cards", "highest_card"))
    moved = [data.draw(st.permutations(cards)) for cards in panels]
    assert summary(rules, boxes_of(panels)) == summary(rules, boxes_of(moved))


@given(panels=panels, rule=st.sampled_from(DROPS), factor=st.sampled_from(["2", "0.1", "3.7", "1000"]))
def test_scaling_all_weights_changes_no_rank(panels, rule, factor):
    plain = summary(rule_set(rule, ties=("dropped_cards", "highest_card")), boxes_of(panels))
    scaled = summary(rule_set(rule, ties=("dropped_cards", "highest_card"), factor=factor), boxes_of(panels))
    for box, (status, total, rank, decided_by) in plain.items():
        assert scaled[box][0] == status
        assert scaled[box][2:] == (rank, decided_by)
        if total is not None:
            assert scaled[box][1] == total * Fraction(factor)


# Raising a mark never lowers a box's total under the rules below, whose total is a sum over an order's places
# (with non-negative coefficients) of the sorted weighted marks. It is not promised for the outlier rules: raising
# a middling mark can make another card an outlier, or rescue a low one from being dropped.
@given(
    cards=st.lists(marks, min_size=4, max_size=6),
    rule=st.sampled_from(DROPS[:4]),
    of=st.sampled_from(["sum", "mean"]),
    when_short=st.sampled_from(["keep", "drop"]),
    data=st.data(),
)
def test_raising_a_mark_never_lowers_the_total(cards, rule, of, when_short, data):
    rules = rule_set(rule, of=of, when_short=when_short)
    at, column = data.draw(st.integers(0, len(cards) - 1)), data.draw(st.integers(0, 2))
    raised = [list(card) for card in cards]
    raised[at][column] = data.draw(st.integers(raised[at][column], 9))
    before = summary(rules, boxes_of([cards]))["100"][1]
    after = summary(rules, boxes_of([[tuple(card) for card in raised]]))["100"][1]
    assert after >= before


@given(
    panels=st.lists(st.lists(marks, min_size=6, max_size=6), min_size=2, max_size=8),
    rule=st.sampled_from(DROPS[:4]),
    data=st.data(),
)
def test_raising_a_mark_never_lowers_the_rank_where_no_tie_break_can_turn_it(panels, rule, data):
    """With ties shared. Tie-breaks by criterion may turn against a raised mark: another card may be counted."""
    rules = rule_set(rule, ties=())
    at, column = data.draw(st.integers(0, 5)), data.draw(st.integers(0, 2))
    raised = list(panels[0][at])
    raised[column] = data.draw(st.integers(raised[column], 9))
    better = [[*panels[0][:at], tuple(raised), *panels[0][at + 1 :]], *panels[1:]]
    assert summary(rules, boxes_of(better))["100"][2] <= summary(rules, boxes_of(panels))["100"][2]


def test_an_outlier_rule_promises_no_such_thing():
    """Grubbs, one card at most: a lone 2 is dropped and the rest scaled up, 39 × 6 ÷ 5; raised to 7 it stays."""
    rules = one_criterion(rule="grubbs", count=1, fewest=4)
    low, raised = (summary(rules, [_plain("1", [8, 8, 8, 7, 8, last])])["1"][1] for last in (2, 7))
    assert (low, raised) == (Decimal("46.8"), 46)


# A short box never outranks the same box complete with better marks, where the rule takes no highest card and the
# sum is scaled or a mean: both totals are then a constant times the mean of the cards counted, and the complete box
# adds cards no worse than its best. A rule that drops the highest card of full boxes only breaks it: see below.
@given(
    cards=st.lists(marks, min_size=4, max_size=5),
    rule=st.sampled_from(["none", "lowest"]),
    of=st.sampled_from(["sum", "mean"]),
    when_short=st.sampled_from(["keep", "drop"]),
    data=st.data(),
)
def test_no_short_box_outranks_itself_complete_with_better_marks(cards, rule, of, when_short, data):
    rules = rule_set(rule, of=of, when_short=when_short, ties=())
    best = max(cards, key=lambda card: card[0] + 2 * card[1] + Decimal("1.5") * card[2])
    missing = 6 - len(cards)
    better = [tuple(data.draw(st.integers(mark, 9)) for mark in card) for card in [*cards, *[best] * missing]]
    found = summary(rules, boxes_of([cards, better]))
    assert found["101"][1] >= found["100"][1]
    assert found["101"][2] <= found["100"][2]


def test_keeping_the_highest_of_a_short_box_is_the_precondition_that_bites():
    # The highest dropped of a full box, none of a short one: 9 5 5 5 5 keeps its nine, with a sixth card it goes.
    rules = one_criterion(rule="highest", count=1, fewest=4)
    found = summary(rules, [_plain("1", [9, 5, 5, 5, 5]), _plain("2", [9, 5, 5, 5, 5, 5])])
    assert (found["1"][1], found["2"][1]) == (29, 25)


def _plain(number, cards):
    return Box("ribs", number, "1", "accepted", tuple(Card(str(seat), (mark,)) for seat, mark in enumerate(cards)))
