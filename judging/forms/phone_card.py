"""Reading a card from the JSON that a phone sends: nothing in it is believed before it is checked."""

import json
import re
from typing import Any, NoReturn

from judging.services.phones import CardRefused, PhoneCard

MOST_BYTES = 64 * 1024
MOST_MARKS = 40
_KEY = re.compile(r"[0-9a-f]{32}")
_BOX = re.compile(r"[0-9]{1,10}")
_TIME = re.compile(r"[0-9T:.Z+-]{1,40}")
_TEXT = re.compile(r"[\x20-\x7e\u00a0-\ud7ff]*")


def read_object(body: bytes) -> dict[str, Any]:
    """The JSON object of a body, every number in it as its text. Raises CardRefused."""
    try:
        found = json.loads(body.decode(), parse_float=str, parse_int=str, parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        raise CardRefused("json", "What arrived was not a card. The phone keeps it.", 400) from None
    if not isinstance(found, dict):
        raise CardRefused("json", "What arrived was not a card. The phone keeps it.", 400)
    return found


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(name)


def key_of(found: dict[str, Any]) -> str | None:
    """The card's key, if it has one, so that even a refusal names the card."""
    key = found.get("key")
    return key if isinstance(key, str) and _KEY.fullmatch(key) else None


def read_card(found: dict[str, Any], *, seat: str, device: str) -> PhoneCard:
    """The card in the object, which must say that it is of `seat` ("3B"). Raises CardRefused."""
    key = key_of(found)
    if key is None:
        raise CardRefused("key", "The card has no key of its own. Reload the page and hand it in again.", 400)
    if found.get("seat") != seat:
        raise CardRefused(
            "seat",
            f"This card is not of seat {seat}, whose pass word the phone sent with it. Show it to the clerk.",
            403,
        )
    box, marks = found.get("box"), found.get("marks")
    if not isinstance(box, str) or not _BOX.fullmatch(box):
        raise CardRefused("box", "The card names no box. Show it to the clerk.", 400)
    if not isinstance(marks, dict) or len(marks) > MOST_MARKS or not all(map(_is_text, [*marks, *marks.values()])):
        raise CardRefused("marks", f"The marks of {box[:10]} cannot be read. Show the card to the clerk.", 400)
    number, time = found.get("number"), found.get("time")
    return PhoneCard(
        key=key,
        box=box,
        marks=marks,
        anew=found.get("anew") is True,
        number=int(number) if isinstance(number, str) and re.fullmatch(r"[0-9]{1,9}", number) else None,
        time=time if isinstance(time, str) and _TIME.fullmatch(time) else "",
        device=device,
    )


def _is_text(value: object) -> bool:
    return isinstance(value, str) and len(value) <= 60 and _TEXT.fullmatch(value) is not None
