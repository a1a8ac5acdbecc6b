"""A rule set in plain sentences, for the cooks' meeting and the results page."""

from collections.abc import Callable, Mapping
from decimal import Decimal

from contest.rules.ruleset.parts import Drop, RuleSet, TieBreak
from contest.rules.say import count, counted, listed, number_text


def in_words(rules: RuleSet) -> list[str]:
    """What the rules mean, one sentence or two an item, in the order in which a box meets them."""
    return [
        *([rules.about] if rules.about else []),
        _marking(rules),
        *_penalty(rules),
        _weights(rules),
        _DROPPED[rules.drop.rule](rules),
        _total(rules),
        *_short(rules),
        _not_judged(rules),
        _ties(rules),
        _overall(rules),
    ]


def steps_text(step: Decimal) -> str:
    """How marks go up: "whole marks", "half marks", "steps of 0.2"."""
    named = {Decimal(1): "whole marks", Decimal("0.5"): "half marks", Decimal("0.25"): "quarter marks"}
    return named.get(step, f"steps of {number_text(step)}")


def span_text(lowest: Decimal, highest: Decimal) -> str:
    return f"{number_text(lowest)} to {number_text(highest)}"


def _marking(rules: RuleSet) -> str:
    scale = rules.scale
    names = listed([criterion.name.lower() for criterion in rules.criteria])
    text = (
        f"Each box is marked by {counted(rules.per_entry, 'judge')}, on its own and never against another, "
        f"for {names}: {span_text(scale.lowest, scale.highest)} in {steps_text(scale.step)}"
    )
    own = [
        f"{criterion.name.lower()} in {steps_text(criterion.step)}"
        for criterion in rules.criteria
        if criterion.step is not None and criterion.step != scale.step
    ]
    return f"{text}{''.join(f', {part}' for part in own)}."


def _penalty(rules: RuleSet) -> list[str]:
    penalty = rules.scale.penalty
    if penalty is None:
        return []
    return [
        f"A penalty mark is {number_text(penalty)}: no judge gives it, only a ruling of the head judge, "
        "and it counts as its number."
    ]


def _weights(rules: RuleSet) -> str:
    weights = {criterion.weight for criterion in rules.criteria}
    top = sum((criterion.weight for criterion in rules.criteria), Decimal(0)) * rules.scale.highest
    if weights == {Decimal(1)}:
        how = "A card's points are its marks added up"
    else:
        terms = [f"{number_text(each.weight)} × {each.name.lower()}" for each in rules.criteria]
        how = f"A card's points are {' + '.join(terms)}"
    return f"{how}, {number_text(top)} at best."


def _cards(number: int, which: str) -> str:
    return f"the {which}" if number == 1 else f"the {count(number)} {which}"


def _no_drop(rules: RuleSet) -> str:
    return "Every card counts; none is dropped."


def _one_end(which: str) -> Callable[[RuleSet], str]:
    def say(rules: RuleSet) -> str:
        if rules.drop.count == 0:
            return _no_drop(rules)
        return (
            f"Of {counted(rules.per_entry, 'card')} {_cards(rules.drop.count, which)} "
            f"{'is' if rules.drop.count == 1 else 'are'} dropped and {count(rules.full_counted)} counted."
        )

    return say


def _both_ends(rules: RuleSet) -> str:
    if rules.drop.count == 0:
        return _no_drop(rules)
    return (
        f"Of {counted(rules.per_entry, 'card')} {_cards(rules.drop.count, 'lowest')} and "
        f"{_cards(rules.drop.count, 'highest')} are dropped and {count(rules.full_counted)} counted."
    )


def _at_most(drop: Drop) -> str:
    return "one card at most" if drop.count == 1 else f"{counted(drop.count, 'card')} at most, one by one"


def _grubbs(rules: RuleSet) -> str:
    return (
        f"A card far from the others is dropped, {_at_most(rules.drop)}: the one furthest from the mean of "
        "the box's cards, where Grubbs' two-sided test at "
        f"{number_text(rules.drop.alpha)} calls it an outlier."
    )


