"""Cards from judges' phones: one card at a time, each stored once however often it is sent."""

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, connection, transaction

from contest.access import seat_name
from contest.models import Box, Category, Contest, Seat, Table
from contest.refusals import Refused
from contest.selectors.rules import category_rules
from contest.services.log import write_log
from judging.models import Card, PortionsRound, Reading
from judging.selectors.marks import marks_by_reading, marks_of
from judging.selectors.phone_card import Slot, slot
from judging.selectors.rulings import in_force_on
from judging.services.cards import AFTER_DISMISSAL, read_marks, store_reading

STORED, ALREADY, CONFLICT = "stored", "already", "conflict"


class CardRefused(Refused):
    """A card that cannot be taken; nothing of it was stored.

    `error` names the kind of trouble for the phone, `status` is the HTTP status that fits it, the message tells the
    judge why and what to do.
    """

    def __init__(self, error: str, reason: str, status: int = 422) -> None:
        self.error, self.status = error, status
        super().__init__(reason)


@dataclass(frozen=True)
class PhoneCard:
    """A card as a phone sends it.

    `key` is the phone's own, sent again with every try; `number` counts the phone's cards and `time` is its clock,
    both kept as information and trusted for nothing. `anew` says that the judge marked the box again after the
    head judge dismissed the card.
    """

    key: str
    box: str
    marks: Mapping[str, str]
    anew: bool = False
    number: int | None = None
    time: str = ""
    device: str = ""


def stored_before(*, seat: Seat, key: str) -> str:
    """What became of a card sent earlier under this key from this seat; empty where it never came."""
    kind = Reading.objects.filter(client_key=key, card__seat=seat).values_list("kind", flat=True).first()
    if kind is None:
        return ""
    return CONFLICT if kind == Reading.Kind.CONFLICT else ALREADY


def hand_in_card(*, contest: Contest, seat: Seat, card: PhoneCard) -> str:
    """Store one card of a seat: STORED, or ALREADY where the same marks of this seat are in, or CONFLICT.

    The first reading stands. Other marks for the same seat and box are kept beside it as a conflict, for the clerk
    to look up. Raises CardRefused, with nothing stored, for a card that cannot be taken.
    """
    try:
        with _in_turn(), transaction.atomic():
            if connection.features.has_select_for_update:  # else whoever writes is alone anyway
                Contest.objects.select_for_update(no_key=True).only("pk").get(pk=contest.pk)
            return _hand_in(contest, seat, card)
    except IntegrityError:  # the key is unique, and was used for another card
        raise CardRefused("key", _KEY_USED, 409) from None


_turn = threading.Lock()


@contextmanager
def _in_turn() -> Iterator[None]:
    """SQLite lets one writer in and has the others ask again and again, by chance: here the next one is woken."""
    if connection.vendor != "sqlite":
        yield
        return
    with _turn:
        yield


_KEY_USED = "Another card came under this card's key. Show this card to the clerk."


def _hand_in(contest: Contest, seat: Seat, card: PhoneCard) -> str:
    found = slot(contest, seat, card.box)
    if found is None:
        _refuse_closed(Contest.objects.get(pk=contest.pk))
        raise CardRefused("box", f"There is no box {card.box[:10]} in this contest. Look at the number again.", 404)
    readings = _readings(found.box, seat) if found.has_card else []
    same = next((each for each in readings if each.client_key == card.key), None)
    if same is None:
        _refuse_closed(found.contest)
    given = _checked_marks(found.category, card)
    if same is not None:
        if marks_of(same) != given:
            raise CardRefused("key", _KEY_USED, 409)
        return CONFLICT if same.kind == Reading.Kind.CONFLICT else ALREADY
    dismissed = _refuse_slot(found, seat, readings)
    return _keep(found, seat, card, given, readings, dismissed)


def _readings(box: Box, seat: Seat) -> list[Reading]:
    return list(Reading.objects.filter(card__box=box, card__seat=seat).select_related("card"))


