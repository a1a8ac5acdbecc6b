"""What a season's figures say, in a sentence. Nothing here claims more than the figures carry."""

from collections.abc import Sequence

from reports.season.boxes import SeasonBox


def hardness_words(hardness: float, half: float) -> str:
    """`11.6 harder ± 3.7`; figures never part from their ±."""
    text = f"{abs(hardness):.1f}"
    side = "" if float(text) == 0 else " harder" if hardness > 0 else " softer"
    return f"{text}{side} ±\u00a0{half:.1f}"


def telling_box(boxes: Sequence[SeasonBox]) -> str:
    """The box whose table most surely differed from its field, in a sentence; "" where none did."""
    sure = [box for box in boxes if box.adjusted and abs(box.adjusted.hardness) > box.adjusted.hardness_half]
    if not sure:
        return ""
    box = max(sure, key=lambda box: abs(box.adjusted.hardness) if box.adjusted else 0.0)
    if box.adjusted is None:
        return ""
    side, better = ("harder", "better") if box.adjusted.hardness > 0 else ("softer", "worse")
    return (
        f"{box.category} at {box.contest} was {better} than its total: table {box.table} was "
        f"{abs(box.adjusted.hardness):.1f} points {side} than the field (±\u00a0{box.adjusted.hardness_half:.1f})."
    )
