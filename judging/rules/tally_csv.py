"""A result as CSV: what the open command prints and what a results package holds."""

import csv
import io

from contest.rules.say import total_text
from judging.rules.tally import Tally

CSV_COLUMNS = (
    "category",
    "rank",
    "box",
    "team",
    "total",
    "status",
    "decided_by",
    "counted",
    "dropped",
    "why",
    "eligible",
)


def result_csv(result: Tally) -> str:
    """The same as rows: boxes by category, then teams with the category "overall"; seats separated by blanks."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    for category, listed_boxes in result.categories.items():
        for box in listed_boxes:
            total = "" if box.total is None else total_text(box.total)
            writer.writerow(
                (
                    category,
                    box.rank or "",
                    box.box,
                    box.team or "",
                    total,
                    box.status,
                    box.decided_by or "",
                    " ".join(box.counted),
                    " ".join(each.seat for each in box.dropped),
                    "; ".join(each.why for each in box.dropped),
                    "",
                )
            )
    for team in result.overall or ():
        eligible = "yes" if team.eligible else "no"
        total = total_text(team.total)
        writer.writerow(("overall", team.rank, "", team.team, total, "", team.decided_by or "", "", "", "", eligible))
    return out.getvalue()
