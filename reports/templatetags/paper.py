"""A box's marks as lines of fixed width: a table of a cell for each mark takes many times as long to lay out."""

from django import template

from reports.results.sheets import SheetBox

register = template.Library()


@register.filter
def marks_head(box: SheetBox) -> str:
    """The criteria in sheet order, then the points, each right over its column."""
    return _line("Seat", (*box.criteria, "Points"), _widths(box))


@register.filter
def marks_lines(box: SheetBox) -> str:
    """A line for each card under `marks_head`: seat, marks, points, and why it was dropped where it was."""
    lines = []
    for card in box.cards:
        line = _line(card.seat, (*card.marks, card.weighted), _widths(box))
        lines.append(f"{line}   dropped: {card.dropped}" if card.dropped else line)
    return "\n".join(lines)


def _widths(box: SheetBox) -> list[int]:
    return [max(len(name), 8) + 2 for name in (*box.criteria, "Points")]


def _line(seat: str, texts: tuple[str, ...], widths: list[int]) -> str:
    return seat.ljust(4) + "".join(text.rjust(width) for text, width in zip(texts, widths, strict=True))
