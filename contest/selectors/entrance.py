"""What the front page lists."""

from collections.abc import Iterable

from django.db.models import QuerySet
from django.utils import timezone

from contest.models import Account, Contest


def contests_of(account: Account | None) -> QuerySet[Contest]:
    """The contests in which an account does something, newest first."""
    if account is None:
        return Contest.objects.none()
    return Contest.objects.filter(roles__account=account)


def published_contests() -> QuerySet[Contest]:
    """What a visitor may see: published contests only, practices excepted."""
    return Contest.objects.filter(state=Contest.State.PUBLISHED, kind=Contest.Kind.CONTEST)


def grouped_by_time(contests: Iterable[Contest]) -> dict[str, list[Contest]]:
    """Running now, to come, past: by each contest's own clock. What is drawn and not yet published still runs."""
    now, to_come, past = [], [], []
    for contest in contests:
        today = contest.local(timezone.now()).date()
        if contest.state == Contest.State.PUBLISHED or (not contest.is_drawn and contest.date < today):
            past.append(contest)
        elif contest.date > today:
            to_come.append(contest)
        else:
            now.append(contest)
    return {"Running now": now, "To come": to_come[::-1], "Past": past}
