"""Locking the marks, closing the tally, signing it off, and revising it afterwards. Nothing is overwritten."""

from django.db import transaction
from django.utils import timezone

from contest import day
from contest.models import Contest, Entry
from contest.refusals import Refused, clean_reason
from contest.selectors.categories import held_categories
from contest.services.log import write_log
from judging.frozen import digest, inputs_of, outcome_of
from judging.models import Tally
from judging.records import RecordsError, closing_records


@transaction.atomic
def lock_marks(*, contest: Contest, by: str) -> None:
    """From here on no mark changes. Locking twice changes nothing."""
    contest = _held(contest)
    if not contest.is_drawn:
        raise Refused("There is nothing to lock before the draw.")
    if contest.marks_locked_at is None:
        _lock(contest)
        write_log(contest=contest, chain="cards", what="marks locked", facts={}, by=by)


@transaction.atomic
def unlock_marks(*, contest: Contest, reason: str, by: str) -> None:
    """Marks may change again, for a reason that goes into the log.

    After closing, the result does not follow them before it is revised. There the reason may name a team, so
    it goes into the log of the day.
    """
    contest = _held(contest)
    reason = clean_reason(reason, "Say why the marks are unlocked.")
    if contest.marks_locked_at is None:
        raise Refused("The marks are not locked.")
    Contest.objects.filter(pk=contest.pk).update(marks_locked_at=None)
    if contest.is_sealed:
        write_log(contest=contest, chain="cards", what="marks unlocked", facts={"reason": reason}, by=by)
    else:
        write_log(contest=contest, chain="cards", what="marks unlocked", facts={"after": "closing"}, by=by)
        write_log(contest=contest, chain="day", what="marks unlocked", facts={"reason": reason}, by=by)


@transaction.atomic
def close_tally(*, contest: Contest, by: str) -> Tally:
    """Lock the marks, open the pairing to the tally alone, and freeze inputs, standings and workings.

    Raises Refused with the list of what is in the way; then nothing has changed.
    """
    contest = _held(contest)
    if contest.state != Contest.State.SEALED:
        raise Refused(
            "The tally is closed already." if contest.is_drawn else "There is nothing to tally before the draw."
        )
    _refuse_while_hindered(contest)
    made = _freeze(contest, revision=1, reason="", by=by)
    Contest.objects.filter(pk=contest.pk).update(state=Contest.State.CLOSED)
    day.happened(contest, "closed")
    return made


@transaction.atomic
def revise(*, contest: Contest, reason: str, by: str) -> Tally:
    """Tally again after closing or publishing: a new revision, signed and published anew; earlier ones stay."""
    contest = _held(contest)
    reason = clean_reason(reason, "Say why the result is revised.")
    if contest.is_sealed:
        raise Refused("A tally is revised only after it was closed.")
    _refuse_while_hindered(contest)
    newest = newest_tally(contest)
    made = _freeze(contest, revision=newest.revision + 1 if newest else 1, reason=reason, by=by)
    if newest is not None and made.inputs_hash == newest.inputs_hash:
        raise Refused(
            "Nothing has changed since the last tally. Unlock the marks, correct them, then revise the result."
        )
    day.happened(contest, "revised")
    return made


@transaction.atomic
def sign_off(*, tally: Tally, by: str) -> Tally:
    """The head judge stands by this tally; from here on the names are known to organiser and announcer."""
    contest = _held(tally.contest)
    newest = newest_tally(contest)
    if newest is None or newest.pk != tally.pk:
        raise Refused("A newer revision stands. Look at that one and sign it.")
    if newest.signed_at is not None:
        raise Refused("This tally is signed off already.")
    newest.signed_by, newest.signed_at = by, timezone.now()
    newest.save(update_fields=["signed_by", "signed_at"])
    write_log(contest=contest, chain="cards", what="tally signed off", facts={"revision": newest.revision}, by=by)
    return newest


def newest_tally(contest: Contest) -> Tally | None:
    return Tally.objects.filter(contest=contest).order_by("-revision").first()


def _held(contest: Contest) -> Contest:
    """The contest's row, locked until the transaction ends, so that two who press at once take turns."""
    return Contest.objects.select_for_update(of=("self",)).select_related("rule_set").get(pk=contest.pk)


def _lock(contest: Contest) -> None:
    contest.marks_locked_at = timezone.now()
    contest.save(update_fields=["marks_locked_at"])


def _refuse_while_hindered(contest: Contest) -> None:
    todos = day.in_the_way("closing", contest)
    if todos:
        raise Refused("The tally cannot be closed yet.", todos)


def _freeze(contest: Contest, *, revision: int, reason: str, by: str) -> Tally:
    try:
        records = closing_records(contest)
    except RecordsError as error:
        raise Refused(str(error)) from None
    inputs = inputs_of(records)
    names = Entry.objects.filter(contest=contest).values_list("number", "team__name")
    made = Tally(
        contest=contest,
        revision=revision,
        reason=reason,
        inputs=inputs,
        inputs_hash=digest(inputs),
        outcome=outcome_of(
            records,
            records.tally(),
            category_names={category.key: category.name for category in held_categories(contest)},
            team_names={str(number): name for number, name in names},
        ),
        closed_by=by,
    )
    made.full_clean(exclude=["inputs", "outcome"])
    made.save()
    if contest.marks_locked_at is None:
        _lock(contest)
    what = "tally closed" if revision == 1 else "tally revised"
    # A reason may name a team, and the inputs do: both stay out of the log of cards.
    facts = {"revision": revision, "inputs": made.inputs_hash, "reason": reason}
    write_log(contest=contest, chain="cards", what=what, facts={"revision": revision}, by=by)
    write_log(contest=contest, chain="day", what=what, facts=facts, by=by)
    return made
