"""A contest run through the real services, for tests of what comes out at its end."""

from collections.abc import Callable
from decimal import Decimal

from contest.models import Box, Contest
from contest.selectors.boxes import standing_boxes
from contest.selectors.pairing import entry_of_boxes
from contest.selectors.rules import category_rules
from contest.services.desk import correct_labels, record_turn_in
from contest.services.draw import make_draw
from contest.services.redraw import Changes, redraw
from judging.models import Ruling
from judging.services.cards import hand_in_sheet
from judging.services.rulings import rule, withdraw_ruling
from judging.services.tally import close_tally, sign_off
from reports.results.publishing import publish
from tests.factories import make_contest

CRITERIA = ("appearance", "taste", "tenderness")


def run_day(
    *,
    before: Callable[[Contest], object] = lambda contest: None,
    redrawn: str = "",
    changes: Callable[[Contest], Changes] = lambda contest: Changes(),
    **fields: object,
) -> Contest:
    """Six teams, two tables, two categories, with one of everything that can happen; drawn, judged, not closed.

    An absent box, a late one, a swapped label, a penalty, a card ruled lost, one dismissed and marked anew, a ruling
    taken back, a box disqualified and a team disqualified by one of its boxes, a correction. `before` prepares the
    contest for its draw; with a reason in `redrawn` the boxes are drawn again, with `changes`.
    """
    contest = make_contest(**{"teams": 6, "tables": 2, "seats": 6, "rules": "uneven-weights", **fields})
    before(contest)
    make_draw(contest=contest, by="organiser")
    if redrawn:
        redraw(contest=contest, reason=redrawn, by="organiser", changes=changes(contest))
    contest.refresh_from_db()
    owners = entry_of_boxes(contest)
    boxes = list(standing_boxes(contest).order_by("number"))
    of = {(box.category.key, owners[box.pk].number): box for box in boxes}
    for box in boxes:
        number = owners[box.pk].number
        status = {("ribs", 1): "absent", ("chicken", 2): "late"}.get((box.category.key, number), "accepted")
        record_turn_in(contest=contest, box=box, status=status, by="desk", handed_in_at=box.category.turn_in_at)
    correct_labels(contest=contest, one=of["chicken", 3], other=of["chicken", 4], reason="saw it", by="desk")
    judged = [box for box in boxes if box not in (of["ribs", 1], of["chicken", 2])]
    for table in contest.tables.all():
        for seat in table.seats.all():
            for category in contest.categories.all():
                mine = [box for box in judged if box.table_id == table.pk and box.category_id == category.pk]
                hand_in_sheet(
                    contest=contest,
                    category=category,
                    seat=seat,
                    marks={
                        box.number: _marks(box, seat.letter)
                        for box in mine
                        if (box, seat.letter) != (of["ribs", 3], "B")  # no portion was left for this judge
                    },
                    by="clerk",
                )
    _rule(contest, of)
    return contest


def _marks(box: Box, letter: str) -> dict[str, Decimal]:
    start = int(box.number) * 7 + ord(letter) * 5
    keys = [criterion.key for criterion in category_rules(box.category).criteria]
    return {key: Decimal(2 + (start + 3 * place) % 8) for place, key in enumerate(keys)}


def _rule(contest: Contest, of: dict) -> None:
    def say(kind: str, scope: str, box: object, seat: object = None, criterion: str = "") -> Ruling:
        return rule(
            contest=contest,
            kind=kind,
            scope=scope,
            box=box,
            seat=seat,
            criterion=criterion,
            reason="seen at the table",
            by="head judge",
        )

    seats = {name: {seat.letter: seat for seat in box.table.seats.all()} for name, box in of.items()}
    say("penalty", "criterion", of["ribs", 2], criterion="appearance")
    say("lost", "card", of["ribs", 3], seats["ribs", 3]["B"])
    say("dismissal", "card", of["ribs", 4], seats["ribs", 4]["C"])
    box = of["ribs", 4]
    hand_in_sheet(
        contest=contest,
        category=box.category,
        seat=seats["ribs", 4]["C"],
        marks={box.number: dict.fromkeys(CRITERIA, Decimal(7))},
        by="clerk",
        reason="marked anew",
    )
    withdraw_ruling(ruling=say("penalty", "box", of["ribs", 5]), reason="looked again", by="head judge")
    say("disqualification", "box", of["chicken", 5])
    say("disqualification", "team", of["ribs", 6])
    again = of["chicken", 1]
    hand_in_sheet(
        contest=contest,
        category=again.category,
        seat=seats["chicken", 1]["A"],
        marks={again.number: dict.fromkeys(CRITERIA, Decimal(9))},
        by="clerk",
        reason="misread a 9",
    )


def close_and_publish(contest: Contest) -> Contest:
    sign_off(tally=close_tally(contest=contest, by="organiser"), by="head judge")
    publish(contest=contest, by="organiser")
    contest.refresh_from_db()
    return contest
