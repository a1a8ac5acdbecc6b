"""Numbers and lists in plain English, for rules and workings that a cook reads aloud."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

# fmt: off
_WORDS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen",
    "seventeen", "eighteen", "nineteen", "twenty",
)
_ORDINALS = (
    "zeroth", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth",
)
# fmt: on


def count(number: int) -> str:
    """A whole number in words up to twenty (nought is "no"), in digits beyond."""
    return _WORDS[number] if 0 <= number < len(_WORDS) else str(number)


def counted(number: int, noun: str) -> str:
    """``counted(1, "card")`` is "one card", ``counted(6, "card")`` "six cards"."""
    plural = noun + ("es" if noun.endswith("x") else "s")
    return f"{count(number)} {noun if number == 1 else plural}"


def ordinal(number: int) -> str:
    """``ordinal(2)`` is "second"; digits beyond ten."""
    return _ORDINALS[number] if 0 <= number < len(_ORDINALS) else nth(number)


def nth(number: int) -> str:
    """``nth(2)`` is "2nd": an ordinal number in digits, for tables."""
    ending = "th" if 10 < number % 100 < 14 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def sentence(text: str) -> str:
    """The text with a capital first letter, the rest untouched."""
    return text[:1].upper() + text[1:]


def listed(items: Sequence[str], last: str = "and") -> str:
    """``listed(["a", "b", "c"])`` is "a, b and c"."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def number_text(number: Decimal | int) -> str:
    """A decimal without an exponent and without trailing noughts."""
    text = format(Decimal(number), "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def total_text(number: Fraction | int) -> str:
    """A fraction as an exact decimal, or as ``p/q`` where no decimal is exact.

    >>> total_text(Fraction(337028, 10000)), total_text(Fraction(100, 3))
    ('33.7028', '100/3')
    """
    top, bottom = number.numerator, number.denominator
    if bottom == 1:
        return str(top)
    twos = (bottom & -bottom).bit_length() - 1
    fives, rest = 0, bottom >> twos
    while rest % 5 == 0:
        rest //= 5
        fives += 1
    if rest != 1:
        return f"{top}/{bottom}"
    places = max(twos, fives)
    digits = str(abs(top) * 10**places // bottom).rjust(places + 1, "0")
    return f"{'-' if top < 0 else ''}{digits[:-places]}.{digits[-places:]}"


def rounded_text(number: Fraction, places: int = 4) -> str:
    """For reading only: the exact text where it is short, else rounded half to even and marked "about"."""
    exact = total_text(number)
    if "/" not in exact and len(exact.partition(".")[2]) <= places:
        return exact
    return f"about {number_text(Decimal(round(number * 10**places)).scaleb(-places))}"
