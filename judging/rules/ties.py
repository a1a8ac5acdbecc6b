"""Tie-breaks, tried in order on those still tied.

Means are compared, so that a card that was lost neither wins nor loses a place. A new tie-break is one function and
one row of RULES, beside its row in contest.rules.ruleset_parts.TIE_BREAKS.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from itertools import chain
from math import lcm
from typing import Any, Generic, TypeVar

from contest.rules.ruleset import TieBreak
from contest.rules.say import total_text
from judging.rules.outcome import BoxResult, LotNeeded, TeamResult, TieStep, Value

Placed = TypeVar("Placed", BoxResult, TeamResult)


@dataclass(slots=True)
class Contender(Generic[Placed]):
    """One of those tied: a box, or a team with its ranked boxes of the counting categories."""

    name: str
    category: str
    results: Sequence[BoxResult]
    target: Placed


@dataclass(frozen=True, slots=True)
class Units:
    """What the engine's whole numbers count: weighted marks ``1/cards``, marks of one criterion ``1/marks``."""

    cards: int
    marks: int


Tied = Sequence[Contender[Any]]
Values = tuple[list[Value], int]  # what is compared, and the divisor that makes exact figures of it
Rule = Callable[[Tied, TieBreak, Units, str | None], Values | None]  # None: passed over for this group


def settle(
    tied: Sequence[Contender[Placed]], steps: Sequence[TieBreak], seed: str | None, *, units: Units
) -> list[list[Contender[Placed]]]:
    """Return those tied, best first, in groups that no tie-break could separate.

    Writes ``decided_by`` and ``ties`` of each. Raises LotNeeded where a lot is due and there is no seed.
    """
    groups = [list(tied)]
    for step in steps:
        if len(groups) == len(tied):
            break
        parts: list[list[Contender[Placed]]] = []
        for group in groups:
            parts.extend(_split(group, step, seed, units) if len(group) > 1 else [group])
        groups = parts
    return groups


def _split(
    group: list[Contender[Placed]], step: TieBreak, seed: str | None, units: Units
) -> list[list[Contender[Placed]]]:
    compared = RULES[step.by](group, step, units, seed)
    if compared is None:
        return [group]
    values, divisor = compared
    if values.count(values[0]) == len(values):
        record = TieStep(step, [contender.name for contender in group], values, divisor)
        for contender in group:
            contender.target.ties += (record,)
        return [group]
    # Higher wins, except in a lot.
    order = sorted(range(len(values)), key=values.__getitem__, reverse=step.by != "lot")
    record = TieStep(step, [group[at].name for at in order], [values[at] for at in order], divisor)
    label = step.label
    parts: list[list[Contender[Placed]]] = []
    before = None
    for at in order:
        contender, value = group[at], values[at]
        contender.target.ties += (record,)
        contender.target.decided_by = label
        if value == before:
            parts[-1].append(contender)
        else:
            parts.append([contender])
        before = value
    return parts


def _means(sums: Sequence[Sequence[tuple[int, int]]], unit: int) -> Values:
    """Return each contender's sum of means, from a (sum, number of cards) for each mean. Sums count ``1/unit``."""
    share = lcm(*{number for means in sums for _, number in means})
    return [sum([total * (share // number) for total, number in means]) for means in sums], unit * share


def _counted_criterion(tied: Tied, step: TieBreak, units: Units, seed: str | None) -> Values:
    return _criterion_means(tied, step, units, with_dropped=False)


def _criterion(tied: Tied, step: TieBreak, units: Units, seed: str | None) -> Values:
    return _criterion_means(tied, step, units, with_dropped=True)


def _criterion_means(tied: Tied, step: TieBreak, units: Units, *, with_dropped: bool) -> Values:
    sums: list[list[tuple[int, int]]] = []
    for contender in tied:
        means: list[tuple[int, int]] = []
        for result in contender.results:
            at = result.plan.column.get(step.criterion)
            if at is None:  # another category's rules, without this criterion
                continue
            marks: list[Any] = [row[1][at] for row in result.kept]
            if with_dropped:
                marks += [row[1][at] for row, _ in result.gone]
            # Exact: a rule set's marks are short enough that their sums fit Decimal's 28 digits.
            means.append((int(sum(marks) * units.marks), len(marks)))
        sums.append(means)
    return _means(sums, units.marks)


def _dropped_cards(tied: Tied, step: TieBreak, units: Units, seed: str | None) -> Values | None:
    """Compare the mean of the dropped cards; there is nothing to compare where a box or team has none."""
    sums: list[list[tuple[int, int]]] = []
    for contender in tied:
        cards = [row[0] * result.plan.lift for result in contender.results for row, _ in result.gone]
        if not cards:
            return None
        sums.append([(sum(cards), len(cards))])
    return _means(sums, units.cards)


def _highest_card(tied: Tied, step: TieBreak, units: Units, seed: str | None) -> Values | None:
    """Compare all cards, best first, over as many as the shortest has."""
    listed: list[list[int]] = []
    for contender in tied:
        cards: list[int] = []
        for result in contender.results:
            rows = chain(result.kept, (row for row, _ in result.gone))
            cards += [row[0] * result.plan.lift for row in rows]
        listed.append(sorted(cards, reverse=True))
    fewest = min(map(len, listed))
    return ([tuple(cards[:fewest]) for cards in listed], units.cards) if fewest else None


def _lot(tied: Tied, step: TieBreak, units: Units, seed: str | None) -> Values:
    if seed is None:
        total = tied[0].target.total
        names = [contender.name for contender in tied]
        raise LotNeeded(tied[0].category, names, total_text(total if total is not None else 0))
    return [sha256(f"{seed}:{one.category}:{one.name}".encode()).hexdigest() for one in tied], 1


RULES: Mapping[str, Rule] = {
    "counted_criterion": _counted_criterion,
    "criterion": _criterion,
    "dropped_cards": _dropped_cards,
    "highest_card": _highest_card,
    "lot": _lot,
}
