"""Who does what in a contest: roles of accounts, helpers made by name, passes given again.

Facts in the log never name a person: a row says which part was given, its side row who gave it.
"""

from collections.abc import Collection

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify

from contest.models import Account, Contest, ContestRole, Pass
from contest.present import present
from contest.selectors.helpers import slip_allowed
from contest.services.log import write_log
from contest.services.passes import issue_pass, reissue_pass


@transaction.atomic
def give_role(*, contest: Contest, account: Account, part: str, by: str) -> ContestRole:
    """Give `account` one more part. Raises ValidationError where the desk would stand beside another part."""
    row = ContestRole.objects.filter(contest=contest, account=account).first()
    held = row.held if row else frozenset()
    return set_roles(contest=contest, account=account, parts=held | {part}, by=by)


@transaction.atomic
def set_roles(*, contest: Contest, account: Account, parts: Collection[str], by: str) -> ContestRole:
    """Make `parts` all that `account` does in the contest; each one given or taken back is logged.

    After the draw a part may be given but not taken back: whoever knew whose box is whose could otherwise become
    one who sees marks, and the other way round. The last organiser stays.
    """
    contest = Contest.objects.select_for_update().get(pk=contest.pk)
    row = ContestRole.objects.filter(contest=contest, account=account).first()
    row = row or ContestRole(contest=contest, account=account)
    before = row.held
    unknown = set(parts) - set(ContestRole.NAMES)
    if unknown:
        raise ValueError(f"unknown parts: {sorted(unknown)}")
    if contest.is_drawn and before - set(parts):
        raise ValidationError(
            "After the draw a role can be given but not taken back: who saw marks must not become the turn-in desk, "
            "and who knows whose box is whose must not see marks."
        )
    others = ContestRole.objects.filter(contest=contest, organiser=True).exclude(account=account)
    if "organiser" in before and "organiser" not in parts and not others.exists():
        raise ValidationError("A contest needs an organiser. Give the role to somebody else first.")
    for part in ContestRole.NAMES:
        setattr(row, part, part in parts)
    row.one_person = contest.one_person
    row.full_clean()
    if parts:
        row.save()
    elif row.pk:
        row.delete()
    for what, changed in (("role given", row.held - before), ("role taken back", before - row.held)):
        for part in sorted(changed):
            write_log(contest=contest, chain="day", what=what, facts={"part": part}, by=by)
    return row


@transaction.atomic
def make_helper(*, contest: Contest, name: str, parts: Collection[str], by: str) -> Account:
    """An account that needs no password: its holder signs in with the pass word of a slip."""
    name = " ".join(name.split())
    if not name:
        raise ValidationError({"name": "Type the helper's name."})
    there = Account.objects.filter(contest_roles__contest=contest)
    if any(str(account).casefold() == name.casefold() for account in there):
        raise ValidationError({"name": f"{name} helps here already: change the roles below, or add an initial."})
    account = Account(username=free_username(name), first_name=name)
    account.set_unusable_password()
    try:
        account.full_clean(exclude=["password"])
    except ValidationError as error:
        raise ValidationError({"name": error.messages}) from None
    account.save()
    set_roles(contest=contest, account=account, parts=parts, by=by)
    issue_pass(opens=Pass.Opens.ACCOUNT, account=account)
    return account


def free_username(name: str) -> str:
    """A sign-in name that nobody has: `clerk-rowan`, then `clerk-rowan-2` …"""
    stem = slugify(name)[:100] or "helper"
    number, username = 1, stem
    while Account.objects.filter(username__iexact=username).exists():
        number += 1
        username = f"{stem}-{number}"
    return username


@transaction.atomic
def give_new_pass(*, contest: Contest, held: Pass, organiser: Account, by: str) -> Pass:
    """Replace a pass whose slip was lost or seen by others. After the draw this is logged and printed.

    Raises ValidationError for an account that is not this organiser's to open.
    """
    if held.opens == Pass.Opens.ACCOUNT and not slip_allowed(present(held.account), organiser):
        raise ValidationError(f"{held.account} signs in with an account of their own.")
    made = reissue_pass(held=held, by=by)
    if held.account is not None:
        held.account.set_unusable_password()  # another one: sessions opened with the old word end
        held.account.save(update_fields=["password"])
    if held.contest is None and contest.is_drawn:  # an account's pass belongs to no contest: log it in this one
        write_log(contest=contest, chain="day", what="pass reissued", facts={"opens": held.opens}, by=by)
    return made
