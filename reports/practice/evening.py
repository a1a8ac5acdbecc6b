"""What happens in an evening: the plates go out, tasters answer, the key is opened early, the result is made."""

from typing import Any

from django.db import transaction
from django.utils import timezone

from contest.access import seat_name
from contest.models import Box, Category, Contest, Seat
from contest.refusals import Refused, clean_reason
from contest.services.log import write_log
from reports.models import Answer, CookDay, CookLog, Practice
from reports.practice.plates import progress
from reports.rules.sensory.tasted import PracticeResult
from reports.rules.sensory.tasting import SCORE


def _held(practice: Practice) -> Practice:
    """The practice as it is now, its contest's row locked until the transaction ends."""
    Contest.objects.select_for_update(no_key=True).get(pk=practice.contest_id)
    return Practice.objects.select_related("contest", "team").get(pk=practice.pk)


@transaction.atomic
def serve(*, practice: Practice, by: str) -> Practice:
    """The plates are out: tasters may begin, and the key is closed to the cook too. Twice changes nothing."""
    practice = _held(practice)
    if practice.served_at is not None:
        return practice
    practice.served_at = timezone.now()
    practice.save(update_fields=["served_at"])
    if practice.question == SCORE:
        Contest.objects.filter(pk=practice.contest_id).update(phones=True)
    write_log(contest=practice.contest, chain="day", what="plates out", facts={}, by=by)
    return practice


@transaction.atomic
def open_key(*, practice: Practice, reason: str, by: str) -> Practice:
    """The cook looks at the key while tasters taste. It is written down, and the result says so."""
    practice = _held(practice)
    if practice.served_at is None or practice.closed_at is not None:
        raise Refused("The key is open: nothing need be recorded.")
    reason = clean_reason(reason, "Say why the key is opened now: the result shows it.")
    facts = {"reason": reason, **_how_far(practice)}
    write_log(contest=practice.contest, chain="day", what="key opened", facts=facts, by=by)
    return practice


def _how_far(practice: Practice) -> dict[str, int]:
    found = progress(practice)
    return {"tasters": len(found), "done": sum(each.is_done for each in found)}


@transaction.atomic
def hand_in_answer(*, contest: Contest, seat: Seat, category: Category, number: str) -> Answer:
    """The plate that a taster names in a round. The first answer stands; the same one again changes nothing."""
    locked = Contest.objects.select_for_update(no_key=True).get(pk=contest.pk)
    practice = Practice.objects.get(contest=locked)
    given = Answer.objects.filter(seat=seat, category=category).select_related("box").first()
    if given is not None:
        if given.box.number == number:
            return given
        raise Refused(f"{given.box.number} is handed in for this round already, and it stands.")
    if not locked.is_sealed:
        raise Refused("The tasting is closed: no more answers are taken.")
    if practice.served_at is None:
        raise Refused("The plates are not out yet. The cook says when to begin.")
    if practice.question == SCORE:
        raise Refused("This tasting is marked by card.")
    box = Box.objects.filter(contest=locked, category=category, table=seat.table_id, number=number).first()
    if box is None:
        raise Refused("Choose one of your plates first, then hand in.")
    answer = Answer.objects.create(seat=seat, category=category, box=box)
    facts = {"category": category.key, "box": number, "taster": seat.table.number}
    write_log(contest=locked, chain="cards", what="answer handed in", facts=facts, by=seat_name(seat))
    return answer


@transaction.atomic
def call_off(*, practice: Practice, by: str) -> Practice:
    """A practice that was set up wrongly, or never held: closed without a result. What the log holds stays."""
    practice = _held(practice)
    if practice.served_at is not None:
        raise Refused("The plates are out: end the tasting, and the result says who answered.")
    if practice.closed_at is not None:
        return practice
    practice.result = PracticeResult().to_json()
    _shut(practice)
    write_log(contest=practice.contest, chain="day", what="practice called off", facts={}, by=by)
    untouched = CookLog.objects.filter(
        day__contest=practice.contest, notes="", stages=None, temperatures=None, noted=None
    )
    CookDay.objects.filter(contest=practice.contest, logs__in=untouched).delete()
    return practice


def _shut(practice: Practice) -> None:
    practice.closed_at = timezone.now()
    practice.save(update_fields=["result", "closed_at"])
    contest = practice.contest
    contest.state, contest.marks_locked_at = Contest.State.CLOSED, practice.closed_at
    contest.save(update_fields=["state", "marks_locked_at"])


@transaction.atomic
def close(*, practice: Practice, by: str, unfinished_too: bool = False) -> Practice:
    """Take no more answers, open the key, and freeze the result. Twice changes nothing.

    While a taster is not finished this is an early look, which has to be meant (`unfinished_too`) and is recorded.
    Slow: the statistics are imported here.
    """
    from reports.practice.result import work_out

    practice = _held(practice)
    if practice.closed_at is not None:
        return practice
    if practice.served_at is None:
        raise Refused("The plates are not out yet: there is no result to see.")
    how_far: dict[str, Any] = _how_far(practice)
    if how_far["done"] < how_far["tasters"] and not unfinished_too:
        raise Refused("Not everybody is finished. Tick that you mean it: the result will say so.")
    result = work_out(practice)
    practice.result = result.to_json()
    _shut(practice)
    facts = {**how_far, "result": result.sum}
    write_log(contest=practice.contest, chain="day", what="practice closed", facts=facts, by=by)
    return practice
