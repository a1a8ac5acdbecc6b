"""Keying a score sheet twice: which sheets, and what the second keying found."""

import hashlib
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

#: Of so many sheets one is keyed twice where a sample is.
ONE_IN = 4

#: Wrong marks per 10,000, for orientation: Reynolds-Haertle and McBride, "Single vs. double data entry in CAST",
#: Controlled Clinical Trials 13 (1992) 487-494.
SINGLE_ENTRY, DOUBLE_ENTRY = 22, 15


def in_sample(commitment: str, category: str, table: int, seat: str) -> bool:
    """Whether a sheet is one of the four that is keyed twice: chosen by the draw, so that nobody picks.

    SHA-256 of `commitment:category:tableseat` (UTF-8), read as a number, leaves no rest when divided by four. The
    commitment is the draw's, in lower-case hex, known since before the boxes were drawn.
    """
    text = f"{commitment}:{category}:{table}{seat}"
    return int(hashlib.sha256(text.encode()).hexdigest(), 16) % ONE_IN == 0


@dataclass(frozen=True)
class KeyingErrors:
    """What second keyings found: marks compared, marks that differed, and of these who was wrong by the paper."""

    marks: int = 0
    differed: int = 0
    first_wrong: int = 0
    second_wrong: int = 0

    @property
    def open(self) -> int:
        """Marks that differed and were not looked up yet."""
        return self.differed - self.first_wrong - self.second_wrong

    @property
    def per_10000(self) -> int | None:
        """Wrong marks of the first keying per 10,000, rounded; None where nothing was compared."""
        if not self.marks:
            return None
        return int((Decimal(self.first_wrong * 10000) / self.marks).quantize(Decimal(1), ROUND_HALF_UP))
