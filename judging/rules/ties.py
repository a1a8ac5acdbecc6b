"""Tie-breaks, tried in order on those still tied.

A new one is one function and one row of RULES, beside its row in contest.rules.ruleset_parts.TIE_BREAKS.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from hashlib import sha256
from operator import itemgetter
from typing import Any, Generic, TypeVar

from contest.rules.ruleset import TieBreak
from contest.rules.say import number_text, total_text
from judging.rules.outcome import BoxResult, LotNeeded, TeamResult, TieStep

_first = itemgetter(0)
Placed = TypeVar("Placed", BoxResult, TeamResult)


@dataclass(slots=True)
class Contender(Generic[Placed]):
    """One of those tied: a box, or a team with its ranked boxes of the counting categories."""

    name: str
    category: str
    results: Sequence[BoxResult]
    target: Placed


Value = Any  # an exact number, a list of them, or a digest: comparable within one rule


@dataclass(frozen=True, slots=True)
class Rule:
    """``value`` makes, for one step and seed, the function from a contender to what is compared."""

    value: Callable[[TieBreak, str], Callable[[Contender[Any]], Value]]
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
    value = rule.value(step, seed or "")
    valued = [(value(contender), contender) for contender in group]
    valued.sort(key=_first, reverse=rule.higher_wins)
    record = TieStep(step, [contender.name for _, contender in valued], [each for each, _ in valued], unit)
    for contender in group:
        contender.target.ties += (record,)
    if valued[0][0] == valued[-1][0]:
        return [group]
    label = step.label
    parts: list[list[Contender[Placed]]] = []
    before = None
    for each, contender in valued:
        contender.target.decided_by = label
        if not parts or each != before:
            parts.append([])
        parts[-1].append(contender)
        before = each
    return parts


def value_text(value: Value, record: TieStep) -> str:
    """A value of a tie-break for reading: a sum of marks, points, a list of them, a lot's first digits."""
    return RULES[record.step.by].text(value, record.unit)


def _counted_criterion(step: TieBreak, seed: str) -> Callable[[Contender[Any]], Value]:
    # Exact: a rule set's marks are short enough that their sums fit Decimal's 28 digits.
    def value(contender: Contender[Any]) -> Value:
        total: Value = 0
        for result in contender.results:
            at = result.plan.column.get(step.criterion or "")
            if at is not None:  # else another category's rules, without this criterion
                for row in result.kept:
                    total += row[1][at]
        return total

    return value


def _criterion(step: TieBreak, seed: str) -> Callable[[Contender[Any]], Value]:
    of_counted = _counted_criterion(step, seed)

    def value(contender: Contender[Any]) -> Value:
        total: Value = of_counted(contender)
        for result in contender.results:
            at = result.plan.column.get(step.criterion or "")
            if at is not None:
                for row, _ in result.gone:
                    total += row[1][at]
        return total

    return value


def _dropped_cards(step: TieBreak, seed: str) -> Callable[[Contender[Any]], Value]:
    def value(contender: Contender[Any]) -> Value:
        return sum([row[0] * result.plan.lift for result in contender.results for row, _ in result.gone])

    return value


def _highest_card(step: TieBreak, seed: str) -> Callable[[Contender[Any]], Value]:
    """All cards, best first. Where one list ends before they differ, the longer one is the higher."""

    def value(contender: Contender[Any]) -> Value:
        cards: list[int] = []
        for result in contender.results:
            cards += [row[0] * result.plan.lift for row in result.kept]
            cards += [row[0] * result.plan.lift for row, _ in result.gone]
        return sorted(cards, reverse=True)

    return value


def _lot(step: TieBreak, seed: str) -> Callable[[Contender[Any]], Value]:
    def value(contender: Contender[Any]) -> Value:
        return sha256(f"{seed}:{contender.category}:{contender.name}".encode()).hexdigest()

    return value


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
