"""What the front page lists."""

from django.db.models import QuerySet

from contest.models import Account, Contest


def contests_of(account: Account | None) -> QuerySet[Contest]:
    """The contests in which an account does something, newest first."""
    if account is None:
        return Contest.objects.none()
    return Contest.objects.filter(roles__account=account)


def published_contests() -> QuerySet[Contest]:
    """What a visitor may see: published contests only, practices excepted."""
    return Contest.objects.filter(state=Contest.State.PUBLISHED, kind=Contest.Kind.CONTEST)
