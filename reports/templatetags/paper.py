"""Rows of marks as lines of fixed width: a table of a cell for each mark takes four times as long to lay out."""

from django import template

from reports.sheets import SheetBox, SheetCard

register = template.Library()


def _widths(box: SheetBox) -> list[int]:
    return [max(len(name), 8) + 2 for name in (*box.criteria, "Points")]


@register.filter
def marks_head(box: SheetBox) -> str:
    """The criteria in sheet order, then the points, each right over its column."""
    return _line((*box.criteria, "Points"), _widths(box))


@register.filter
def marks_line(card: SheetCard, box: SheetBox) -> str:
    """A card's marks and points under `marks_head`, and why it was dropped where it was."""
    line = _line((*card.marks, card.weighted), _widths(box))
    return f"{line}   dropped: {card.dropped}" if card.dropped else line


def _line(texts: tuple[str, ...], widths: list[int]) -> str:
    return "".join(text.rjust(width) for text, width in zip(texts, widths, strict=True))
