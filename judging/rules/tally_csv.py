"""A result as CSV: what the open command prints and what a results package holds."""

import csv
import io
from collections.abc import Mapping, Sequence

from contest.rules.say import total_text
from judging.rules.tally import Tally, TieStep, box_ties, team_ties

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
    "ties",
    "eligible",
)


def result_csv(result: Tally) -> str:
    """Return the same as rows: boxes by category, then teams with the category "overall".

    Seats, codes and tie-breaks are separated by one blank; a tie-break is ``label=value`` with this row's own value.
    No cell holds a sentence, so that the same result is the same text for good.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    for category, boxes in result.categories.items():
        ties = box_ties(result, category)
        for box in boxes:
            dropped = box.dropped
            writer.writerow(
                (
                    category,
                    box.rank or "",
                    box.box,
                    box.team or "",
                    "" if box.total is None else total_text(box.total),
                    box.status,
                    box.decided_by or "",
                    " ".join(box.counted),
                    " ".join([card.seat for card in dropped]),
                    " ".join([card.why for card in dropped]),
                    _ties(box.box, ties),
                    "",
                )
            )
    ties = team_ties(result)
    for team in result.overall or ():
        writer.writerow(
            (
                "overall",
                team.rank,
                "",
                team.team,
                total_text(team.total),
                "",
                team.decided_by or "",
                "",
                "",
                "",
                _ties(team.team, ties),
                "yes" if team.eligible else "no",
            )
        )
    return out.getvalue()


def _ties(name: str, ties: Mapping[str, Sequence[TieStep]]) -> str:
    return " ".join([f"{record.step.label}={record.text(record.names.index(name))}" for record in ties.get(name, ())])
