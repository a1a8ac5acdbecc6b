"""Tie-breaks, tried in order on those still tied.

A new one is one function and one row of RULES, beside its row in contest.rules.ruleset.parts.TIE_BREAKS.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from hashlib import sha256
from typing import Any, Generic, TypeVar

from contest.rules.ruleset import TieBreak
from contest.rules.say import number_text, total_text
from judging.rules.outcome import BoxResult, LotNeeded, TeamResult, TieStep

Placed = TypeVar("Placed", BoxResult, TeamResult)


@dataclass(slots=True)
class Contender(Generic[Placed]):
    """One of those tied: a box, or a team with its ranked boxes of the counting categories."""

    name: str
    category: str
    results: Sequence[BoxResult]
    target: Placed


Tied = Sequence[Contender[Any]]
Value = Any  # an exact number, a list of them, or a digest: comparable within one rule
Values = list[Value]


@dataclass(frozen=True, slots=True)
class Rule:
    """``values``: what is compared, for those tied, a step and the seed; ``text``: how a value is read."""

    values: Callable[[Tied, TieBreak, str], Values]
    text: Callable[[Value, int], str]
    higher_wins: bool = True


def settle(
    tied: Sequence[Contender[Placed]], steps: Sequence[TieBreak], seed: str | None, *, unit: int
) -> list[list[Contender[Placed]]]:
    """Those tied, best first, in groups that nothing could part. ``unit``: what weighted marks count.

    Writes ``decided_by`` and ``ties`` of each. Raises LotNeeded where a lot is due and there is no seed.
    """
    groups = [list(tied)]
    for step in steps:
        if len(groups) == len(tied):
            break
        parted: list[list[Contender[Placed]]] = []
        for group in groups:
            parted.extend(_part(group, step, seed, unit) if len(group) > 1 else [group])
        groups = parted
    return groups


def _part(group: list[Contender[Placed]], step: TieBreak, seed: str | None, unit: int) -> list[list[Contender[Placed]]]:
    rule = RULES[step.by]
    if step.by == "lot" and seed is None:
        total = group[0].target.total
        names = [contender.name for contender in group]
        raise LotNeeded(group[0].category, names, total_text(total if total is not None else 0))
    values = rule.values(group, step, seed or "")
    if values.count(values[0]) == len(values):
        record = TieStep(step, [contender.name for contender in group], values, unit)
        for contender in group:
            contender.target.ties += (record,)
        return [group]
    order = sorted(range(len(values)), key=values.__getitem__, reverse=rule.higher_wins)
    record = TieStep(step, [group[at].name for at in order], [values[at] for at in order], unit)
    label = step.label
    parts: list[list[Contender[Placed]]] = []
    before = None
    for at in order:
        contender, each = group[at], values[at]
        contender.target.ties += (record,)
        contender.target.decided_by = label
        if each == before:
            parts[-1].append(contender)
        else:
            parts.append([contender])
        before = each
    return parts


def value_text(value: Value, record: TieStep) -> str:
    """A value of a tie-break for reading: a sum of marks, points, a list of them, a lot's first digits."""
    return RULES[record.step.by].text(value, record.unit)


def _counted_criterion(tied: Tied, step: TieBreak, seed: str) -> Values:
    # Exact: a rule set's marks are short enough that their sums fit Decimal's 28 digits.
    values: Values = []
    for contender in tied:
        total: Any = 0
        for result in contender.results:
            at = result.plan.column.get(step.criterion)
            if at is not None:  # else another category's rules, without this criterion
                for row in result.kept:
                    total += row[1][at]
        values.append(total)
    return values


def _criterion(tied: Tied, step: TieBreak, seed: str) -> Values:
    values = _counted_criterion(tied, step, seed)
    for place, contender in enumerate(tied):
        for result in contender.results:
            at = result.plan.column.get(step.criterion)
            if at is not None:
                values[place] += sum([row[1][at] for row, _ in result.gone])
    return values


def _dropped_cards(tied: Tied, step: TieBreak, seed: str) -> Values:
    return [
        sum([row[0] * result.plan.lift for result in contender.results for row, _ in result.gone]) for contender in tied
    ]


def _highest_card(tied: Tied, step: TieBreak, seed: str) -> Values:
    """All cards, best first. Where one list ends before they differ, the longer one is the higher."""
    values: Values = []
    for contender in tied:
        cards: list[int] = []
        for result in contender.results:
            cards += [row[0] * result.plan.lift for row in result.kept]
            cards += [row[0] * result.plan.lift for row, _ in result.gone]
        values.append(sorted(cards, reverse=True))
    return values


def _lot(tied: Tied, step: TieBreak, seed: str) -> Values:
    return [sha256(f"{seed}:{each.category}:{each.name}".encode()).hexdigest() for each in tied]


def _mark_text(value: Value, unit: int) -> str:
    return number_text(value)


def _points_text(value: Value, unit: int) -> str:
    return total_text(Fraction(value, unit))


def _cards_text(value: Value, unit: int) -> str:
    return ", ".join(total_text(Fraction(card, unit)) for card in value)


def _lot_text(value: Value, unit: int) -> str:
    return f"{value[:12]}…"


RULES: Mapping[str, Rule] = {
    "counted_criterion": Rule(_counted_criterion, _mark_text),
    "criterion": Rule(_criterion, _mark_text),
    "dropped_cards": Rule(_dropped_cards, _points_text),
    "highest_card": Rule(_highest_card, _cards_text),
    "lot": Rule(_lot, _lot_text, higher_wins=False),
}
