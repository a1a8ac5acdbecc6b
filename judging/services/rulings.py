"""The head judge's rulings, on box numbers alone. Taken back by a reason of its own, never deleted."""

from collections.abc import Iterable

from django.db import transaction
from django.utils import timezone

from contest.models import Box, Contest, Seat
from contest.present import present
from contest.refusals import Refused, clean_reason
from contest.rules.say import listed
from contest.selectors.rules import category_rules
from contest.services.log import write_log
from judging.models import Reading, Ruling
from judging.selectors.flights import is_vacant
from judging.selectors.rulings import in_force


@transaction.atomic
def rule(
    *,
    contest: Contest,
    kind: str,
    scope: str,
    box: Box,
    reason: str,
    by: str,
    seat: Seat | None = None,
    criterion: str = "",
) -> Ruling:
    """Put a ruling in force; kinds and scopes are those of `Ruling`.

    A penalty needs a rule set with a penalty mark. A dismissal names the marks that stand now: the card waits
    until it is marked anew. A card is ruled lost only while no marks of it stand. Raises Refused.
    """
    contest = _open(contest)
    reason = clean_reason(reason, "Say why: the ruling is kept with its reason.")
    _refuse_place(contest, box, seat, scope)
    if kind == Ruling.Kind.PENALTY:
        _refuse_penalty(box, scope, criterion)
    ruling = Ruling(
        contest=contest,
        kind=kind,
        scope=scope,
        box=box,
        seat=seat if scope == Ruling.Scope.CARD else None,
        criterion=criterion if scope == Ruling.Scope.CRITERION else "",
        reason=reason,
        by=by[:120],
    )
    _refuse_twice(ruling)
    if kind in (Ruling.Kind.LOST, Ruling.Kind.DISMISSAL):
        ruling.dismissed_reading = _reading_ruled_on(ruling)
    ruling.full_clean()
    ruling.save()
    write_log(contest=contest, chain="cards", what="ruling", facts=_facts(ruling), by=by)
    return ruling


@transaction.atomic
def rule_cards(*, contest: Contest, kind: str, box: Box, seats: Iterable[Seat], reason: str, by: str) -> list[Ruling]:
    """The same ruling on the cards of several seats, all or none."""
    seats = list(seats)
    if not seats:
        raise Refused("Tick the seats whose cards are meant.")
    return [
        rule(contest=contest, kind=kind, scope=Ruling.Scope.CARD, box=box, seat=seat, reason=reason, by=by)
        for seat in seats
    ]


def rule_no_portion(*, contest: Contest, box: Box, seats: Iterable[Seat], by: str, reason: str = "") -> list[Ruling]:
    """Too few portions: the cards of the seats that got none are lost. Without a reason, that is the reason."""
    seats = list(seats)
    given = " ".join(reason.split()) or f"no portion for {_seats_text(seats)}"
    return rule_cards(contest=contest, kind=Ruling.Kind.LOST, box=box, seats=seats, reason=given, by=by)


@transaction.atomic
def withdraw_ruling(*, ruling: Ruling, reason: str, by: str) -> Ruling:
    """The ruling no longer holds; its row stays, with why it was taken back."""
    contest = _open(ruling.contest)
    reason = clean_reason(reason, "Say why the ruling is taken back.")
    ruling = Ruling.objects.select_related("box__category", "seat__table").get(pk=ruling.pk, contest=contest)
    if ruling.withdrawn_at is not None:
        raise Refused("This ruling was taken back already.")
    ruling.withdrawn_at, ruling.withdrawn_why = timezone.now(), reason
    ruling.save(update_fields=["withdrawn_at", "withdrawn_why"])
    write_log(contest=contest, chain="cards", what="ruling withdrawn", facts=_facts(ruling), by=by)
    return ruling


def _open(contest: Contest) -> Contest:
    """The contest's row, locked; rulings are taken until the tally closes, and for a revision after it."""
    contest = Contest.objects.select_for_update(no_key=True).get(pk=contest.pk)
    if contest.state == Contest.State.PREPARING:
        raise Refused("The boxes are not drawn yet: there is nothing to rule on.")
    if not contest.is_sealed and contest.marks_locked_at is not None:
        raise Refused("The tally is closed: unlock the marks on the tally page, with a reason, rule, then revise it.")
    return contest


