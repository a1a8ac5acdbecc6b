"""A rule set turned into integers once, so that every card and box is summed exactly and fast.

With weights w and marks m, a card's weighted mark Σ w·m is held as an integer count of ``1/unit``, where
unit is the common denominator of all possible weighted marks. A box's total is a count of ``1/total_unit``:
scaling and means multiply by whole numbers only.
"""

from collections.abc import Sequence
from fractions import Fraction
from math import lcm
from operator import getitem, itemgetter

from contest.rules.ruleset import RuleSet
from judging.rules.drops import cutter
from judging.rules.rows import Mark, Marks, Row, Texts
from judging.rules.scale import allowed

_MARKS = itemgetter(1)  # of a row


def sums_of(rows: Sequence[Row]) -> tuple[Mark, ...]:
    """Return the sum of each criterion's marks, then the number of rows.

    Exact: a rule set's marks are short enough that their sums fit Decimal's 28 digits.
    """
    return *map(sum, zip(*map(_MARKS, rows))), len(rows)  # noqa: B905 - the weighing checked their number


class Weighing(dict[Marks, int]):
    """From a card's marks to its weighted mark; each combination of marks is checked and summed once."""

    def __init__(self, rules: RuleSet) -> None:
        super().__init__()
        self.names = [criterion.name for criterion in rules.criteria]
        weights = [criterion.weight.as_integer_ratio() for criterion in rules.criteria]
        penalty = () if rules.scale.penalty is None else (rules.scale.penalty,)
        marks = [
            {mark: mark.as_integer_ratio() for mark in (*penalty, *allowed(rules, criterion.key))}
            for criterion in rules.criteria
        ]
        self.unit = lcm(
            *(below * per for (_, below), column in zip(weights, marks, strict=True) for _, per in column.values())
        )
        self.mark_unit = lcm(*(per for column in marks for _, per in column.values()))
        self.columns: list[dict[Mark, int]] = [
            {mark: weight * top * (self.unit // (below * per)) for mark, (top, per) in column.items()}
            for (weight, below), column in zip(weights, marks, strict=True)
        ]

    def __missing__(self, marks: Marks) -> int:
        if len(marks) != len(self.columns):
            raise ValueError(f"a card has {len(marks)} marks where the score sheet has {len(self.columns)}")
        try:
            weighted = self[marks] = sum(map(getitem, self.columns, marks))
        except KeyError:
            wrong = zip(self.names, marks, self.columns, strict=True)
            name, mark = next((name, mark) for name, mark, column in wrong if mark not in column)
            raise ValueError(f"{name} {mark} is not a mark of the scale") from None
        return weighted


class Plan:
    """What a tally needs of one rule set: integer weights, exact factors, texts made once."""

    def __init__(self, rules: RuleSet) -> None:
        self.rules = rules
        self.weigh = Weighing(rules)
        self.unit = self.weigh.unit
        self.text = Texts(self.unit)
        self.cut = cutter(rules, self.text)
        self.column: dict[str | None, int] = {criterion.key: place for place, criterion in enumerate(rules.criteria)}
        self.full = rules.full_counted
        self.most, self.fewest = rules.per_entry, rules.fewest
        self.mark_unit = self.weigh.mark_unit
        self.lift = 1  # to the unit that the plans of one tally share
        self.factor, per = _factors(rules)
        self.total_unit = self.unit * per

    def penalty_rows(self) -> list[Row]:
        """The cards of a box that counts as if every judge had given the penalty mark throughout."""
        penalty = self.rules.scale.penalty
        if penalty is None:
            raise ValueError("the rule set has no penalty mark")
        marks: Marks = (penalty,) * len(self.rules.criteria)
        return [(self.weigh[marks], marks, "")] * self.rules.per_entry

    def total(self, points: int) -> Fraction:
        return Fraction(points, self.total_unit)


def _factors(rules: RuleSet) -> tuple[dict[int, int], int]:
    """By number of counted cards, what their sum is multiplied by, and the common divisor of it all."""
    counts = range(rules.fewest, rules.per_entry + 1)
    if rules.total_of == "mean":
        per = lcm(*counts)
        return {counted: per // counted for counted in counts}, per
    if rules.total_when_short == "as_is":
        return dict.fromkeys(counts, 1), 1
    per = lcm(*counts)
    return {counted: rules.full_counted * per // counted for counted in counts}, per
