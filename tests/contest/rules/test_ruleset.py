"""Rule sets: the shipped ones, reading and writing, and every refusal with key, value and fix."""

import copy
import datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from contest.rules.ruleset import (
    SHIPPED,
    RuleSet,
    RuleSetError,
    from_document,
    in_words,
    parse,
    shipped,
    shipped_text,
    to_document,
    to_toml,
)

GOOD = """
name = "House"
about = "A set for tests."
[scale]
lowest = 2
highest = 9
step = 1
penalty = 1
[scale.words]
9 = "outstanding"
[[criterion]]
key = "appearance"
name = "Appearance"
weight = "0.5625"
step = 0.5
[[criterion]]
key = "taste"
name = "Taste"
weight = 2.3125
[cards]
per_entry = 6
fewest = 4
[drop]
rule = "lowest"
count = 1
when_short = "keep"
[total]
of = "sum"
when_short = "scale"
[disqualified]
result = "penalty_marks"
[late]
result = "unranked"
[[tie_break]]
by = "counted_criterion"
criterion = "taste"
[[tie_break]]
by = "lot"
[overall]
needs = "all_judged"
"""


def document():
    return copy.deepcopy(to_document(parse(GOOD)))


def test_a_whole_document():
    rules = parse(GOOD)
    assert rules.scale.penalty == 1
    assert rules.scale.words == ((Decimal(9), "outstanding"),)
    assert [(c.key, c.weight, c.step) for c in rules.criteria] == [
        ("appearance", Decimal("0.5625"), Decimal("0.5")),
        ("taste", Decimal("2.3125"), None),
    ]
    assert (rules.per_entry, rules.fewest, rules.full_counted) == (6, 4, 5)
    assert [step.label for step in rules.tie_breaks] == ["counted_criterion:taste", "lot"]
    assert (rules.disqualified, rules.late, rules.needs) == ("penalty_marks", "unranked", "all_judged")


def test_what_may_be_left_out():
    rules = parse(
        'name = "Short"\n[scale]\nlowest = 1\nhighest = 9\n[[criterion]]\nkey = "taste"\nweight = 1\n'
        "[cards]\nper_entry = 3\nfewest = 3\n"
    )
    assert (rules.scale.step, rules.drop.rule, rules.total_of, rules.total_when_short) == (1, "none", "sum", "scale")
    assert (rules.late, rules.disqualified, rules.tie_breaks, rules.needs) == ("unranked", "unranked", (), "all_judged")
    assert rules.criteria[0].name == "Taste"
    assert (rules.drop.alpha, rules.drop.limit) == (Decimal("0.05"), Decimal("3.5"))


@pytest.mark.parametrize("key", SHIPPED)
def test_shipped_sets_survive_writing_and_reading(key):
    rules = shipped()[key]
    assert parse(shipped_text(key)) == rules
    assert parse(to_toml(rules)) == rules
    assert from_document(to_document(rules)) == rules


def test_the_shipped_sets_are_the_six():
    assert list(shipped()) == [
        "taste-double",
        "plain-points",
        "trimmed-panel",
        "four-criteria",
        "uneven-weights",
        "liking-scale",
    ]
    assert [rules.name for rules in shipped().values()] == [
        "Taste double",
        "Plain points",
        "Trimmed panel",
        "Four criteria",
        "Uneven weights (example)",
        "Liking scale",
    ]
    plain = shipped()["plain-points"]
    assert (plain.scale.lowest, plain.scale.highest, plain.per_entry, plain.fewest) == (1, 10, 6, 3)
    assert (plain.drop.rule, plain.total_of) == ("none", "mean")
    uneven = shipped()["uneven-weights"]
    assert (uneven.scale.lowest, uneven.scale.highest, uneven.scale.penalty) == (1, 20, 0)
    assert [c.weight for c in uneven.criteria] == [Decimal("0.6875"), Decimal("1.9125"), Decimal("1.15")]
    assert "type the scale and weights of your book" in uneven.about
    assert shipped()["four-criteria"].scale.step == Decimal("0.5")
    with pytest.raises(KeyError):
        shipped_text("../ruleset")


