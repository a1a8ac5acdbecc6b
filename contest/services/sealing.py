"""Opening the seal before the tally is closed: rare, for a reason, and told on the result for ever."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from contest.models import Contest
from contest.refusals import clean_reason, reason_invalid
from contest.services.log import write_log
from contest.services.people import locked

OPENED = "seal opened"


@transaction.atomic
def open_seal(*, contest: Contest, name: str, reason: str, by: str) -> Contest:
    """From here on the organiser sees names beside boxes, and the result says so; it cannot be taken back.

    `name` is the contest's, typed out as a last question. Raises ValidationError, by field, where nothing is sealed
    or the question was not answered; then nothing has changed.
    """
    contest = locked(contest)
    if not contest.is_drawn:
        raise ValidationError("The boxes are not drawn yet: nothing is sealed.")
    if not contest.is_sealed:
        raise ValidationError("The tally is closed: the seal has done its work. The names follow once it is signed.")
    if contest.seal_opened_at is not None:
        raise ValidationError("The seal was opened already.")
    if " ".join(name.split()).casefold() != " ".join(contest.name.split()).casefold():
        raise ValidationError({"name": f"Type the name of the contest as it stands above: {contest.name}"})
    ask = "Say why the seal must be opened now: the reason stands on the result."
    contest.seal_opened_why = clean_reason(reason, ask, reason_invalid)
    contest.seal_opened_at = timezone.now()
    contest.save(update_fields=["seal_opened_at", "seal_opened_why"])
    write_log(contest=contest, chain="day", what=OPENED, facts={"reason": contest.seal_opened_why}, by=by)
    return contest
