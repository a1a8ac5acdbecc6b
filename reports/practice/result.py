"""From answers and cards to the result of a practice: worked out once, at closing, and kept.

Slow to import: the statistics come along.
"""

from collections import defaultdict
from dataclasses import asdict, replace
from decimal import Decimal
from fractions import Fraction
from typing import Any

from contest.models import Draw
from contest.rules.ruleset import RuleSet
from contest.rules.say import counted, rounded_text, total_text
from contest.selectors.rules import contest_rules
from judging.models import Reading
from judging.rules.inputs import digest
from judging.rules.outcome import Box, Card
from judging.rules.tally import tally
from judging.rules.totals import Weighing
from judging.rules.workings import dropped_reasons, weighted
from judging.selectors.marks import marks_by_reading
from reports.models import Answer, Plate, Practice
from reports.practice.plates import progress
from reports.rules.sensory.counts import preference, preference_words, triangle, triangle_words
from reports.rules.sensory.scoring import Scores, score_words, scores
from reports.rules.sensory.tasting import PREFERENCE, SCORE, TRIANGLE

Marks = dict[str, Decimal]


def work_out(practice: Practice) -> dict[str, Any]:
    """The result as JSON; `sum` is the SHA-256 of what it was made from."""
    names = [version.name for version in practice.versions.all()]
    tasters = progress(practice)
    unfinished = [[each.number, each.done, each.expected] for each in tasters if not each.is_done]
    found: dict[str, Any] = {"versions": names, "tasters": len(tasters), "unfinished": unfinished}
    made = {TRIANGLE: _triangle, PREFERENCE: _preference, SCORE: _scores}[practice.question](practice, names, found)
    fingerprint = Draw.objects.values_list("fingerprint", flat=True).get(contest=practice.contest, standing=True)
    found["sum"] = digest({"plates": fingerprint, "rules": practice.contest.frozen_rules, "given": made})
    found["verdict"] = found["words"][0]
    return found


def _on_plates(practice: Practice) -> dict[int, int]:
    """Box pk → the version on it, counted from 1."""
    return dict(Plate.objects.filter(box__contest=practice.contest).values_list("box_id", "version__order"))


def _answers(practice: Practice) -> list[Answer]:
    answers = Answer.objects.filter(category__contest=practice.contest).select_related("box", "seat__table", "category")
    return list(answers.order_by("category__order", "seat__table__number"))


def _triangle(practice: Practice, names: list[str], found: dict[str, Any]) -> list[Any]:
    """An answer is right where it names the plate whose version stands once among the taster's three."""
    on_plates = _on_plates(practice)
    sets: dict[tuple[int, int], list[int]] = defaultdict(list)
    plates = Plate.objects.filter(box__contest=practice.contest)
    for box, category, table in plates.values_list("box_id", "box__category_id", "box__table_id"):
        sets[category, table].append(on_plates[box])
    rows = []
    for each in _answers(practice):
        of_set = sets[each.category_id, each.seat.table_id]
        is_odd = of_set.count(on_plates[each.box_id]) == 1
        rows.append([each.seat.table.number, each.category.order, each.box.number, is_odd])
    result = triangle(len(rows), sum(is_odd for *_, is_odd in rows))
    found |= {"answers": rows, "correct": result.correct, "needed": result.needed, "words": triangle_words(result)}
    return [row[:3] for row in rows]


def _preference(practice: Practice, names: list[str], found: dict[str, Any]) -> list[Any]:
    on_plates = _on_plates(practice)
    rows = [
        [each.seat.table.number, each.category.order, each.box.number, on_plates[each.box_id]]
        for each in _answers(practice)
    ]
    counts = [sum(version == order for *_, version in rows) for order in (1, 2)]
    result = preference(*counts)
    found |= {"answers": rows, "counts": counts, "needed": result.needed, "words": preference_words(result, *names)}
    return [row[:3] for row in rows]


