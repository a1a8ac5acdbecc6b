"""The library of rule sets: the shipped ones, and each organiser's own.

A drawn contest keeps the text it was drawn with, so changing a set here changes no contest that is under way.
"""

from dataclasses import replace
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import ProtectedError

from contest.models import Account, Contest, RuleSet
from contest.rules.ruleset import SHIPPED, RuleSetError, parse, shipped, shipped_text, to_toml

LONGEST = 64_000  # characters of a TOML document


@transaction.atomic
def ensure_shipped_rule_sets(**signal: Any) -> None:
    """Put the shipped sets in the library, or bring them up to date. Runs after each migration."""
    apps = signal.get("apps")
    if apps is not None and not _has_table(apps):
        return
    for key in SHIPPED:
        text = shipped_text(key)
        RuleSet.objects.update_or_create(
            shipped_key=key, defaults={"name": shipped()[key].name, "document": text, "owner": None}
        )


def _has_table(apps: Any) -> bool:
    try:
        apps.get_model("contest", "RuleSet")
    except LookupError:  # migrated backward, to before there was a library
        return False
    return True


def shipped_rule_set(key: str) -> RuleSet:
    """The library's row of a shipped set."""
    found = RuleSet.objects.filter(shipped_key=key).first()
    if found is None:
        ensure_shipped_rule_sets()
        found = RuleSet.objects.get(shipped_key=key)
    return found


def read_text(text: str) -> str:
    """The name in a TOML document, after checking all of it.

    Raises ValidationError that names key, value and fix, or the line and column where it is no TOML at all.
    """
    if len(text) > LONGEST:
        raise ValidationError(f"This text has {len(text)} characters. A rule set needs at most {LONGEST}.")
    try:
        return parse(text).name
    except RuleSetError as error:
        raise ValidationError(refusal(error)) from None


def refusal(error: RuleSetError) -> str:
    """The error in words; for text that is no TOML, with the whole of the parser's answer: it names the place."""
    if error.key == "document":
        return f"This text is not TOML: {error.value}. Mend it there, and try again."
    return f"{error}."


@transaction.atomic
def store_rule_set(*, owner: Account, text: str, rule_set: RuleSet | None = None) -> RuleSet:
    """Store a TOML document as a new set of `owner`, or as the new text of one of theirs."""
    name = read_text(text)
    if rule_set is None:
        rule_set = RuleSet(owner=owner)
    elif rule_set.owner_id != owner.pk:
        raise ValidationError("This rule set is not yours to change. Copy it, and change the copy.")
    rule_set.name, rule_set.document = name[:80], text.removeprefix("\ufeff").replace("\r\n", "\n")
    if len(name) > 80:
        raise ValidationError("name: shorten the set's name to 80 characters.")
    others = RuleSet.objects.filter(owner=owner, name=rule_set.name).exclude(pk=rule_set.pk)
    if others.exists():
        raise ValidationError(f"You already have a rule set called {rule_set.name}. Give this one another name.")
    rule_set.full_clean()
    rule_set.save()
    return rule_set


@transaction.atomic
def copy_rule_set(*, owner: Account, rule_set: RuleSet) -> RuleSet:
    """An own copy under a name that the owner has not used: `Taste double (copy)`, then `… (copy 2)`.

    A set of a shape that parses is written anew, so comments of the original do not come along.
    """
    rules = parse(rule_set.document)
    taken = set(RuleSet.objects.filter(owner=owner).values_list("name", flat=True))
    stem, number = rules.name[:68], 1
    name = f"{stem} (copy)"
    while name in taken:
        number += 1
        name = f"{stem} (copy {number})"
    return store_rule_set(owner=owner, text=to_toml(replace(rules, name=name)))


@transaction.atomic
def delete_rule_set(*, owner: Account, rule_set: RuleSet) -> None:
    """Delete an own set that no contest uses."""
    if rule_set.owner_id != owner.pk:
        raise ValidationError("This rule set is not yours to delete.")
    try:
        rule_set.delete()
    except ProtectedError as error:
        kinds = {each.kind for each in error.protected_objects if isinstance(each, Contest)}
        if kinds == {Contest.Kind.PRACTICE}:
            raise ValidationError("A tasting was marked by this rule set: it stays with it.") from None
        raise ValidationError("A contest uses this rule set. Choose another for it first.") from None