def _refuse_place(contest: Contest, box: Box, seat: Seat | None, scope: str) -> None:
    if box.contest_id != contest.pk or not box.draw.standing:
        raise Refused(f"{box.number} is no box of this contest's draw.")
    if scope != Ruling.Scope.CARD:
        return
    if seat is None:
        raise Refused("Choose the seat whose card is meant.")
    if seat.table_id != box.table_id:
        raise Refused(f"{box.number} is judged at table {present(box.table).number}: choose a seat of that table.")
    if is_vacant(box.category, seat):
        raise Refused(f"Seat {seat.letter} is vacant in {box.category.name.lower()}: it has no card.")


def _refuse_penalty(box: Box, scope: str, criterion: str) -> None:
    rules = category_rules(box.category)
    if rules.scale.penalty is None:
        raise Refused(
            f"The rules of {box.category.name.lower()} ({rules.name}) have no penalty mark. What they know is "
            "disqualification, a dismissed card and a lost card."
        )
    if scope == Ruling.Scope.CRITERION and criterion not in [each.key for each in rules.criteria]:
        raise Refused("Choose the criterion that gets the penalty mark.")


def _refuse_twice(ruling: Ruling) -> None:
    same = Ruling.objects.filter(
        contest=ruling.contest,
        withdrawn_at__isnull=True,
        kind=ruling.kind,
        scope=ruling.scope,
        box=ruling.box,
        seat=ruling.seat,
        criterion=ruling.criterion,
    )
    # A card may be dismissed once more after it was marked anew: that is another reading.
    if ruling.kind != Ruling.Kind.DISMISSAL and same.exists():
        where = f", seat {ruling.seat.letter}" if ruling.seat else ""
        raise Refused(f"This is ruled already for {ruling.box.number}{where}.")


def _reading_ruled_on(ruling: Ruling) -> Reading | None:
    """The standing marks that a dismissal sets aside; a lost card must have none."""
    box, seat = ruling.box, present(ruling.seat)
    reading = Reading.objects.filter(standing=True, card__box=box, card__seat=seat).first()
    on_box = in_force(ruling.contest).get(box.pk)
    stands = reading is not None and not (on_box and on_box.is_dismissed(seat.pk, reading.pk))
    if ruling.kind == Ruling.Kind.LOST:
        if stands:
            raise Refused(
                f"Seat {seat.letter} has handed in marks for {box.number}: a card that is there is not lost. "
                "Dismiss it if its marks may not stand."
            )
        return None
    if not stands:
        raise Refused(f"No marks of seat {seat.letter} stand for {box.number}: there is no card to dismiss.")
    return reading


def _seats_text(seats: Iterable[Seat]) -> str:
    letters = sorted(seat.letter for seat in seats)
    return f"seat{'s' if len(letters) > 1 else ''} {listed(letters)}"


def _facts(ruling: Ruling) -> dict[str, str | int]:
    facts: dict[str, str | int] = {
        "kind": ruling.kind,
        "scope": ruling.scope,
        "category": ruling.box.category.key,
        "box": ruling.box.number,
    }
    if ruling.seat:
        facts["seat"] = f"{ruling.seat.table.number}{ruling.seat.letter}"
    if ruling.criterion:
        facts["criterion"] = ruling.criterion
    if ruling.dismissed_reading:
        # Which reading of the card, from 1: a later one may be dismissed as well. What was only compared with the card
        # (keyed again, in conflict) is not counted, as the log's readers count handed-in and corrected cards alone.
        dismissed = ruling.dismissed_reading
        earlier = Reading.objects.filter(
            card=dismissed.card_id,
            pk__lte=dismissed.pk,
            kind__in=(Reading.Kind.FIRST, Reading.Kind.CORRECTION),
        )
        facts["reading"] = earlier.count()
    return facts
