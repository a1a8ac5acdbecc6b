"""Short ways to write a rule set and a box in a test."""

from decimal import Decimal

from contest.rules.ruleset import RuleSet, from_document
from judging.rules.tally import Box, BoxResult, Card, tally


def one_criterion(
    *, cards=6, fewest=1, of="sum", total_when_short="scale", ties=(), scale=None, weight="1", **drop
) -> RuleSet:
    """A rule set with the one criterion "taste", so that a card's points are its mark times the weight."""
    return from_document(
        {
            "name": "One criterion",
            "scale": scale or {"lowest": 0, "highest": 1000, "step": 1},
            "criterion": [{"key": "taste", "weight": weight}],
            "cards": {"per_entry": cards, "fewest": fewest},
            "drop": {"rule": "none", **drop},
            "total": {"of": of, "when_short": total_when_short},
            "tie_break": [{"by": by} for by in ties],
        }
    )


def box(number: str, cards, *, status="accepted", category="ribs", table="1", team=None) -> Box:
    """A box from cards as marks (a number or a tuple each), seats "1", "2", … in the order given."""
    return Box(
        category,
        number,
        table,
        status,
        tuple(
            Card(str(seat), tuple(marks) if isinstance(marks, tuple | list) else (marks,))
            for seat, marks in enumerate(cards, 1)
        ),
        team,
    )


def results(rules: RuleSet, *boxes: Box, seed: str | None = None) -> dict[str, BoxResult]:
    """The results of one category, by box."""
    answer = tally({"ribs": rules}, boxes, seed=seed)
    return {each.box: each for each in answer.categories["ribs"]}


def result(rules: RuleSet, cards, **more) -> BoxResult:
    """The result of a single box."""
    return results(rules, box("101", cards, **more))["101"]


def marks(text: str) -> list[Decimal]:
    return [Decimal(mark) for mark in text.split()]
