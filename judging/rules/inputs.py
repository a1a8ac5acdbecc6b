"""All that a result depends on as one plain document, and its sum: what the log of the day names at closing.

`inputs_document` writes it, `read_inputs` reads it back.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from contest.rules.ruleset import RuleSet, parse
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


@dataclass(frozen=True, slots=True)
class InputBox:
    """A box as it went into the tally. `team` is a number, as text; `cards`: seat → marks in sheet order, exact."""

    category: str
    box: str
    table: str
    team: str
    status: str
    cards: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Inputs:
    """The inputs of a tally. `documents`: category → its rule set as TOML, in the order of the day."""

    documents: Mapping[str, str]
    overall_document: str
    counting: tuple[str, ...]
    seed: str
    boxes: tuple[InputBox, ...]

    def rules(self, category: str) -> RuleSet:
        """Return a category's rule set. Raises KeyError for a category that was not held."""
        return _parsed(self.documents[category])

    @property
    def overall_rules(self) -> RuleSet:
        return _parsed(self.overall_document)

    def of_team(self, team: str) -> list[InputBox]:
        return [box for box in self.boxes if box.team == team]

    def of_category(self, category: str) -> list[InputBox]:
        return [box for box in self.boxes if box.category == category]

    def box(self, category: str, number: str) -> InputBox:
        """Return one box. Raises KeyError for one that there is not."""
        for box in self.boxes:
            if (box.category, box.box) == (category, number):
                return box
        raise KeyError(number)


_parsed = lru_cache(maxsize=64)(parse)


def read_inputs(document: Mapping[str, Any]) -> Inputs:
    """Read the JSON of a tally's inputs. Raises ValueError for a format that it does not know."""
    if document["format"] != FORMAT:
        raise ValueError(f"these inputs are of format {document['format']}; this program reads {FORMAT}")
    # In the order of the day: PostgreSQL keeps the keys of a JSON object in an order of its own.
    return Inputs(
        documents={key: document["rules"][key] for key in document["categories"]},
        overall_document=document["overall_rules"],
        counting=tuple(document["counting"]),
        seed=document["seed"],
        boxes=tuple(
            InputBox(
                category=box["category"],
                box=box["box"],
                table=box["table"],
                team=box["team"],
                status=box["status"],
                cards={seat: tuple(marks) for seat, marks in sorted(box["cards"].items())},
            )
            for box in document["boxes"]
        ),
    )