def test_peryam_and_pilgrims_words():
    # Peryam and Pilgrim (1957), nine to one.
    assert [word for _, word in shipped()["liking-scale"].scale.words] == [
        "like extremely",
        "like very much",
        "like moderately",
        "like slightly",
        "neither like nor dislike",
        "dislike slightly",
        "dislike moderately",
        "dislike very much",
        "dislike extremely",
    ]


@pytest.mark.parametrize("key", ["taste-double", "trimmed-panel"])
def test_the_nine_point_sets_have_a_word_for_every_mark(key):
    rules = shipped()[key]
    assert [mark for mark, _ in rules.scale.words] == list(range(9, int(rules.scale.lowest) - 1, -1))


def test_taste_double_in_words():
    assert in_words(shipped()["taste-double"]) == [
        "The house set: whole marks, taste counts double, the lowest of six cards is dropped.",
        "Each box is marked by six judges, on its own and never against another, for appearance, taste and "
        "tenderness: 1 to 9 in whole marks.",
        "A card's points are 1 × appearance + 2 × taste + 1.5 × tenderness, 40.5 at best.",
        "Of six cards the lowest is dropped and five counted.",
        "A box's total is the sum of its counted cards' points, 202.5 at best.",
        "With fewer than six cards no card is dropped, and the sum is scaled to five cards (sum × 5 ÷ cards counted).",
        "A box with fewer than four cards waits for the head judge's ruling and has no place until then.",
        "A box that is late or disqualified has no place.",
        "A tie is broken by the first of these that differs: average taste of the counted cards, average tenderness "
        "of the counted cards, average appearance of the counted cards, average points of the dropped cards, a lot.",
        "The overall order adds each team's totals over the counting categories. Grand champion and reserve need a "
        "box with a place in every counting category that was held.",
    ]


def test_every_rule_has_its_words():
    base = document()
    for rule in ("none", "lowest", "highest", "highest_and_lowest", "grubbs", "median_distance"):
        for count in (0, 1) if rule == "highest_and_lowest" else (0, 1, 2):
            allowed = [("sum", "scale"), ("mean", "scale"), ("sum", "as_is")]
            for of, short in allowed[:2] if rule in ("grubbs", "median_distance") else allowed:
                base["drop"] |= {"rule": rule, "count": count, "when_short": "drop"}
                base["total"] = {"of": of, "when_short": short}
                sentences = in_words(from_document(base))
                assert all(text[0].isupper() and text.endswith(".") for text in sentences), sentences


