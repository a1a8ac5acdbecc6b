"""What decides whether a card of one seat is taken, read in one statement.

Every phone of a field hands in within the same minutes, so this is read in plain SQL: composing the same query anew
for each card took longer than everything else together.
"""

from dataclasses import dataclass
from datetime import datetime

from django.db import connection

from contest.models import Box, Category, Contest, Seat
from contest.selectors.boxes import NOT_JUDGED

_KEPT_BACK = ", ".join(f"'{status.value}'" for status in sorted(NOT_JUDGED))
_SQL = f"""
SELECT contest.state, contest.phones, contest.marks_locked_at,
    box.id, box.table_id, category.id, category.key, category.name, category.cancelled_at, category.frozen_rules,
    EXISTS (SELECT 1 FROM contest_turnin turnin
        WHERE turnin.box_id = box.id AND turnin.standing AND turnin.status IN ({_KEPT_BACK})),
    EXISTS (SELECT 1 FROM contest_sitting sitting
        WHERE sitting.category_id = category.id AND sitting.seat_id = %s AND sitting.vacant),
    EXISTS (SELECT 1 FROM judging_ruling ruling WHERE ruling.box_id = box.id AND ruling.seat_id = %s
        AND ruling.kind IN ('lost', 'dismissal') AND ruling.withdrawn_at IS NULL),
    EXISTS (SELECT 1 FROM judging_card card WHERE card.box_id = box.id AND card.seat_id = %s)
FROM contest_box box
JOIN contest_draw draw ON draw.id = box.draw_id
JOIN contest_category category ON category.id = box.category_id
JOIN contest_contest contest ON contest.id = box.contest_id
WHERE contest.id = %s AND draw.standing AND box.number = %s
"""  # noqa: S608  (the statuses are our own words)


@dataclass(frozen=True, slots=True)
class Slot:
    """A box as one seat may mark it. `kept_back`: the desk kept it from the judges. `vacant`: nobody sits there.

    `ruled`: the card was ruled lost or dismissed. `has_card`: readings of it are there. The contest holds its state.
    """

    contest: Contest
    box: Box
    category: Category
    kept_back: bool
    vacant: bool
    ruled: bool
    has_card: bool


def slot(contest: Contest, seat: Seat, number: str) -> Slot | None:
    """The slot of a seat for the box `number` of the standing draw, as it is now; None where there is no such box."""
    with connection.cursor() as cursor:
        cursor.execute(_SQL, [seat.pk, seat.pk, seat.pk, contest.pk, number])
        row = cursor.fetchone()
    if row is None:
        return None
    state, phones, locked, box, table, category, key, name, cancelled, rules, *flags = row
    now = Contest(id=contest.pk, state=state, phones=bool(phones), marks_locked_at=_moment(locked))
    of_box = Category(
        id=category, contest_id=contest.pk, key=key, name=name, cancelled_at=_moment(cancelled), frozen_rules=rules
    )
    found = Box(id=box, contest_id=contest.pk, category=of_box, number=number, table_id=table)
    return Slot(now, found, of_box, *map(bool, flags))


def _moment(value: datetime | str | None) -> datetime | None:
    """SQLite has no type for moments; here only whether there is one matters, and the text is one of ours."""
    return datetime.fromisoformat(value) if isinstance(value, str) else value
