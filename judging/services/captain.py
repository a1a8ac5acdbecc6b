"""What a table captain ticks and asks: boxes at the table, score sheets in hand, calls to the head judge."""

from django.db import transaction
from django.utils import timezone

from contest.models import Box, Category, Contest, Seat, Table
from contest.present import present
from contest.refusals import Refused
from contest.services.log import write_log
from judging.models import Arrival, Call, Collected
from judging.selectors.flights import is_vacant


@transaction.atomic
def tick_box(*, contest: Contest, table: Table, box: Box, here: bool, by: str) -> None:
    """The box is at its table, or is not after all. Ticking twice changes nothing."""
    contest = _open(contest)
    if box.contest_id != contest.pk or not box.draw.standing:
        raise Refused(f"There is no box {box.number} in this contest. Call the desk.")
    if box.table_id != table.pk:
        raise Refused(f"{box.number} belongs to table {present(box.table).number}.")
    if here:
        _, changed = Arrival.objects.get_or_create(box=box, defaults={"by": by[:120]})
    else:
        changed = Arrival.objects.filter(box=box).delete()[0] > 0
    if changed:
        what = "box at its table" if here else "box not at its table"
        facts = {"category": box.category.key, "box": box.number, "table": table.number}
        write_log(contest=contest, chain="cards", what=what, facts=facts, by=by)


@transaction.atomic
def tick_sheet(*, contest: Contest, category: Category, seat: Seat, collected: bool, by: str) -> None:
    """The captain holds the finished score sheet of a seat, or does not after all."""
    contest = _open(contest)
    if category.contest_id != contest.pk or seat.table.contest_id != contest.pk:
        raise Refused("This category or seat belongs to another contest.")
    if is_vacant(category, seat):
        raise Refused(f"Seat {seat.letter} is vacant in {category.name.lower()}: it has no sheet.")
    if collected:
        _, changed = Collected.objects.get_or_create(seat=seat, category=category, defaults={"by": by[:120]})
    else:
        changed = Collected.objects.filter(seat=seat, category=category).delete()[0] > 0
    if changed:
        what = "score sheet collected" if collected else "score sheet not collected"
        facts = {"category": category.key, "seat": f"{seat.table.number}{seat.letter}"}
        write_log(contest=contest, chain="cards", what=what, facts=facts, by=by)


@transaction.atomic
def call_head_judge(
    *, contest: Contest, table: Table, category: Category, about: str, by: str, box: Box | None = None, text: str = ""
) -> Call:
    """A table asks for the head judge; the same call again while it waits is the same call."""
    contest = _open(contest)
    text = " ".join(text.split())
    if about not in Call.About.values:
        raise Refused("Choose what the call is about.")
    if about == Call.About.NUMBER and not text:
        raise Refused("Write in the number as it stands on the box, or what can be read of it.")
    if about == Call.About.PORTIONS and box is None:
        raise Refused("Choose the box that has too few portions.")
    if len(text) > 300:
        raise Refused("Keep it to 300 characters.")
    wanted = {"contest": contest, "table": table, "category": category, "about": about, "box": box, "text": text}
    waiting = Call.objects.filter(**wanted, answered_at__isnull=True).first()
    if waiting is not None:
        return waiting
    call = Call(**wanted, by=by[:120])
    call.full_clean()
    call.save()
    facts = {"about": about, "table": table.number, "category": category.key, "box": box.number if box else ""}
    write_log(contest=contest, chain="cards", what="head judge called", facts=facts, by=by)
    return call


@transaction.atomic
def answer_call(*, call: Call, answer: str, by: str) -> Call:
    """The head judge has dealt with the call; a second answer leaves the first."""
    call = Call.objects.select_for_update(of=("self",)).get(pk=call.pk)
    if call.answered_at is not None:
        return call
    call.answered_at, call.answer = timezone.now(), " ".join(answer.split())[:300]
    call.save(update_fields=["answered_at", "answer"])
    facts = {"about": call.about, "table": call.table.number, "box": call.box.number if call.box else ""}
    write_log(contest=call.contest, chain="cards", what="call answered", facts=facts, by=by)
    return call


def _open(contest: Contest) -> Contest:
    contest = Contest.objects.select_for_update(no_key=True).get(pk=contest.pk)
    if contest.state == Contest.State.PREPARING:
        raise Refused("The boxes are not drawn yet.")
    if not contest.is_sealed:
        raise Refused("The tally is closed: the tables are done.")
    return contest
