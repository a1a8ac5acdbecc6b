"""The library of rule sets as an account sees it."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q, QuerySet
from django.db.models.functions import Lower

from contest.models import Account, Contest, RuleSet
from contest.rules.ruleset import RuleSetError
from contest.selectors.rules import parsed
from contest.selectors.setup import in_library_order, rule_sets_for


@dataclass(frozen=True)
class Shelved:
    """A set with what it says of itself."""

    rule_set: RuleSet
    about: str


def shipped_sets(account: Account) -> list[Shelved]:
    """The shipped sets in their order."""
    return shelved(in_library_order(rule_sets_for(account).exclude(shipped_key="")))


def own_sets(account: Account) -> QuerySet[RuleSet]:
    """The account's own sets by name."""
    return RuleSet.objects.filter(shipped_key="", owner=account).order_by(Lower("name"), "pk")


def shelved(rule_sets: Iterable[RuleSet]) -> list[Shelved]:
    """Sets with what they say of themselves, for which each document is read."""
    return [Shelved(each, about(each)) for each in rule_sets]


def about(rule_set: RuleSet) -> str:
    try:
        return parsed(rule_set.document).about
    except RuleSetError:
        return "This text cannot be used: open it to see why."


def used_by(account: Account, rule_set: RuleSet) -> QuerySet[Contest]:
    """The account's contests that name this set, for themselves or for a category."""
    named = Q(rule_set=rule_set) | Q(categories__rule_set=rule_set)
    return Contest.objects.filter(named, roles__account=account).distinct()


def may_read(account: Account, rule_set: RuleSet) -> bool:
    return bool(rule_set.shipped_key) or rule_set.owner_id == account.pk or used_by(account, rule_set).exists()
