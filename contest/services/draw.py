"""Making the blind draw: rules frozen, numbers dealt, the pairing sealed, all of it or nothing."""

import secrets
from collections.abc import Iterable
from dataclasses import asdict

from django.db import transaction

from contest.models import Box, Contest, Draw, Entry, Pairing
from contest.rules import draw as rules
from contest.rules.commitment import commitment, public_text, secret_text
from contest.rules.draw import DrawRefused
from contest.selectors.draw import draw_request, held_categories, problems
from contest.selectors.rules import category_document
from contest.services.log import write_log
from contest.services.passes import issue_pass

__all__ = ["DrawRefused", "make_draw"]


@transaction.atomic
def make_draw(*, contest: Contest, by: str) -> Draw:
    """Draw the boxes of a prepared contest and seal it.

    The secret is made here and shown to nobody; the log gets its commitment, the draw's fingerprint and its
    quality, never the pairing. Raises DrawRefused, in words, and then nothing is changed.
    """
    locked = Contest.objects.select_for_update(of=("self",)).select_related("rule_set").get(pk=contest.pk)
    if locked.is_drawn:
        raise DrawRefused("The boxes of this contest are drawn already.")
    hindrances = problems(locked)
    if hindrances:
        raise DrawRefused(" ".join(hindrances))
    for category in held_categories(locked):
        category.frozen_rules = category_document(category)
        category.save(update_fields=["frozen_rules"])

    secret = secret_text(secrets.token_bytes(32))
    d1 = commitment(secret)
    public = public_text(d1, number=1)
    result = rules.make_draw(draw_request(locked), secret=secret, public=public)
    draw = Draw.objects.create(
        contest=locked,
        number=1,
        secret_text=secret,
        commitment=d1,
        public_text=public,
        seed=result.seed,
        draw_text=result.draw_text,
        fingerprint=result.fingerprint,
        quality=asdict(result.quality),
    )
    _lay_out(draw, result.placed)
    locked.state = contest.state = Contest.State.SEALED
    locked.frozen_rules = contest.frozen_rules = locked.rule_set.document
    locked.save(update_fields=["state", "frozen_rules"])
    issue_pass(opens="desk", contest=locked, by=by)
    write_log(
        contest=locked,
        chain="day",
        what="boxes drawn",
        facts={
            "draw": draw.number,
            "commitment": draw.commitment,
            "fingerprint": draw.fingerprint,
            "boxes": len(result.placed),
            "quality": draw.quality,
        },
        by=by,
    )
    return draw


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
