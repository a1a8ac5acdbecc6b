"""All that a result depends on as one plain document, and its sum: what the log of the day names at closing."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from contest.rules.say import number_text
from judging.rules.outcome import Box

FORMAT = "fairbox-tally-1"


def canonical(document: Any) -> str:
    """One text for one value: keys sorted, no white space, UTF-8 as it is."""
    return json.dumps(document, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def digest(document: Any) -> str:
    """SHA-256 of the canonical text, lower-case hex."""
    return hashlib.sha256(canonical(document).encode()).hexdigest()


def inputs_document(
    *,
    documents: Mapping[str, str],
    overall_rules: str,
    counting: Sequence[str],
    seed: str,
    boxes: Iterable[Box],
) -> dict[str, Any]:
    """The inputs of a tally. `documents`: category → its rule set as TOML, in the order of the day."""
    return {
        "format": FORMAT,
        "rules": dict(documents),
        "overall_rules": overall_rules,
        "categories": list(documents),
        "counting": list(counting),
        "seed": seed,
        "boxes": [
            {
                "category": box.category,
                "box": box.box,
                "table": box.table,
                "team": box.team,
                "status": box.status,
                "cards": {card.seat: [number_text(mark) for mark in card.marks] for card in box.cards},
            }
            for box in boxes
        ],
    }
