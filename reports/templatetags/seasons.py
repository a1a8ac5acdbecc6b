"""Figures of a season for reading."""

from django import template

from contest.rules.say import ordinal
from reports.charts import signed as signed_text
from reports.season.boxes import Adjusted
from reports.season.flights import Flight
from reports.season.words import hardness_words

register = template.Library()


@register.filter
def signed(value: float) -> str:
    return signed_text(value)


@register.filter
def harder(pair: tuple[float, float]) -> str:
    """(hardness, half of its interval) → `1.4 harder ± 0.6`."""
    return hardness_words(*pair)


@register.simple_tag
def harder_of(adjusted: Adjusted) -> str:
    return hardness_words(adjusted.hardness, adjusted.hardness_half)


@register.filter
def box_sentence(box: Flight) -> str:
    """Place and table in a sentence."""
    sheet = box.sheet
    first = f"Your box came {ordinal(sheet.rank)} of {sheet.of}." if sheet.rank else f"Your box: {sheet.status}."
    if box.adjusted is None:
        return first
    if abs(box.adjusted.hardness) <= box.adjusted.hardness_half:
        return f"{first} Its table was neither clearly harder nor softer than the field."
    side = "harder" if box.adjusted.hardness > 0 else "softer"
    return f"{first} Table {sheet.table} was {abs(box.adjusted.hardness):.1f} points {side} than the field."
