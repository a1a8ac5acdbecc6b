"""The categories of a contest in the order of the day: all of them, or those that are held."""

from contest.models import Category, Contest


def all_categories(contest: Contest) -> list[Category]:
    """Every category, cancelled ones too: for the page on which the contest is set up."""
    return list(contest.categories.select_related("rule_set"))


def held_categories(contest: Contest, key: str | None = None) -> list[Category]:
    """The categories that are not cancelled; with `key` only the one of that name."""
    held = contest.categories.filter(cancelled_at__isnull=True).select_related("rule_set", "contest__rule_set")
    return list(held.filter(key=key) if key else held)
