"""The values a rule set is made of, and the tables of what its rules may be called.

What a rule *says* (its name, what it takes from a full box, its options) is a row of a table here; what it
*does* to cards is a row of the table of the same keys in judging/rules. A test holds the tables together.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType


class RuleSetError(ValueError):
    """A rule set that cannot be used: which key, its value, and how to mend it."""

    def __init__(self, key: str, value: object, fix: str) -> None:
        self.key, self.value, self.fix = key, value, fix
        shown = "is missing" if value is None else f"= {_shown(value)}"
        super().__init__(f"{key} {shown}: {fix}")


def _shown(value: object) -> str:
    if isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, Mapping):
        text = "a table"
    elif isinstance(value, list | tuple):
        text = "a list"
    else:
        text = str(value)
    text = " ".join(text.split())
    return text if len(text) <= 60 else f"{text[:57]}…"


@dataclass(frozen=True, slots=True)
class Scale:
    """Marks from lowest to highest by step; a penalty mark lies below; words best mark first."""

    lowest: Decimal
    highest: Decimal
    step: Decimal
    penalty: Decimal | None
    words: tuple[tuple[Decimal, str], ...]


@dataclass(frozen=True, slots=True)
class Criterion:
    """One column of the score sheet; ``step`` overrides the scale's."""

    key: str
    name: str
    weight: Decimal
    step: Decimal | None


@dataclass(frozen=True, slots=True)
class Drop:
    """Which cards of a box do not count. ``alpha`` serves grubbs, ``limit`` median_distance."""

    rule: str
    count: int
    when_short: str
    alpha: Decimal
    limit: Decimal


@dataclass(frozen=True, slots=True)
class TieBreak:
    by: str
    criterion: str | None

    @property
    def label(self) -> str:
        """As it stands in results: ``counted_criterion:taste``, ``lot``."""
        return self.by if self.criterion is None else f"{self.by}:{self.criterion}"


@dataclass(frozen=True, slots=True)
class RuleSet:
    """A validated rule set; ``parse`` and ``from_document`` are the ways to make one."""

    name: str
    about: str
    scale: Scale
    criteria: tuple[Criterion, ...]
    per_entry: int
    fewest: int
    drop: Drop
    total_of: str
    total_when_short: str
    disqualified: str
    late: str
    tie_breaks: tuple[TieBreak, ...]
    needs: str

    def criterion(self, key: str) -> Criterion:
        """The criterion of that key; KeyError where there is none."""
        for criterion in self.criteria:
            if criterion.key == key:
                return criterion
        raise KeyError(key)

    @property
    def full_counted(self) -> int:
        """Cards counted of a full box, before any statistical drop."""
        return self.per_entry - self.drop.count * DROPS[self.drop.rule].ends


@dataclass(frozen=True, slots=True)
class DropKind:
    """``ends``: cards a count of one always takes from a full box. ``most``: cards it may take.

    ``outlier``: it takes a card only where that one lies far from the others, so full boxes count different numbers.
    """

    ends: int
    most: int
    outlier: bool = False


DROPS: Mapping[str, DropKind] = MappingProxyType(
    {
        "none": DropKind(ends=0, most=0),
        "lowest": DropKind(ends=1, most=1),
        "highest": DropKind(ends=1, most=1),
        "highest_and_lowest": DropKind(ends=2, most=2),
        "grubbs": DropKind(ends=0, most=1, outlier=True),
        "median_distance": DropKind(ends=0, most=1, outlier=True),
    }
)

# Whether the tie-break names a criterion.
TIE_BREAKS: Mapping[str, bool] = MappingProxyType(
    {
        "counted_criterion": True,
        "criterion": True,
        "dropped_cards": False,
        "highest_card": False,
        "lot": False,
    }
)
DROP_WHEN_SHORT = ("keep", "drop")
TOTALS = ("sum", "mean")
TOTAL_WHEN_SHORT = ("scale", "as_is")
NOT_JUDGED = ("unranked", "penalty_marks")
# Who may be champion: a team with a ranked box, or with any box, in every counting category held; or every team.
NEEDS = ("all_judged", "all_entered", "any")

DEFAULT_ALPHA = Decimal("0.05")
DEFAULT_LIMIT = Decimal("3.5")
