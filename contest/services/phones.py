"""Whether judges may mark on their own phones."""

from django.core.exceptions import ValidationError
from django.db import transaction

from contest import day
from contest.models import Contest
from contest.services.log import write_log
from contest.services.people import locked


@transaction.atomic
def switch_phones(*, contest: Contest, on: bool, by: str) -> Contest:
    """Let judges hand cards in from phones, or not; settled before the first card. Paper works either way."""
    contest = locked(contest)
    if contest.phones == on:
        return contest
    in_the_way = day.in_the_way("phones", contest)
    if in_the_way:
        raise ValidationError([todo.text for todo in in_the_way])
    contest.phones = on
    contest.save(update_fields=["phones"])
    what = "phones switched on" if on else "phones switched off"
    write_log(contest=contest, chain="day", what=what, facts={}, by=by)
    return contest
