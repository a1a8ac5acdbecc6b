"""What the front page lists."""

from datetime import timedelta

from django.db.models import Q, QuerySet
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


def split_by_time(contests: QuerySet[Contest]) -> tuple[dict[str, list[Contest]], QuerySet[Contest]]:
    """Return those running now and to come, and the past ones, which grow for years, as a query.

    By each contest's own clock. What is drawn and not yet published still runs.
    """
    moment = timezone.now()
    # No clock on earth is a whole day behind UTC: what is older than that is past everywhere.
    surely_past = Q(state=Contest.State.PUBLISHED) | Q(
        state=Contest.State.PREPARING, date__lt=moment.date() - timedelta(days=1)
    )
    now, to_come, just_past = [], [], []
    for contest in contests.exclude(surely_past):
        today = contest.local(moment).date()
        if not contest.is_drawn and contest.date < today:
            just_past.append(contest.pk)
        elif contest.date > today:
            to_come.append(contest)
        else:
            now.append(contest)
    return {"Running now": now, "To come": to_come[::-1]}, contests.filter(surely_past | Q(pk__in=just_past))