def _median_distance(rules: RuleSet) -> str:
    return (
        f"A card far from the others is dropped, {_at_most(rules.drop)}: the one furthest from the median of "
        "the box's cards, where its modified z-score (0.6745 × distance from the median ÷ median of all such "
        "distances; where that median is 0, 0.7979 × distance ÷ average distance) is above "
        f"{number_text(rules.drop.limit)}."
    )


_DROPPED: Mapping[str, Callable[[RuleSet], str]] = {
    "none": _no_drop,
    "lowest": _one_end("lowest"),
    "highest": _one_end("highest"),
    "highest_and_lowest": _both_ends,
    "grubbs": _grubbs,
    "median_distance": _median_distance,
}


def _total(rules: RuleSet) -> str:
    if rules.total_of == "mean":
        return "A box's total is the mean of its counted cards' points."
    top = sum((criterion.weight for criterion in rules.criteria), Decimal(0)) * rules.scale.highest
    best = number_text(top * rules.full_counted)
    return f"A box's total is the sum of its counted cards' points, {best} at best."


def _short(rules: RuleSet) -> list[str]:
    lines: list[str] = []
    if rules.fewest < rules.per_entry:
        lines.append(_short_box(rules))
    lines.append(
        f"A box with fewer than {counted(rules.fewest, 'card')} waits for the head judge's ruling and has no "
        "place until then."
        if rules.fewest > 1
        else "A box without a card waits for the head judge's ruling and has no place until then."
    )
    return lines


def _short_box(rules: RuleSet) -> str:
    fewer = f"With fewer than {counted(rules.per_entry, 'card')}"
    drops = rules.drop.rule != "none" and rules.drop.count > 0
    if not drops:
        kept = fewer
    elif rules.drop.when_short == "keep":
        kept = f"{fewer} no card is dropped"
    else:
        kept = f"{fewer} the same drop is made, as long as {count(rules.fewest)} stay"
    if rules.total_of == "mean":
        return f"{kept}{', and' if drops else ''} the mean is taken of the cards that count."
    if rules.total_when_short == "as_is":
        return f"{kept}{', and' if drops else ''} the sum stands as it is."
    scaled = f"the sum is scaled to {counted(rules.full_counted, 'card')}"
    return f"{kept}{', and' if drops else ''} {scaled} (sum × {rules.full_counted} ÷ cards counted)."


def _not_judged(rules: RuleSet) -> str:
    results = {
        "unranked": "has no place",
        "penalty_marks": "counts as if every judge had given the penalty mark throughout",
    }
    if rules.late == rules.disqualified:
        return f"A box that is late or disqualified {results[rules.late]}."
    return f"A box that is late {results[rules.late]}; one that is disqualified {results[rules.disqualified]}."


def tie_break_text(step: TieBreak, rules: RuleSet) -> str:
    """Return one tie-break as a phrase: "average taste of the counted cards", "a lot"."""
    return _TIES[step.by].format(_criterion_name(step, rules))


_TIES: Mapping[str, str] = {
    "counted_criterion": "average {} of the counted cards",
    "criterion": "average {} of all cards",
    "dropped_cards": "average points of the dropped cards",
    "highest_card": "the best card, then the next best and so on",
    "lot": "a lot",
}


def _criterion_name(step: TieBreak, rules: RuleSet) -> str:
    if step.criterion is None:
        return ""
    for criterion in rules.criteria:
        if criterion.key == step.criterion:
            return criterion.name.lower()
    return step.criterion


def _ties(rules: RuleSet) -> str:
    if not rules.tie_breaks:
        return "Boxes of equal totals share the place, and the next place is skipped."
    texts = [tie_break_text(step, rules) for step in rules.tie_breaks]
    ends = "" if any(step.by == "lot" for step in rules.tie_breaks) else " Boxes still equal share the place."
    if len(texts) == 1:
        return f"A tie is broken by {texts[0]}.{ends}"
    return f"A tie is broken by the first of these that differs: {', '.join(texts)}.{ends}"


def _overall(rules: RuleSet) -> str:
    return f"The overall order adds each team's totals over the counting categories. {_NEEDS[rules.needs]}"


_NEEDS: Mapping[str, str] = {
    "all_judged": "Grand champion and reserve need a box with a place in every counting category that was held.",
    "all_entered": "Grand champion and reserve must have entered every counting category that was held.",
    "any": "A team need not have entered them all.",
}
