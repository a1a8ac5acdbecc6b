"""Reading a card as a phone sends it, in JSON or by a plain form: nothing in it is believed before it is checked."""

import json
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NoReturn

from contest.models import Category, Contest, Seat
from contest.selectors.boxes import standing_boxes
from judging.selectors.seat import criteria
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


@dataclass
class PlainCardForm:
    """One box as a plain form, for a phone without scripts. `key` travels with it: pressing twice hands in once."""

    number: str
    category: Category
    key: str
    chosen: Mapping[str, str]

    @classmethod
    def find(cls, contest: Contest, seat: Seat, number: str, sent: Mapping[str, str]) -> "PlainCardForm | None":
        """The form of a box of this seat's table; None for any other."""
        box = standing_boxes(contest).filter(number=number, table=seat.table_id).first()
        if box is None:
            return None
        key = sent.get("key", "")
        names = [each["key"] for each in criteria(box.category)]
        chosen = {name: sent.get(f"mark-{name}", "") for name in names}
        return cls(box.number, box.category, key if _KEY.fullmatch(key) else secrets.token_hex(16), chosen)

    def card(self) -> PhoneCard:
        marks = {name: value[:60] if _is_text(value[:60]) else "?" for name, value in self.chosen.items()}
        return PhoneCard(key=self.key, box=self.number, marks=marks, anew=True, device="phone, plain form")

    @property
    def fields(self) -> list[dict[str, Any]]:
        """The criteria, each with its marks as (value, word, whether it is chosen)."""
        return [
            {**each, "marks": [(value, word, self.chosen[each["key"]] == value) for value, word in each["marks"]]}
            for each in criteria(self.category)
        ]
