"""The marks a judge may give, and reading one from a cell or a form."""

import re
from decimal import ROUND_FLOOR, Decimal
from functools import lru_cache

from contest.rules.ruleset import RuleSet, span_text, steps_text
from contest.rules.say import count, number_text

_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+|,[0-9]{1,2})?")
_NUMBER_WORDS = {count(number): number for number in range(1, 21)}


class MarkError(ValueError):
    """A mark that cannot stand; the message says what was given and what is allowed."""


@lru_cache(maxsize=256)
def allowed(rules: RuleSet, criterion_key: str) -> tuple[Decimal, ...]:
    """The marks a judge may give for a criterion, lowest first; never the penalty.

    Raises KeyError for a criterion that the rule set does not have.
    """
    scale, step = rules.scale, _step(rules, criterion_key)
    return tuple(scale.lowest + step * place for place in range(int((scale.highest - scale.lowest) / step) + 1))


def parse_mark(text: str, rules: RuleSet, criterion_key: str, *, penalty: bool = False) -> Decimal:
    """The mark that a text stands for; with ``penalty``, the scale's penalty mark passes too.

    A comma before one or two digits is a decimal sign. Raises MarkError with a message for the cell.
    """
    scale, given = rules.scale, " ".join(text.split())
    range_text = f"{span_text(scale.lowest, scale.highest)}, {steps_text(_step(rules, criterion_key))}"
    if not given:
        raise MarkError(f"no mark: type one, {range_text}")
    if not _NUMBER.fullmatch(given) or len(given) > 20:
        raise MarkError(_not_a_number(given, rules, range_text))
    mark = Decimal(given.replace(",", "."))
    if mark == scale.penalty:
        if penalty:
            return scale.penalty
        raise MarkError(f"{given} is the penalty mark, given by ruling only: {range_text}")
    if not scale.lowest <= mark <= scale.highest:
        side = "above" if mark > scale.highest else "below"
        raise MarkError(f"{given} is {side} the scale: {range_text}")
    return _on_step(mark, given, rules, criterion_key)


def _step(rules: RuleSet, criterion_key: str) -> Decimal:
    return rules.criterion(criterion_key).step or rules.scale.step


def _on_step(mark: Decimal, given: str, rules: RuleSet, criterion_key: str) -> Decimal:
    step, lowest = _step(rules, criterion_key), rules.scale.lowest
    place = ((mark - lowest) / step).to_integral_value(ROUND_FLOOR)
    below = lowest + place * step
    if below == mark:
        return below
    if step == 1:
        raise MarkError(f"{given}: whole marks only")
    near = f"{number_text(below)} or {number_text(below + step)}"
    raise MarkError(f"{given}: {steps_text(step)} only, {near}")


def _not_a_number(given: str, rules: RuleSet, range_text: str) -> str:
    shown = given if len(given) <= 30 else f"{given[:29]}…"
    words = {word.casefold(): mark for mark, word in rules.scale.words}
    meant = words.get(given.casefold(), _NUMBER_WORDS.get(given.casefold()))
    if meant is not None and rules.scale.lowest <= meant <= rules.scale.highest:
        return f"“{shown}” is not a number: type {number_text(meant)}"
    return f"“{shown}” is not a number: type a mark, {range_text}"
