"""Which rule set a category is judged by."""

from functools import lru_cache

from contest.models import Category, Contest
from contest.rules.ruleset import RuleSet, parse


@lru_cache(maxsize=256)
def parsed(document: str) -> RuleSet:
    """The rule set of a stored document; documents are checked before they are stored."""
    return parse(document)


def category_document(category: Category) -> str:
    """The TOML document: frozen at the draw, else the category's own, else the contest's."""
    if category.frozen_rules:
        return category.frozen_rules
    return (category.rule_set or category.contest.rule_set).document


def category_rules(category: Category) -> RuleSet:
    return parsed(category_document(category))


def contest_rules(contest: Contest) -> RuleSet:
    """The contest's own rule set, frozen at the draw: its tie-breaks and `needs` decide the overall."""
    return parsed(contest.frozen_rules or contest.rule_set.document)
