"""Tie-breaks, tried in order on those still tied.

A new one is one function and one row of RULES, beside its row in contest.rules.ruleset_parts.TIE_BREAKS.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from hashlib import sha256
from itertools import groupby
from operator import itemgetter
from typing import Any

from contest.rules.ruleset import TieBreak
from contest.rules.say import number_text, total_text
from judging.rules.outcome import BoxResult, LotNeeded, TeamResult, TieStep

_first = itemgetter(0)


@dataclass(slots=True)
class Contender:
    """One of those tied: a box, or a team with its ranked boxes of the counting categories."""

    name: str
    category: str
    results: Sequence[BoxResult]
    target: BoxResult | TeamResult


Value = Any  # an exact number, a list of them, or a digest: comparable within one rule


@dataclass(frozen=True, slots=True)
class Rule:
    value: Callable[[Contender, TieBreak, str], Value]
    text: Callable[[Value, int], str]
    higher_wins: bool = True


def settle(
    tied: Sequence[Contender], steps: Sequence[TieBreak], seed: str | None, *, unit: int
) -> list[list[Contender]]:
    """Those tied, best first, in groups that nothing could part. ``unit``: what weighted marks count.

    Writes ``decided_by`` and ``ties`` of each. Raises LotNeeded where a lot is due and there is no seed.
    """
    groups = [list(tied)]
    for step in steps:
        parted: list[list[Contender]] = []
        for group in groups:
            parted.extend(_part(group, step, seed, unit) if len(group) > 1 else [group])
        groups = parted
        if len(groups) == len(tied):
            break
    return groups


def _part(group: list[Contender], step: TieBreak, seed: str | None, unit: int) -> list[list[Contender]]:
    rule = RULES[step.by]
    if step.by == "lot" and seed is None:
        total = group[0].target.total
        names = [contender.name for contender in group]
        raise LotNeeded(group[0].category, names, total_text(total if total is not None else 0))
    valued = [(rule.value(contender, step, seed or ""), contender) for contender in group]
    valued.sort(key=_first, reverse=rule.higher_wins)
    record = TieStep(step, [pair[1].name for pair in valued], [pair[0] for pair in valued], unit)
    for contender in group:
        contender.target.ties.append(record)
    if not record.parted:
        return [group]
    for contender in group:
        contender.target.decided_by = step.label
    return [[pair[1] for pair in part] for _, part in groupby(valued, key=_first)]


def value_text(value: Value, record: TieStep) -> str:
    """A value of a tie-break for reading: a sum of marks, points, a list of them, a lot's first digits."""
    return RULES[record.step.by].text(value, record.unit)


def _counted_criterion(contender: Contender, step: TieBreak, seed: str) -> Value:
    return _criterion_sum(contender, step, all_cards=False)


def _criterion(contender: Contender, step: TieBreak, seed: str) -> Value:
    return _criterion_sum(contender, step, all_cards=True)


def _criterion_sum(contender: Contender, step: TieBreak, *, all_cards: bool) -> Value:
    # Exact: a rule set's marks are short enough that their sums fit Decimal's 28 digits.
    total: Value = 0
    for result in contender.results:
        at = result.plan.column.get(step.criterion or "")
        if at is None:  # another category's rules, without this criterion
            continue
        total += sum([row[1][at] for row in result.kept])
        if all_cards:
            total += sum([row[1][at] for row in result.gone])
    return total


def _dropped_cards(contender: Contender, step: TieBreak, seed: str) -> Value:
    return sum([row[0] * result.plan.lift for result in contender.results for row in result.gone])


def _highest_card(contender: Contender, step: TieBreak, seed: str) -> Value:
    """All cards, best first. Where one list ends before they differ, the longer one is the higher."""
    cards = [row[0] * result.plan.lift for result in contender.results for row in (*result.kept, *result.gone)]
    return sorted(cards, reverse=True)


def _lot(contender: Contender, step: TieBreak, seed: str) -> Value:
    return sha256(f"{seed}:{contender.category}:{contender.name}".encode()).hexdigest()


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
