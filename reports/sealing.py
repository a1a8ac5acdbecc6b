"""How a contest was sealed, in lines for the public: each line is a row of the log."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from contest.models import Contest, LogRow

Facts = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SealLine:
    at: datetime
    text: str


def _drawn(facts: Facts) -> str:
    text = f"The boxes were drawn (draw {facts['draw']}); {facts['boxes']} boxes."
    return f"{text} Reason for drawing again: {facts['reason']}" if facts.get("reason") else text


def _tables(facts: Facts) -> str:
    parts = [("lost", facts["lost"]), ("added", facts["added"])]
    said = [f"table {', '.join(map(str, numbers))} {what}" for what, numbers in parts if numbers]
    return f"The tables changed before the boxes were drawn again: {'; '.join(said)}."


def _reissued(facts: Facts) -> str:
    door = {"desk": "the turn-in desk", "table": "a table captain", "seat": "a judge", "account": "a helper"}
    whose = door.get(facts["opens"], facts["opens"])
    at = f" of table {facts['table']}" if facts.get("table") and facts["opens"] == "table" else ""
    return f"A new pass word was made for {whose}{at}; the one before it no longer opens."


def _labels(facts: Facts) -> str:
    one, other = facts["boxes"]
    when = "" if facts.get("tally") in (None, "sealed") else ", after the tally was closed"
    return f"The desk corrected two swapped labels{when}: boxes {one} and {other}. Reason: {facts['reason']}"


def _unlocked(facts: Facts) -> str:
    return f"The marks were unlocked. Reason: {facts['reason']}"


def _closed(facts: Facts) -> str:
    return f"The tally was closed. Sum of its inputs (SHA-256): {facts['inputs']}"


def _revised(facts: Facts) -> str:
    return (
        f"The result was revised: revision {facts['revision']}. Reason: {facts['reason']} "
        f"Sum of its inputs (SHA-256): {facts['inputs']}"
    )


_LINES: Mapping[tuple[str, str], Callable[[Facts], str]] = {
    ("day", "one person declared"): lambda facts: "One person was declared to work both the desk and the tally.",
    ("day", "secret of the draw made"): lambda facts: (
        f"The secret of the draw was made, before the teams called out words. Its commitment: {facts['commitment']}"
    ),
    ("day", "boxes drawn"): _drawn,
    ("day", "late team entered"): lambda facts: f"Team {facts['team']} came late and was entered.",
    ("day", "tables changed"): _tables,
    ("day", "desk signed in"): lambda facts: "Somebody signed in at the turn-in desk.",
    ("day", "pass reissued"): _reissued,
    ("day", "labels corrected"): _labels,
    ("day", "rest came in on time"): lambda facts: (
        f"{len(facts['boxes'])} boxes were recorded together as handed in on time, from the paper ledger."
    ),
    ("day", "windows delayed"): lambda facts: f"The turn-in windows to come were moved by {facts['minutes']} minutes.",
    ("day", "category cancelled"): lambda facts: (
        f"{facts['category'].capitalize()} was cancelled. Reason: {facts['reason']}"
    ),
    ("day", "seal opened"): lambda facts: f"The seal was opened early. Reason: {facts['reason']}",
    ("cards", "marks locked"): lambda facts: "The marks were locked.",
    ("cards", "marks unlocked"): _unlocked,
    ("day", "marks unlocked"): _unlocked,
    ("day", "tally closed"): _closed,
    ("cards", "tally signed off"): lambda facts: f"The head judge signed off revision {facts['revision']}.",
    ("day", "tally revised"): _revised,
    ("day", "result published"): lambda facts: f"Revision {facts['revision']} was published.",
}


def seal_lines(contest: Contest) -> list[SealLine]:
    """The rows of both chains that bear on the seal, in the order of time."""
    rows = LogRow.objects.filter(chain__contest=contest, what__in={what for _, what in _LINES}).values_list(
        "chain__name", "what", "facts", "at"
    )
    found = [
        SealLine(datetime.fromisoformat(at), _LINES[chain, what](json.loads(facts)))
        for chain, what, facts, at in rows.order_by("at", "chain__name", "number")
        if (chain, what) in _LINES and not _repeats(chain, what, facts)
    ]
    if contest.seal_opened_at is not None and not any("seal was opened" in line.text for line in found):
        opened = f"The seal was opened early. Reason: {contest.seal_opened_why}"
        found = sorted([*found, SealLine(contest.seal_opened_at, opened)], key=lambda line: line.at)
    return found


def _repeats(chain: str, what: str, facts: str) -> bool:
    """Unlocking after closing stands in both chains; the one that carries the reason is shown."""
    return (chain, what) == ("cards", "marks unlocked") and "reason" not in json.loads(facts)