def _refuse_closed(contest: Contest) -> None:
    if not contest.phones:
        raise CardRefused("phones", "This contest takes score sheets on paper only: hand in on paper.", 403)
    if not contest.is_drawn:
        raise CardRefused("not drawn", "The boxes are not drawn yet: no marks can be handed in.", 409)
    if contest.marks_locked_at is not None or not contest.is_sealed:
        raise CardRefused("locked", "The marks are locked. Show this card to the clerk or the head judge.", 409)


def _checked_marks(category: Category, card: PhoneCard) -> dict[str, Decimal]:
    rules = category_rules(category)
    parsed, cells = read_marks({card.box: card.marks}, rules)
    if cells:
        names = {criterion.key: criterion.name for criterion in rules.criteria}
        wrong = [f"{names.get(key, key[:30])}: {text}" for (_, key), text in cells.items()]
        raise CardRefused("marks", f"{card.box} cannot stand so. {'; '.join(wrong)[:400]}.")
    return parsed[card.box]


def _refuse_slot(found: Slot, seat: Seat, readings: list[Reading]) -> bool:
    """Refuse a card that is not to come; whether the standing one was dismissed."""
    box, category = found.box, found.category
    if box.table_id != seat.table_id:
        raise CardRefused("table", f"{box.number} is judged at another table. Give it to the captain.", 409)
    if category.is_cancelled:
        raise CardRefused("cancelled", f"{category.name} was cancelled: no marks are taken.", 409)
    if found.kept_back:
        raise CardRefused("not judged", f"{box.number} is not judged: no marks are taken for it.", 409)
    if found.vacant:
        raise CardRefused("vacant", "No card is expected from this seat in this category. Ask the captain.", 409)
    if not found.ruled:
        return False
    on_box = in_force_on(box)
    if seat.pk in on_box.lost:
        raise CardRefused("lost", f"Your card of {box.number} was ruled lost. Show this card to the head judge.", 409)
    standing = next((each.pk for each in readings if each.standing), None)
    return standing is not None and on_box.is_dismissed(seat.pk, standing)


def _keep(
    found: Slot,
    seat: Seat,
    card: PhoneCard,
    given: dict[str, Decimal],
    readings: list[Reading],
    dismissed: bool,
) -> str:
    kind = Reading.Kind.FIRST
    of_card: dict[str, Any] = {}
    if dismissed and card.anew:
        kind, of_card = Reading.Kind.CORRECTION, {"reason": AFTER_DISMISSAL}
        Reading.objects.filter(card=readings[0].card, standing=True).update(standing=False)
    elif readings:
        marks = marks_by_reading([reading.pk for reading in readings])
        same = [reading for reading in readings if marks.get(reading.pk, {}) == given]
        if any(each.kind != Reading.Kind.CONFLICT for each in same):
            return ALREADY
        if same:
            return CONFLICT
        kind, of_card = Reading.Kind.CONFLICT, {"standing": False}
    store_reading(
        contest=found.contest,
        category=found.category,
        seat=seat,
        card=_card(found, seat),
        number=found.box.number,
        kind=kind,
        marks=given,
        by=seat_name(seat),
        client_key=card.key,
        client_number=card.number,
        client_time=card.time,
        device=card.device,
        **of_card,
    )
    return CONFLICT if kind == Reading.Kind.CONFLICT else STORED


def _card(found: Slot, seat: Seat) -> Card:
    if found.has_card:
        return Card.objects.get(box=found.box, seat=seat)
    return Card.objects.create(box=found.box, seat=seat)


@transaction.atomic
def portions_go_round(*, contest: Contest, table: Table, category: Category, by: str) -> None:
    """The captain's word for a whole table: marks for appearance stand from here on. Twice changes nothing."""
    contest = Contest.objects.select_for_update(no_key=True).get(pk=contest.pk)
    if not contest.is_drawn or not contest.is_sealed:
        return
    _, made = PortionsRound.objects.get_or_create(table=table, category=category, defaults={"by": by[:120]})
    if made:
        facts = {"category": category.key, "table": table.number}
        write_log(contest=contest, chain="cards", what="portions go round", facts=facts, by=by)
