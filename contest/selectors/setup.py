"""What the set-up pages and the two ways in need to know."""

import os
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from zoneinfo import available_timezones

from django.db.models import Q, QuerySet

from contest.models import Account, Contest, RuleSet
from contest.rules.ruleset import SHIPPED
from contest.selectors.rules import parsed


@dataclass(frozen=True)
class CardsLimits:
    """Cards a box may have and needs, over the rule sets of a contest, and the sets that say so."""

    most: int
    most_by: str
    fewest: int
    fewest_by: str


def cards_limits(contest: Contest) -> CardsLimits:
    sets: Iterable[RuleSet] = [
        category.rule_set or contest.rule_set for category in contest.categories.select_related("rule_set")
    ]
    rules = [parsed(each.document) for each in (list(sets) or [contest.rule_set])]
    most = min(rules, key=lambda each: each.per_entry)
    fewest = max(rules, key=lambda each: each.fewest)
    return CardsLimits(most.per_entry, most.name, fewest.fewest, fewest.name)


def rule_sets_for(account: Account | None, also: Iterable[int] = ()) -> QuerySet[RuleSet]:
    """The shipped sets in their order, then the account's own; `also` are sets that a contest uses already."""
    return RuleSet.objects.filter(~Q(shipped_key="") | Q(owner=account, owner__isnull=False) | Q(pk__in=list(also)))


def in_library_order(sets: Iterable[RuleSet]) -> list[RuleSet]:
    place = {key: number for number, key in enumerate(SHIPPED)}
    return sorted(sets, key=lambda each: (place.get(each.shipped_key, len(place)), each.name.casefold(), each.pk))


@cache
def machine_zone() -> str:
    """The time zone of this machine where it tells; a laptop at a field stands in the contest's zone."""
    link = os.path.realpath("/etc/localtime")
    name = link.partition("zoneinfo/")[2]
    if name in available_timezones():
        return name
    try:
        name = Path("/etc/timezone").read_text(encoding="utf-8").strip()
    except OSError:
        name = ""
    return name if name in available_timezones() else "UTC"


def likely_zone(account: Account | None) -> str:
    """The zone of the account's newest contest, else this machine's; the browser may know better."""
    newest = Contest.objects.filter(roles__account=account, roles__organiser=True).order_by("-id").first()
    return newest.time_zone if newest else machine_zone()


@cache
def zone_choices() -> list[tuple[str, str]]:
    """Time zones by name, places only: `Europe/Lisbon`, and UTC."""
    named = sorted(name for name in available_timezones() if "/" in name and not name.startswith(("Etc/", "SystemV/")))
    return [("UTC", "UTC"), *((name, name.replace("_", " ")) for name in named)]