DELETE = object()
# path, new value, and what the refusal says. A path's last part is the key that the refusal names.
REFUSALS = [
    ("name", DELETE, "name is missing: write it as text"),
    ("name", 7, "name = 7: write it as text"),
    ("name", "  ", 'name = " ": write it as text'),
    ("name", "x" * 200, "shorten it to 120 characters"),
    ("about", ["x"], "about = a list: write it as text"),
    ("colour", "red", 'colour = "red": unknown key; known here are name, about'),
    ("scale", DELETE, "scale is missing: add the table [scale]"),
    ("scale", 9, "scale = 9: make it a table"),
    ("scale.lowest", DELETE, "scale.lowest is missing: write a number"),
    ("scale.lowest", "one", 'scale.lowest = "one": write a number'),
    ("scale.lowest", True, "scale.lowest = true: write a number"),
    ("scale.lowest", 9, "scale.highest = 9: write a number above lowest (9)"),
    ("scale.highest", 0.5, 'scale.highest = 0.5: a binary fraction is not exact; write it in quotes, "0.5"'),
    ("scale.highest", Decimal("NaN"), "scale.highest = NaN: write a number of at most 1000000"),
    ("scale.highest", Decimal("1E+9"), "write a number of at most 1000000"),
    ("scale.highest", datetime.date(2020, 1, 1), "scale.highest = 2020-01-01: write a number"),
    ("scale.step", "0.3", 'scale.step = "0.3": write a step above 0 that divides 2 to 9 evenly'),
    ("scale.step", 0, "scale.step = 0: write a step above 0"),
    ("scale.step", -1, "scale.step = -1: write a step above 0"),
    ("scale.step", "0.00001", 'scale.step = "0.00001": too fine'),
    ("scale.step", "0.0000000001", "write at most 9 decimals"),
    ("scale.penalty", 2, "scale.penalty = 2: write a mark below the scale, under 2"),
    ("scale.penalty", 5, "scale.penalty = 5: write a mark below the scale"),
    ("scale.penalty", 10, "scale.penalty = 10: write a mark below the scale"),
    ("scale.penalty", DELETE, 'disqualified.result = "penalty_marks": set scale.penalty'),
    ("scale.pennalty", 1, 'scale.pennalty = 1: unknown key; did you mean "penalty"?'),
    ("scale.words", "good", 'scale.words = "good": make it a table'),
    ("scale.words", {"10": "x"}, 'scale.words.10 = "x": name a mark of the scale, 2 to 9'),
    ("scale.words", {"nine": "x"}, 'scale.words.nine = "x": name a mark'),
    ("scale.words", {"8": {"5": "x"}}, "scale.words.8 = a table: write a short text; a mark such as 8.5 needs quotes"),
    ("scale.words", {"8": "x", "8.0": "y"}, 'scale.words.8.0 = "y": give each mark one word'),
    ("criterion", DELETE, "criterion is missing: add at least one [[criterion]]"),
    ("criterion", [], "criterion = a list: add at least one"),
    ("criterion", {"key": "taste"}, "criterion = a table: write each under its own [[criterion]]"),
    ("criterion.1.key", "appearance", 'criterion[2].key = "appearance": criterion[1] has this key already'),
    ("criterion.1.key", "Appearance", 'criterion[2].key = "Appearance": criterion[1] has this key already'),
    ("criterion.1.key", "seat", 'criterion[2].key = "seat": choose another'),
    ("criterion.1.key", "my taste", 'criterion[2].key = "my taste": begin with a letter'),
    ("criterion.1.key", DELETE, "criterion[2].key is missing"),
    ("criterion.1.weight", DELETE, "criterion[2].weight is missing: write a number"),
    ("criterion.1.weight", "-1", 'criterion[2].weight = "-1": write 0 or more'),
    ("criterion.1.weight", "1,5", 'criterion[2].weight = "1,5": write a number, for example 1 or 1.5'),
    ("criterion.1.step", "0.4", "criterion[2].step"),
    ("criterion.1.colour", "red", 'criterion[2].colour = "red": unknown key'),
    ("cards", DELETE, "cards is missing: add the table [cards] with per_entry and fewest"),
    ("cards.per_entry", 0, "cards.per_entry = 0: write a whole number from 1 to 100"),
    ("cards.per_entry", "6", 'cards.per_entry = "6": write a whole number'),
    ("cards.per_entry", Decimal("6.5"), "cards.per_entry = 6.5: write a whole number"),
    ("cards.per_entry", 3, "cards.fewest = 4: at most 3, as many as per_entry"),
    ("cards.fewest", DELETE, "cards.fewest is missing"),
    (
        "cards.fewest",
        6,
        'drop.count = 1: a full box of 6 would keep 5 cards, fewer than fewest (6); write rule = "none"',
    ),
    ("drop.count", 3, "drop.count = 3: a full box of 6 would keep 3 cards, fewer than fewest (4); lower it to 2"),
    ("drop.count", -1, "drop.count = -1: write a whole number from 0 to 100"),
    ("drop.count", True, "drop.count = true: write a whole number"),
    ("drop.rule", "worst", 'drop.rule = "worst": write "none", "lowest"'),
    ("drop.rule", DELETE, 'drop.rule is missing: write "none", "lowest"'),
    ("drop.rule", ["lowest"], "drop.rule = a list: write"),
    ("drop.when_short", "maybe", 'drop.when_short = "maybe": write "keep" or "drop"'),
    ("drop.alpha", 5, "drop.alpha = 5: write a chance from 0.000001 to 0.5"),
    ("drop.limit", 0, "drop.limit = 0: write a number above 0"),
    ("total.of", "median", 'total.of = "median": write "sum" or "mean"'),
    ("total.when_short", "guess", 'total.when_short = "guess": write "scale" or "as_is"'),
    ("late.result", "zero", 'late.result = "zero": write "unranked" or "penalty_marks"'),
    ("tie_break", "lot", 'tie_break = "lot": write each under its own [[tie_break]]'),
    ("tie_break.0.by", "coin", 'tie_break[1].by = "coin": write "counted_criterion"'),
    ("tie_break.0.criterion", DELETE, 'tie_break[1].criterion is missing: write "appearance" or "taste"'),
    ("tie_break.0.criterion", "smoke", 'tie_break[1].criterion = "smoke": write "appearance" or "taste"'),
    ("tie_break.1.criterion", "taste", 'tie_break[2].criterion = "taste": delete it'),
    ("overall.needs_all", True, 'overall.needs_all = true: this key is now called needs; write needs = "all_judged"'),
    ("overall.needs", "yes", 'overall.needs = "yes": write "all_judged", "all_entered" or "any"'),
]


