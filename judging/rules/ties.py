"""Tie-breaks, tried in order on those still tied.

Means are compared, so that a card that was lost neither wins nor loses a place. A new tie-break is one function and
one row of RULES, beside its row in contest.rules.ruleset.parts.TIE_BREAKS.
"""

from collections.abc import Callable, Mapping, Sequence
from hashlib import sha256
from math import lcm
from typing import Any, TypeVar

from contest.rules.ruleset import TieBreak
from contest.rules.say import total_text
from judging.rules.outcome import BoxResult, LotNeeded, Settling, TeamResult, TieStep, Value

Placed = TypeVar("Placed", BoxResult, TeamResult)


# One of those tied: its name, its result, and its ranked boxes: a box itself, or a team's of the counting categories.
Contender = tuple[str, Placed, Sequence[BoxResult]]


Tied = Sequence[Contender[Any]]
Values = tuple[list[Value], int]  # what is compared, and the divisor that makes exact figures of it
Rule = Callable[[Tied, TieBreak, Settling], Values | None]  # None: passed over for this group


Trace = dict[str, tuple[TieStep, ...]]  # name → the tie-breaks tried on it, in order


def settle(
    tied: Sequence[Contender[Placed]], steps: Sequence[TieBreak], settling: Settling, trace: Trace | None = None
) -> list[Sequence[Contender[Placed]]]:
    """Return those tied, best first, in groups that no tie-break could separate.

    Writes ``decided_by`` of each, and into ``trace`` what was compared: most tallies never need it, so that it is made
    only when asked for. Raises LotNeeded where a lot is due and there is no seed.
    """
    settled: list[Sequence[Contender[Placed]]] = []
    _settle(tied, steps, settling, settled, trace)
    return settled


def _settle(
    group: Sequence[Contender[Placed]],
    steps: Sequence[TieBreak],
    settling: Settling,
    settled: list[Sequence[Contender[Placed]]],
    trace: Trace | None,
) -> None:
    for at, step in enumerate(steps):
        compared = RULES[step.by](group, step, settling)
        if compared is None:
            continue
        values, divisor = compared
        if values.count(values[0]) == len(values):
            if trace is not None:
                _record(trace, step, group, values, divisor)
            continue
        # Higher wins, except in a lot.
        order = sorted(range(len(values)), key=values.__getitem__, reverse=step.by != "lot")
        values, group = [values[place] for place in order], [group[place] for place in order]
        if trace is not None:
            _record(trace, step, group, values, divisor)
        label, later, start, last = step.label, steps[at + 1 :], 0, len(values)
        for _, target, _ in group:
            target.decided_by = label
        for end in range(1, last + 1):
            if end == last or values[end] != values[start]:
                part = group[start:end]
                if end - start == 1:
                    settled.append(part)
                else:
                    _settle(part, later, settling, settled, trace)
                start = end
        return
    settled.append(group)


def _record(trace: Trace, step: TieBreak, group: Tied, values: list[Value], divisor: int) -> None:
    record = TieStep(step, [name for name, _, _ in group], values, divisor)
    for name in record.names:
        trace[name] = (*trace.get(name, ()), record)


def _counted_criterion(tied: Tied, step: TieBreak, settling: Settling) -> Values:
    numbers: set[Any] = {result.sums[-1] for _, _, results in tied for result in results}
    share, unit = lcm(*numbers), settling.mark_unit
    times = {number: share // number for number in numbers}  # a mean is as many of 1/share
    values: list[Value] = []
    for _, _, results in tied:
        value = 0
        for result in results:
            at = result.plan.column.get(step.criterion)
            if at is not None:  # else another category's rules, without this criterion
                sums = result.sums
                value += int(sums[at] * unit) * times[sums[-1]]
        values.append(value)
    return values, unit * share


def _criterion(tied: Tied, step: TieBreak, settling: Settling) -> Values:
    # Not `cards`: a box that counts as penalty marks has others than those that came.
    share = lcm(*{len(result.kept) + len(result.gone) for _, _, results in tied for result in results})
    unit = settling.mark_unit
    values: list[Value] = []
    for _, _, results in tied:
        value = 0
        for result in results:
            at = result.plan.column.get(step.criterion)
            if at is not None:
                marks: list[Any] = [row[1][at] for row in result.kept] + [row[1][at] for row, _ in result.gone]
                value += int(sum(marks) * unit) * (share // len(marks))
        values.append(value)
    return values, unit * share


def _dropped_cards(tied: Tied, step: TieBreak, settling: Settling) -> Values | None:
    """Compare the mean of the dropped cards; there is nothing to compare where a box or team has none."""
    pools = [[row[0] * result.plan.lift for result in results for row, _ in result.gone] for _, _, results in tied]
    if not all(pools):
        return None
    share = lcm(*{len(cards) for cards in pools})
    return [sum(cards) * (share // len(cards)) for cards in pools], settling.unit * share


def _highest_card(tied: Tied, step: TieBreak, settling: Settling) -> Values | None:
    """Compare all cards, best first, over as many as the shortest has."""
    listed: list[list[int]] = []
    for _, _, results in tied:
        cards = [row[0] * result.plan.lift for result in results for row in result.kept]
        cards += [row[0] * result.plan.lift for result in results for row, _ in result.gone]
        listed.append(sorted(cards, reverse=True))
    fewest = min(map(len, listed))
    return ([tuple(cards[:fewest]) for cards in listed], settling.unit) if fewest else None


def _lot(tied: Tied, step: TieBreak, settling: Settling) -> Values:
    names = [name for name, _, _ in tied]
    if settling.seed is None:
        raise LotNeeded(settling.category, names, total_text(tied[0][1].total))
    return [sha256(f"{settling.seed}:{settling.category}:{name}".encode()).hexdigest() for name in names], 1


RULES: Mapping[str, Rule] = {
    "counted_criterion": _counted_criterion,
    "criterion": _criterion,
    "dropped_cards": _dropped_cards,
    "highest_card": _highest_card,
    "lot": _lot,
}
