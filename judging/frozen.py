"""What a closed tally keeps: its inputs as canonical JSON, and what it came to as codes and figures.

Teams are kept by their numbers, under which the draw knows them, and their names as they were on the day. Totals are
exact text: a decimal, or ``p/q``. No persons and no sentences anywhere: `judging.rules.workings` words what is shown.
"""

from collections.abc import Mapping
from typing import Any

from contest.rules.ruleset import to_toml
from judging.records import Records
from judging.rules.inputs import canonical, digest, inputs_document
from judging.rules.standings import standings_of
from judging.rules.tally import Tally

__all__ = ["canonical", "digest", "inputs_of", "outcome_of"]


def inputs_of(records: Records) -> dict[str, Any]:
    """Return all that the result depends on, rule sets included: enough to tally again."""
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
    """Return what the tally came to as JSON values. `team_names` by team number, `category_names` by key."""
    outcome = standings_of(
        result,
        names=category_names,
        counting=records.counting,
        needs=records.overall_rules.needs,
        teams=team_names,
    )
    return outcome.document()