def _scores(practice: Practice, names: list[str], found: dict[str, Any]) -> list[Any]:
    rules = contest_rules(practice.contest)
    cards = _cards(practice)
    weigh = Weighing(rules)
    keys = [criterion.key for criterion in rules.criteria]
    tasters = range(1, found["tasters"] + 1)
    versions = range(1, len(names) + 1)

    def weighted(taster: int, version: int) -> Fraction | None:
        marks = cards.get((taster, version))
        return None if marks is None else Fraction(weigh[tuple(marks[key] for key in keys)], weigh.unit)

    table = {taster: [weighted(taster, version) for version in versions] for taster in tasters}
    one_mark = float(sum((criterion.weight for criterion in rules.criteria), Decimal(0)))
    result = scores([[None if cell is None else float(cell) for cell in row] for row in table.values()])
    complete = [taster for taster, row in table.items() if None not in row]
    texts = {taster: [None if cell is None else total_text(cell) for cell in row] for taster, row in table.items()}
    found |= {
        "table": [list(row) for row in texts.items()],
        "means": _means(result, [table[taster] for taster in complete]),
        "differences": [asdict(each) for each in result.differences],
        "possible": one_mark * float(rules.scale.highest),
        "least": one_mark * float(rules.scale.lowest),
        "rule_set": rules.name,
        "by_rules": _by_rules(rules, names, cards, complete),
        "words": score_words(result, names, one_mark),
    }
    return [[*slot, {key: str(mark) for key, mark in marks.items()}] for slot, marks in sorted(cards.items())]


def _cards(practice: Practice) -> dict[tuple[int, int], Marks]:
    """(taster, version) → the marks of the card that stands."""
    on_plates = _on_plates(practice)
    standing = Reading.objects.filter(standing=True, card__box__contest=practice.contest)
    marks = marks_by_reading(standing)
    rows = standing.values_list("id", "card__seat__table__number", "card__box_id")
    return {(table, on_plates[box]): marks.get(reading, {}) for reading, table, box in rows}


def _means(result: Scores, rows: list[list[Any]]) -> list[dict[str, Any]]:
    """A version's exact mean as text beside its interval; `half` is None where no scatter tells."""
    exact = [sum(column, Fraction(0)) / len(rows) for column in zip(*rows, strict=True)]
    halves = [mean.half for mean in result.means] or [None] * len(exact)
    return [
        {"text": rounded_text(mean, 2).removeprefix("about "), "mean": float(mean), "half": half}
        for mean, half in zip(exact, halves, strict=True)
    ]


def _by_rules(
    rules: RuleSet, names: list[str], cards: dict[tuple[int, int], Marks], complete: list[int]
) -> dict[str, Any]:
    """How the versions would stand as boxes of a contest; `why_not` where there are too few or many cards for that."""
    if not rules.fewest <= len(complete) <= rules.per_entry:
        how_many = "too few" if len(complete) < rules.fewest else "too many"
        takes = f"takes {rules.fewest} to {rules.per_entry}" if rules.fewest < rules.per_entry else (
            f"takes {rules.per_entry}")  # fmt: skip
        why_not = f"{counted(len(complete), 'card')} a version are {how_many} for a total: {rules.name} {takes}."
        return {"why_not": why_not[:1].upper() + why_not[1:], "standing": []}
    boxes = [
        Box("practice", str(version), "1", "accepted", tuple(
            Card(str(taster), tuple(cards[taster, version][criterion.key] for criterion in rules.criteria))
            for taster in complete))
        for version in range(1, len(names) + 1)
    ]  # fmt: skip
    # Versions that tie in everything share their place: no lot is drawn at home.
    without_lot = replace(rules, tie_breaks=tuple(step for step in rules.tie_breaks if step.by != "lot"))
    standing = tally({"practice": without_lot}, boxes)
    points = {
        box.box: {card.seat: weighted([str(mark) for mark in card.marks], rules) for card in box.cards} for box in boxes
    }
    return {
        "why_not": "",
        "standing": [
            {
                "place": box.rank,
                "name": names[int(box.box) - 1],
                "total": rounded_text(box.total, 2).removeprefix("about ") if box.total is not None else "",
                "dropped": dropped_reasons(box.dropped, points[box.box], rules),
            }
            for box in standing.categories["practice"]
        ],
    }
