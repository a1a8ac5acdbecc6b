"""Random contests by all rules, tallied by the engine and by the independent reference."""

import random
from decimal import Decimal

import pytest

from contest.rules.ruleset import RuleSetError, from_document
from judging.rules.tally import Box, Card, box_ties, tally, team_ties
from tests.judging.rules import reference

CRITERIA = ("appearance", "taste", "tenderness", "impression")
WEIGHTS = ("1", "2", "1.5", "0.6875", "1.9125", "1.15", "0.3", "0")
DROPS = ("none", "lowest", "highest", "highest_and_lowest", "grubbs", "median_distance")
TIES = ("counted_criterion", "criterion", "dropped_cards", "highest_card", "lot")
STATUSES = ("accepted",) * 12 + ("late", "absent", "refused", "disqualified")


def random_document(rng, drop):
    low, high, step = rng.choice(
        [("1", "9", "1"), ("2", "9", "1"), ("1", "10", "0.5"), ("0", "3", "1"), ("1", "2", "0.25")]
    )
    keys = CRITERIA[: rng.randint(1, 4)]
    penalty = rng.choice([None, str(Decimal(low) - 1)])
    results = ["unranked", "penalty_marks"] if penalty else ["unranked"]
    steps = []
    for by in rng.sample(TIES, rng.randint(0, 5)):
        steps.append({"by": by} if "criterion" not in by else {"by": by, "criterion": rng.choice(keys)})
    return {
        "name": "Random",
        "scale": {"lowest": low, "highest": high, "step": step, **({"penalty": penalty} if penalty else {})},
        "criterion": [{"key": key, "weight": rng.choice(WEIGHTS)} for key in keys],
        "cards": {"per_entry": rng.randint(1, 8), "fewest": rng.randint(1, 6)},
        "drop": {
            "rule": drop,
            "count": rng.randint(0, 3),
            "when_short": rng.choice(["keep", "drop"]),
            "alpha": rng.choice(["0.05", "0.01", "0.2"]),
            "limit": rng.choice(["3.5", "2", "0.7"]),
        },
        "total": {"of": rng.choice(["sum", "mean"]), "when_short": rng.choice(["scale", "as_is"])},
        "late": {"result": rng.choice(results)},
        "disqualified": {"result": rng.choice(results)},
        "tie_break": steps,
        "overall": {"needs": rng.choice(["all_judged", "all_entered", "any"])},
    }


def accepted_document(rng, drop):
    while True:
        document = random_document(rng, drop)
        try:
            return document, from_document(document)
        except RuleSetError:
            continue  # weights all nought, a drop that leaves too few, and the like


def random_marks(rng, document):
    scale = document["scale"]
    low, high, step = (Decimal(scale[key]) for key in ("lowest", "highest", "step"))
    places = int((high - low) / step)
    # Near the top, as real marks are: ties and equal cards are common.
    marks = [low + step * max(0, places - abs(int(rng.gauss(0, places / 4)))) for _ in document["criterion"]]
    if "penalty" in scale and rng.random() < 0.05:
        marks[rng.randrange(len(marks))] = Decimal(scale["penalty"])
    return marks


def random_contest(rng, drop):
    contest, contest_rules = accepted_document(rng, drop)
    documents, rules = {"chicken": contest, "ribs": contest}, {"chicken": contest_rules, "ribs": contest_rules}
    if rng.random() < 0.5:
        documents["dessert"], rules["dessert"] = accepted_document(rng, rng.choice(DROPS))
    boxes = []
    for category, document in documents.items():
        for team in range(rng.randint(1, 9)):
            number = rng.choice([document["cards"]["per_entry"]] * 4 + list(range(document["cards"]["per_entry"] + 1)))
            cards = [(str(seat), random_marks(rng, document)) for seat in range(1, number + 1)]
            boxes.append((category, str(100 + team), str(team % 3), rng.choice(STATUSES), cards, f"Team {team}"))
    return documents, rules, boxes


def ties_of(name, trace):
    return [f"{record.step.label}={record.text(record.names.index(name))}" for record in trace.get(name, ())]


@pytest.mark.parametrize("drop", DROPS)
@pytest.mark.parametrize("batch", range(5))
def test_engine_and_reference_agree(drop, batch):
    rng = random.Random(f"{drop} {batch}")
    ranked = dropped = parted = 0
    for _ in range(120):
        documents, rules, contest = random_contest(rng, drop)
        overall = rng.sample(sorted(documents), rng.randint(1, len(documents)))
        engine = tally(
            rules,
            [
                Box(category, box, table, status, tuple(Card(seat, tuple(marks)) for seat, marks in cards), team)
                for category, box, table, status, cards, team in contest
            ],
            overall=overall,
            seed="words of the day",
            overall_rules=rules["chicken"],
        )
        boxes, teams = reference.tally(
            documents,
            [
                {
                    "category": category,
                    "box": box,
                    "team": team,
                    "turnin": status,
                    "cards": [
                        {"seat": seat, "marks": dict(zip(CRITERIA, marks, strict=False))} for seat, marks in cards
                    ],
                }
                for category, box, _, status, cards, team in contest
            ],
            overall,
            "words of the day",
            documents["chicken"],
        )
        traces = {category: box_ties(engine, category) for category in engine.categories}
        for result in (each for listed in engine.categories.values() for each in listed):
            expected = boxes[result.category, result.box]
            assert (result.status, result.total) == (expected["status"], expected["total"])
            assert (result.rank, result.decided_by) == (expected["rank"], expected["decided_by"])
            if result.status == "ranked":
                assert result.counted == tuple(sorted(card["seat"] for card in expected["kept"]))
                assert [card.seat for card in result.dropped] == [card["seat"] for card in expected["gone"]]
                assert [card.why for card in result.dropped] == expected["codes"]
            assert ties_of(result.box, traces[result.category]) == expected["ties"]
            ranked += result.rank is not None
            dropped += len(result.dropped)
            parted += result.decided_by is not None
        assert engine.overall is not None
        assert len(engine.overall) == len(teams)
        trace = team_ties(engine)
        for team in engine.overall:
            expected = teams[team.team]
            assert (team.rank, team.total, team.eligible) == (expected["rank"], expected["total"], expected["eligible"])
            assert (team.decided_by, ties_of(team.team, trace)) == (
                expected["decided_by"],
                expected["ties"],
            )
    # The contests reached what they are meant to reach.
    assert ranked > 500
    assert parted > 50
    assert dropped > (0 if drop == "none" else 20) or drop == "none"
