"""Making the blind draw: rules frozen, numbers dealt, the pairing sealed, all of it or nothing."""

import secrets
from collections.abc import Iterable, Sequence
from dataclasses import replace

from django.db import transaction

from contest.models import Box, Contest, Draw, DrawCeremony, Entry, Pairing
from contest.rules import draw as rules
from contest.rules.draw import DrawRefused
from contest.rules.draw.commitment import commitment, public_text, secret_text, sha256
from contest.rules.ruleset import to_toml
from contest.selectors.categories import held_categories
from contest.selectors.draw import draw_request, name_lists, problems
from contest.selectors.rules import category_document, contest_rules
from contest.services.log import write_log
from contest.services.passes import issue_pass

__all__ = ["DrawRefused", "begin_ceremony", "draw_boxes", "make_draw"]

DRAWN = "The boxes of this contest are drawn already."


def held(contest: Contest) -> Contest:
    """The contest's row as it is now, locked until the transaction ends."""
    return Contest.objects.select_for_update(of=("self",)).select_related("rule_set").get(pk=contest.pk)


@transaction.atomic
def begin_ceremony(*, contest: Contest, by: str) -> str:
    """Make the secret of the draw before anybody speaks; the commitment to it, for reading out.

    Begun once: pressing again answers with the same commitment. Raises DrawRefused once the boxes are drawn.
    """
    locked = held(contest)
    if locked.is_drawn:
        raise DrawRefused(DRAWN)
    begun = DrawCeremony.objects.filter(contest=locked).first()
    if begun is None:
        secret = secret_text(secrets.token_bytes(32))
        begun = DrawCeremony.objects.create(contest=locked, secret_text=secret, commitment=commitment(secret))
        facts = {"commitment": begun.commitment}
        write_log(contest=locked, chain="day", what="secret of the draw made", facts=facts, by=by)
    return begun.commitment


@transaction.atomic
def make_draw(*, contest: Contest, by: str, words: Sequence[str] = ()) -> Draw:
    """Draw the boxes of a prepared contest and seal it.

    The secret is made here, or was made when the ceremony began, and is shown to nobody; the log gets its
    commitment, the draw's fingerprint and its quality, never the pairing. `words` are what the teams called out
    after they knew the commitment. Raises DrawRefused, in words, and then nothing is changed.
    """
    locked = held(contest)
    if locked.is_drawn:
        raise DrawRefused(DRAWN)
    ceremony = DrawCeremony.objects.filter(contest=locked).first()
    if ceremony is None and words:
        raise DrawRefused("Words of the teams count only once the commitment is read out: begin the ceremony first.")
    secret = ceremony.secret_text if ceremony else secret_text(secrets.token_bytes(32))
    draw = draw_boxes(locked, number=1, reason="", secret=secret, words=words, by=by)
    contest.state, contest.frozen_rules = locked.state, locked.frozen_rules
    return draw


def draw_boxes(contest: Contest, *, number: int, reason: str, secret: str, words: Iterable[str], by: str) -> Draw:
    """Draw number `number` of a contest whose row is locked: everything that a draw and a new one have in common."""
    hindrances = problems(contest)
    if hindrances:
        raise DrawRefused(" ".join(hindrances))
    frozen = _freeze_rules(contest)
    d1 = commitment(secret)
    public = public_text(d1, words, number=number, reason=reason)
    names = name_lists(contest)
    request = replace(draw_request(contest), entries_sum=names.entries_sum, categories_sum=names.categories_sum)
    result = rules.make_draw(request, secret=secret, public=public)
    draw = Draw.objects.create(
        contest=contest,
        number=number,
        reason=reason,
        secret_text=secret,
        commitment=d1,
        public_text=public,
        seed=result.seed,
        draw_text=result.draw_text,
        entries_text=names.entries_text,
        categories_text=names.categories_text,
        fingerprint=result.fingerprint,
        quality=result.quality.to_json(),
    )
    _lay_out(draw, result.placed)
    contest.state = Contest.State.SEALED
    contest.save(update_fields=["state", "frozen_rules"])
    issue_pass(opens="desk", contest=contest)
    facts = {
        "draw": draw.number,
        "commitment": draw.commitment,
        "fingerprint": draw.fingerprint,
        "boxes": len(result.placed),
        "quality": draw.quality,
        "rules": frozen,
    }
    write_log(
        contest=contest,
        chain="day",
        what="boxes drawn",
        facts={**facts, "reason": reason} if reason else facts,
        by=by,
    )
    return draw


def _freeze_rules(contest: Contest) -> dict[str, str]:
    """The rules as they are from now on; name in the results package → SHA-256. Frozen ones stay as they are."""
    contest.frozen_rules = contest.frozen_rules or contest.rule_set.document
    sums = {"contest": sha256(to_toml(contest_rules(contest)))}
    for category in held_categories(contest):
        category.frozen_rules = category_document(category)
        category.save(update_fields=["frozen_rules"])
        sums[category.key] = sha256(category.frozen_rules)
    return sums


def _lay_out(draw: Draw, placed: Iterable[rules.Placed]) -> None:
    """The boxes and whose they are, written in the order of the random numbers, so that a row's id tells nothing."""
    ordered = sorted(placed, key=lambda each: each.box)
    categories = {category.key: category for category in draw.contest.categories.all()}
    tables = {table.number: table for table in draw.contest.tables.all()}
    entries = {entry.number: entry for entry in Entry.objects.filter(contest=draw.contest)}
    boxes = Box.objects.bulk_create(
        Box(
            contest=draw.contest,
            draw=draw,
            category=categories[each.category],
            number=each.box,
            table=tables[each.table],
            position=each.position,
        )
        for each in ordered
    )
    Pairing.objects.bulk_create(
        Pairing(box=box, entry=entries[each.team]) for box, each in zip(boxes, ordered, strict=True)
    )
