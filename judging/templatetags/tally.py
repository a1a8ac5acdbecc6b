"""Exact figures for reading."""

from decimal import Decimal
from fractions import Fraction

from django import template

from contest.rules.say import number_text, ordinal

register = template.Library()
PLACES = 4


@register.filter
def points(total: str | None) -> str:
    """An exact total (a decimal, or ``p/q``) with at most four decimals.

    What is cut off is not rounded: "…" says that more follows, so that a figure never looks higher than it is. The
    exact value stands in the working.
    """
    if not total:
        return ""
    exact = Fraction(total)
    scaled, rest = divmod(abs(exact.numerator) * 10**PLACES, exact.denominator)
    text = number_text(Decimal(scaled).scaleb(-PLACES))
    sign = "−" if exact < 0 else ""
    if not rest:
        return f"{sign}{text}"
    whole, _, decimals = text.partition(".")
    return f"{sign}{whole}.{decimals.ljust(PLACES, '0')}…"


_BY = {
    "counted_criterion": "{} of the counted cards",
    "criterion": "{} of all cards",
    "dropped_cards": "the dropped cards",
    "highest_card": "the highest card",
    "lot": "lot",
}


@register.filter
def tie_words(decided_by: str | None) -> str:
    """What parted a tie, in words: ``counted_criterion:taste`` → "tie broken by taste of the counted cards"."""
    if not decided_by:
        return ""
    by, _, criterion = decided_by.partition(":")
    return "tie broken by " + _BY.get(by, by).format(criterion)


@register.filter
def place_word(rank: int | None) -> str:
    """``first``, ``second`` … in words up to ten."""
    return ordinal(rank) if rank else ""
