"""What a closed tally keeps: its inputs as canonical JSON, its standings and its workings in sentences.

Teams stand by their numbers, under which the draw knows them; their names are kept beside, as they were on the day.
Totals are exact text: a decimal, or ``p/q``. No persons anywhere.
"""

import dataclasses
from collections.abc import Mapping
from typing import Any

from contest.rules.ruleset import to_toml
from contest.rules.say import total_text
from judging.records import Records
from judging.rules.inputs import FORMAT, canonical, digest, inputs_document
from judging.rules.outcome import BoxResult, TeamResult
from judging.rules.tally import Tally
from judging.rules.workings import working

__all__ = ["canonical", "digest", "inputs_of", "outcome_of"]


def inputs_of(records: Records) -> dict[str, Any]:
    """All that the result depends on, rule sets included: whoever has it can tally again."""
    return inputs_document(
        documents=records.documents,
        overall_rules=to_toml(records.overall_rules),
        counting=records.counting,
        seed=records.seed,
        boxes=records.boxes,
    )


def outcome_of(
    records: Records, result: Tally, *, category_names: Mapping[str, str], team_names: Mapping[str, str]
) -> dict[str, Any]:
    """Standings and workings. `team_names` by team number, `category_names` by key."""
    called = {number: f"{name} ({number})" for number, name in team_names.items()}
    return {
        "format": FORMAT,
        "categories": [
            {
                "key": key,
                "name": category_names[key],
                "counts": key in records.counting,
                "boxes": [_box(each, records) for each in listed],
            }
            for key, listed in result.categories.items()
        ],
        "overall": [_team(each, records, called, category_names) for each in result.overall or []],
        "champions": [each.team for each in result.champions()],
        "teams": dict(team_names),
        "warnings": list(result.warnings),
    }


def _box(result: BoxResult, records: Records) -> dict[str, Any]:
    rules = records.rules[result.category]
    return {
        "box": result.box,
        "team": result.team,
        "table": result.table,
        "rank": result.rank,
        "total": None if result.total is None else total_text(result.total),
        "status": result.status,
        "counted": list(result.counted),
        "dropped": [{"seat": seat, "why": why} for seat, why in result.dropped],
        "decided_by": result.decided_by,
        "working": working(result, rules),
        "public_working": working(result, rules, public=True),
    }


def _team(
    result: TeamResult, records: Records, called: Mapping[str, str], category_names: Mapping[str, str]
) -> dict[str, Any]:
    # The engine knows teams by number; a reader knows them by name.
    named = dataclasses.replace(
        result,
        team=called[result.team],
        boxes={category_names[key]: box for key, box in result.boxes.items()},
        ties=[step._replace(names=[called[name] for name in step.names]) for step in result.ties],
    )
    return {
        "team": result.team,
        "rank": result.rank,
        "total": total_text(result.total),
        "eligible": result.eligible,
        "decided_by": result.decided_by,
        "working": working(named, records.overall_rules, public=True),
    }
