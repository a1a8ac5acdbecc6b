"""Cards as the engine holds them: rows of integers that sort as the rules order cards."""

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from contest.rules.say import total_text

Mark = Decimal | int
Marks = tuple[Mark, ...]
Row = tuple[int, Marks, str]  # weighted mark as a count of 1/unit, marks in sheet order, seat


class Reason(NamedTuple):
    """Why a card does not count: the rule, the figure it judged the card by, and the figure that one is held against.

    Both are exact text. `lowest`, `highest`: the card's weighted mark, and that of the nearest card that counts.
    `grubbs`: G², and the critical value's square at 12 significant digits. `median_distance`: the modified z-score,
    and the rule set's limit.
    """

    rule: str
    value: str
    limit: str


Cut = tuple[Sequence[Row], Sequence[tuple[Row, Reason]]]  # the rows kept, in order; those gone, each with its reason
Cutter = Callable[[Sequence[Row]], Cut]


class Texts(dict[int, str]):
    """From a count of ``1/unit`` to its exact decimal text, each made once."""

    def __init__(self, unit: int) -> None:
        super().__init__()
        self.unit = unit

    def __missing__(self, points: int) -> str:
        whole, part = divmod(points, self.unit)
        text = self[points] = total_text(Fraction(points, self.unit)) if part else str(whole)
        return text
