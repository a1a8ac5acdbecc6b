"""Erasing a person: the name goes, what the person did for a result stays."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from contest.models import Contest, Judge, LogPerson
from contest.rules.say import listed


@transaction.atomic
def erase_judge(*, judge: Judge) -> Judge:
    """Blank the judge's name, forget which teams the judge is close to, and drop the name from beside the log.

    Seats, cards and the chains of the log stay whole. Refused while a contest with this judge is not closed: there
    the name is still called, and the closeness still keeps somebody from a seat. Erasing twice changes nothing.
    """
    judge = Judge.objects.select_for_update().get(pk=judge.pk)
    if judge.erased_at is not None:
        return judge
    running = Contest.objects.filter(
        attendances__judge=judge, state__in=[Contest.State.PREPARING, Contest.State.SEALED]
    ).order_by("date", "id")
    if running:
        names = listed([each.name for each in running])
        raise ValidationError(f"{judge} is on the list of {names}, which is not closed yet. Erase the name after that.")
    LogPerson.objects.filter(name=judge.name).delete()
    judge.judgeconflict_set.all().delete()
    judge.name, judge.erased_at = "", timezone.now()
    judge.save(update_fields=["name", "erased_at"])
    return judge