@pytest.mark.parametrize(("path", "value", "said"), REFUSALS)
def test_refusals(path, value, said):
    changed = document()
    *parents, last = path.split(".")
    place = changed
    for key in parents:
        place = place[int(key)] if isinstance(place, list) else place[key]
    if value is DELETE:
        del place[last]
    else:
        place[last] = value
    with pytest.raises(RuleSetError) as caught:
        from_document(changed)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.key
    assert caught.value.fix
    assert str(caught.value).startswith(caught.value.key)


@pytest.mark.parametrize(
    ("rule", "count", "when_short", "accepted"),
    [
        ("none", 1, "keep", True),
        ("lowest", 1, "keep", True),  # five kept, as many as a full box counts
        ("lowest", 2, "keep", False),
        ("highest_and_lowest", 1, "keep", False),
        ("highest_and_lowest", 1, "drop", True),
        ("lowest", 2, "drop", True),
    ],
)
def test_as_is_is_refused_where_a_short_box_counts_more_cards(rule, count, when_short, accepted):
    changed = document()
    changed["drop"] = {"rule": rule, "count": count, "when_short": when_short}
    changed["total"] = {"of": "sum", "when_short": "as_is"}
    if accepted:
        assert isinstance(from_document(changed), RuleSet)
        return
    with pytest.raises(RuleSetError, match=r'total\.when_short = "as_is": a box of 5 cards would count 5, a full box'):
        from_document(changed)
    changed["total"]["of"] = "mean"  # a mean needs no scaling
    assert isinstance(from_document(changed), RuleSet)


@pytest.mark.parametrize("rule", ["grubbs", "median_distance"])
@pytest.mark.parametrize("count", [0, 1, 2])
def test_as_is_is_refused_where_an_outlier_would_cost_its_points(rule, count):
    changed = document()
    changed["drop"] = {"rule": rule, "count": count, "when_short": "drop"}
    changed["total"] = {"of": "sum", "when_short": "as_is"}
    with pytest.raises(RuleSetError, match='when_short = "as_is": a box would lose all the points of a card'):
        from_document(changed)
    changed["total"]["of"] = "mean"
    assert isinstance(from_document(changed), RuleSet)


@pytest.mark.parametrize("needs", ["all_judged", "all_entered", "any"])
def test_needs_survives_writing_and_reading(needs):
    rules = from_document(document() | {"overall": {"needs": needs}})
    assert rules.needs == needs
    assert parse(to_toml(rules)) == rules


@pytest.mark.parametrize(
    "text",
    [
        "name = ",
        "[[[[",
        "x = " + "[" * 5000,
        "name = 'a'\nname = 'b'",
        "n = 1e99999999999999999999",
        "n = " + "9" * 5000,
        "[scale]\nlowest = nan",
        "\0",
        "",
    ],
)
def test_what_is_no_document_is_refused(text):
    with pytest.raises(RuleSetError):
        parse(text)


def test_a_byte_order_mark_and_windows_line_ends_pass():
    assert parse("\ufeff" + GOOD.replace("\n", "\r\n")) == parse(GOOD)


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.decimals(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
PATHS = [path for path, _, _ in REFUSALS] + ["criterion.0", "tie_break.0", "total", "drop", "late", "overall"]


@given(path=st.sampled_from(PATHS), value=JUNK)
def test_whatever_stands_there_is_read_or_refused(path, value):
    changed = document()
    *parents, last = path.split(".")
    place = changed
    for key in parents:
        place = place[int(key)] if isinstance(place, list) else place[key]
    place[int(last) if isinstance(place, list) else last] = value
    try:
        rules = from_document(changed)
    except RuleSetError:  # and nothing else
        return
    assert from_document(to_document(rules)) == rules
    assert parse(to_toml(rules)) == rules
