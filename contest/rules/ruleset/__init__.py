"""Rule sets as documents: read, check, write, and the shipped ones. The other modules import from here.

>>> rules = shipped()["taste-double"]
>>> rules.per_entry, rules.drop.rule, parse(to_toml(rules)) == rules
(6, 'lowest', True)
"""

import tomllib
from decimal import Decimal
from functools import cache
from pathlib import Path

from contest.rules.ruleset.document import from_document, to_document
from contest.rules.ruleset.parts import (
    DROP_WHEN_SHORT,
    DROPS,
    NEEDS,
    NOT_JUDGED,
    TIE_BREAKS,
    TOTAL_WHEN_SHORT,
    TOTALS,
    Criterion,
    Drop,
    RuleSet,
    RuleSetError,
    Scale,
    TieBreak,
)
from contest.rules.ruleset.words import in_words, span_text, steps_text, tie_break_text

__all__ = [
    "DROPS",
    "DROP_WHEN_SHORT",
    "NEEDS",
    "NOT_JUDGED",
    "SHIPPED",
    "TIE_BREAKS",
    "TOTALS",
    "TOTAL_WHEN_SHORT",
    "Criterion",
    "Drop",
    "RuleSet",
    "RuleSetError",
    "Scale",
    "TieBreak",
    "from_document",
    "in_words",
    "parse",
    "shipped",
    "shipped_text",
    "span_text",
    "steps_text",
    "tie_break_text",
    "to_document",
    "to_toml",
]

# In the order in which a form offers them.
SHIPPED = ("taste-double", "plain-points", "trimmed-panel", "four-criteria", "uneven-weights", "liking-scale")


def parse(text: str) -> RuleSet:
    """The rule set that a TOML text describes; numbers are read as exact decimals.

    Raises RuleSetError for text that is not TOML or not a rule set.
    """
    try:
        document = tomllib.loads(text.removeprefix("\ufeff"), parse_float=Decimal)
    except (ValueError, ArithmeticError) as error:
        raise RuleSetError("document", str(error), "mend the TOML at the place named") from None
    except RecursionError:
        raise RuleSetError("document", "nested too deeply", "remove the inner brackets") from None
    return from_document(document)


def to_toml(rules: RuleSet) -> str:
    """The rule set as TOML text; ``parse`` gives back an equal one."""
    import tomli_w  # only whoever writes a set needs it

    return tomli_w.dumps(to_document(rules))


def shipped_text(key: str) -> str:
    """The TOML of a shipped set, comments included. Raises KeyError for a key that is not in SHIPPED."""
    if key not in SHIPPED:
        raise KeyError(key)
    return (Path(__file__).parent / "sets" / f"{key}.toml").read_text(encoding="utf-8")


@cache
def _shipped(key: str) -> RuleSet:
    return parse(shipped_text(key))


def shipped() -> dict[str, RuleSet]:
    """The shipped rule sets by key, in the order of SHIPPED."""
    return {key: _shipped(key) for key in SHIPPED}
