"""A team's boxes at contests elsewhere, as its season reads them."""

import dataclasses
from dataclasses import dataclass
from datetime import date

from contest.models import Team
from contest.selectors.people import fold
from reports.models import PastResult


@dataclass(frozen=True, slots=True)
class PastBox:
    """One box of the team at a contest elsewhere. Totals are exact text, "" where not known.

    `contest` names the contest among all boxes: its uid where it came as a package, else date and name.
    `has_field`: the other boxes' cards are here too, so that the hardness of its table can be fitted; without them it
    cannot be told apart from how good the box was. `number`: of the result among all that are kept.
    """

    contest: str
    contest_name: str
    date: date
    key: str
    category: str
    place: int | None
    field: int | None
    total: str
    possible: str
    table: str
    marks: list[list[str]] = dataclasses.field(default_factory=list)
    has_field: bool = False
    number: int = 0
    box: str = ""
    dropped: str = ""


def past_boxes(team: Team) -> list[PastBox]:
    """The team's boxes at contests elsewhere, oldest first."""
    rows = PastResult.objects.filter(team=team).select_related("imported").defer("imported__boxes", "imported__pending")
    return [
        PastBox(
            contest=str(row.imported.uid) if row.imported else f"{row.date.isoformat()} {fold(row.contest_name)}",
            contest_name=row.contest_name,
            date=row.date,
            key=row.key,
            category=row.category,
            place=row.place,
            field=row.field,
            total=row.total,
            possible=row.possible,
            table=row.table,
            marks=row.marks,
            has_field=row.imported is not None,
            number=row.pk,
            box=row.box,
            dropped=row.dropped,
        )
        for row in rows.order_by("date", "contest_name", "key")
    ]
