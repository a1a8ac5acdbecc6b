"""Keying a sheet a second time, and settling by the paper where two readings of a card differ."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction

from contest.models import Category, Contest, Seat
from contest.refusals import Refused
from contest.rules.say import number_text
from contest.selectors.rules import category_rules
from contest.services.log import write_log
from judging.models import Card, Mark, Reading, Resolution
from judging.selectors.keying import differences, find_second, why_not_again
from judging.selectors.marks import marks_of
from judging.services.cards import SheetRefused, hand_in_sheet, read_marks, refuse_closed


@dataclass(frozen=True)
class KeyedAgain:
    """Box numbers of a second keying in serving order: those that agree with the first, and those that do not."""

    agreed: tuple[str, ...]
    differ: tuple[str, ...]


@transaction.atomic
def key_again(
    *, contest: Contest, category: Category, seat: Seat, marks: Mapping[str, Mapping[str, Decimal | str]], by: str
) -> KeyedAgain:
    """Store a second keying: box number → criterion key → mark, empty for a card without marks on the paper.

    Every box that is due is named; nothing that stands changes. Raises Refused, and SheetRefused for marks
    that are not on the scale; then nothing is stored.
    """
    contest = Contest.objects.select_for_update(no_key=True).get(pk=contest.pk)
    refuse_closed(contest)
    second = find_second(contest, category, seat)
    refused = why_not_again(contest, second, by)
    if refused or second is None:
        raise Refused(refused)
    if set(marks) != set(second.due):
        raise Refused(f"Key these boxes again: {', '.join(second.due)}. The sheet changed meanwhile.")
    parsed, cells = read_marks({number: row for number, row in marks.items() if row}, category_rules(category))
    if cells:
        raise SheetRefused("Some marks cannot stand. Nothing was handed in yet.", cells=cells)
    cards = {
        card.box.number: card
        for card in Card.objects.filter(
            seat=seat, box__number__in=second.due, box__contest=contest, box__draw__standing=True
        ).select_related("box")
    }
    agreed: list[str] = []
    differ: list[str] = []
    for number in second.due:
        given = parsed.get(number, {})
        same = _keep(contest, category, seat, cards[number], given, by)
        (agreed if same else differ).append(number)
    return KeyedAgain(tuple(agreed), tuple(differ))


def _keep(contest: Contest, category: Category, seat: Seat, card: Card, given: dict[str, Decimal], by: str) -> bool:
    first = card.readings.get(standing=True)
    reading = Reading.objects.create(card=card, kind=Reading.Kind.SECOND, standing=False, by=by[:120])
    Mark.objects.bulk_create(Mark(reading=reading, criterion=key, value=mark) for key, mark in given.items())
    same = marks_of(first) == given
    facts = {
        "category": category.key,
        "box": card.box.number,
        "seat": f"{seat.table.number}{seat.letter}",
        "marks": {key: number_text(mark) for key, mark in given.items()},
        "agrees": same,
    }
    write_log(contest=contest, chain="cards", what="card keyed again", facts=facts, by=by)
    return same


@transaction.atomic
def resolve(*, contest: Contest, reading: int, chosen: str, reason: str, by: str) -> Resolution:
    """Settle one difference by the paper: what stood is right, or the other marks are and become a correction.

    Raises Refused for a difference that is not open any more or a choice that cannot be made.
    """
    contest = Contest.objects.select_for_update(no_key=True).get(pk=contest.pk)
    try:
        refuse_closed(contest)
    except SheetRefused as error:
        raise Refused(str(error)) from None
    found = next((each for each in differences(contest) if each.reading == reading), None)
    if found is None:
        raise Refused("This difference is settled already.")
    if chosen not in Resolution.Chosen.values:
        raise Refused("Choose the marks that stand on the paper.")
    reason = " ".join(reason.split())[:250]
    if not reason:
        raise Refused("Say what the paper shows, for example: the paper has a 3, keyed as 8.")
    if chosen == Resolution.Chosen.OTHER and found.other_is_empty:
        raise Refused("A card without marks cannot take the place of one: the head judge dismisses the card.")
    row = Reading.objects.select_related("card__box", "card__seat__table").get(pk=reading)
    seat = row.card.seat
    made = Resolution.objects.create(reading=row, chosen=chosen, reason=reason, by=by[:120])
    facts = {
        "category": found.category.key,
        "box": found.box,
        "seat": found.label,
        "kind": found.kind,
        "chosen": chosen,
    }
    write_log(contest=contest, chain="cards", what="difference settled", facts=facts, by=by)
    if chosen == Resolution.Chosen.OTHER:
        _correct(contest, found.category, seat, found.box, row, reason, by)
    return made


def _correct(contest: Contest, category: Category, seat: Seat, box: str, row: Reading, reason: str, by: str) -> None:
    try:
        hand_in_sheet(
            contest=contest,
            category=category,
            seat=seat,
            marks={box: marks_of(row)},
            by=by,
            reason=f"looked up on the paper: {reason}",
        )
    except SheetRefused as error:
        raise Refused(str(error)) from None
