"""Drawing again before the first box: a team came late or went home, a table was lost."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from django.core.exceptions import ValidationError
from django.db import transaction

from contest.models import Box, Category, Contest, Draw, Entry, Seat, Table
from contest.refusals import clean_reason
from contest.rules.draw.commitment import words_in
from contest.selectors.draw import against_redraw
from contest.services.draw import DrawRefused, draw_boxes, held
from contest.services.log import write_log
from contest.services.people import add_entry, withdraw
from contest.services.setup import LETTERS


@dataclass(frozen=True)
class LateTeam:
    """A team that comes after the draw; number None takes the next free one."""

    name: str
    number: int | None = None
    categories: Sequence[Category] = ()


@dataclass(frozen=True)
class Changes:
    """What is different in the new draw."""

    withdrawn: Sequence[Entry] = ()
    late: LateTeam | None = None
    lost_tables: Sequence[Table] = field(default=())
    more_tables: int = 0


@transaction.atomic
def redraw(*, contest: Contest, reason: str, by: str, changes: Changes | None = None) -> Draw:
    """Draw all boxes anew, with new numbers, after putting `changes` in place; all of it or nothing.

    The secret and the words stay; the number and the reason of the draw are new in `public-N.txt`. Raises
    DrawRefused once a box is in or a table is at work, ValidationError for a late team that cannot be entered.
    """
    ask = "Say why the boxes are drawn again: the reason stands on the result."
    reason = clean_reason(reason, ask, DrawRefused)
    locked = held(contest)
    # A box that the desk is recording at this moment is waited for, and then refuses the new draw.
    list(Box.objects.select_for_update(of=("self",)).filter(contest=locked, draw__standing=True))
    against = against_redraw(locked)
    if against:
        raise DrawRefused(" ".join(against))
    before = Draw.objects.get(contest=locked, standing=True)
    # Within this transaction alone the contest is being prepared again, so that the usual checks of teams apply.
    Contest.objects.filter(pk=locked.pk).update(state=Contest.State.PREPARING)
    _change(locked, changes or Changes(), reason, by)
    locked = held(contest)
    Draw.objects.filter(pk=before.pk).update(standing=False)
    made = draw_boxes(
        locked,
        number=before.number + 1,
        reason=reason,
        secret=before.secret_text,
        words=words_in(before.public_text),
        by=by,
    )
    Draw.objects.filter(pk=before.pk).update(superseded_by=made)
    contest.state = locked.state
    return made


def _change(contest: Contest, changes: Changes, reason: str, by: str) -> None:
    for entry in changes.withdrawn:
        withdraw(entry=entry, category=None, reason=reason, by=by)
    if changes.late is not None:
        late = changes.late
        entry = add_entry(contest=contest, number=late.number, team_name=late.name, categories=late.categories)
        keys = list(entry.entered.order_by("category__order").values_list("category__key", flat=True))
        facts = {"team": entry.number, "categories": keys}
        write_log(contest=contest, chain="day", what="late team entered", facts=facts, by=by)
    lost = [table.number for table in changes.lost_tables]
    if lost:
        # Boxes of earlier draws keep their numbers, which are never used again; their table is in the old draw.txt.
        Box.objects.filter(contest=contest, table__in=changes.lost_tables).update(table=None)
        contest.tables.filter(pk__in=[table.pk for table in changes.lost_tables]).delete()
    added = _add_tables(contest, changes.more_tables, avoid=lost)
    if lost or added:
        facts = {"lost": sorted(lost), "added": added}
        write_log(contest=contest, chain="day", what="tables changed", facts=facts, by=by)


def _add_tables(contest: Contest, more: int, *, avoid: Sequence[int]) -> list[int]:
    """New tables with as many seats as the best seated of the others; a lost table's number is not used again."""
    if not more:
        return []
    seats = max((table.seats.count() for table in contest.tables.all()), default=0)
    if not seats:
        raise ValidationError("No table is left to copy the seats from: keep one, or draw again in two steps.")
    highest = max([*avoid, *contest.tables.values_list("number", flat=True)])
    if highest + more > 99:
        raise ValidationError({"more_tables": "Table numbers go up to 99: add fewer."})
    numbers = list(range(highest + 1, highest + 1 + more))
    for number in numbers:
        table = Table.objects.create(contest=contest, number=number)
        Seat.objects.bulk_create(Seat(table=table, letter=letter) for letter in LETTERS[:seats])
    return numbers
