"""Food-safety cautions for temperatures noted at a cook. Floors, never targets; the local health authority decides.

Holding: FDA Food Code 2022, §3-501.16: 57 °C (135 °F) or above hot, 5 °C (41 °F) or below cold. Contest rules often ask
140 °F and 40 °F: common practice, no source; the stricter stands first. Inside the meat: USDA FSIS, Safe Minimum
Internal Temperature Chart: poultry 74 °C (165 °F), whole cuts of pork and beef 63 °C (145 °F), then three
minutes of rest.
"""

from decimal import Decimal

STRICT_HOT, CODE_HOT = Decimal(140), Decimal(135)  # °F
POULTRY, WHOLE_CUT = Decimal(165), Decimal(145)  # °F


def floor_of(kind: str) -> Decimal:
    """The safe minimum inside the meat of a category's kind (as `timeline.kind_of` names it), in °F."""
    return POULTRY if kind == "chicken" else WHOLE_CUT


def caution(kind: str, fahrenheit: Decimal, cooked: bool) -> str:
    """What a meat temperature asks for attention to; "" where it asks for none.

    `cooked`: the meat is off the pit, so that it is held or served.
    """
    if not cooked:
        return ""
    floor = floor_of(kind)
    if fahrenheit < CODE_HOT:
        return (
            "Below 140 °F (60 °C), which contest rules often ask, and below the 135 °F (57 °C) of the Food Code for "
            "holding hot: do not keep it there."
        )
    if fahrenheit < STRICT_HOT:
        return "Below 140 °F (60 °C), which contest rules often ask for holding hot; the Food Code asks 135 °F (57 °C)."
    if fahrenheit < floor:
        both = f"{floor} °F ({(floor - 32) * 5 / 9:.0f} °C)"
        return f"Below {both}, the safe minimum inside this meat: it must have been there before."
    return ""
