"""From answers and cards to the result of a practice: worked out once, at closing, and kept.

Slow to import: the statistics come along.
"""

from collections import defaultdict
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Any

from contest.models import Draw
from contest.rules.ruleset import RuleSet
from contest.rules.say import total_text
from contest.selectors.rules import contest_rules
from judging.models import Reading
from judging.rules.inputs import digest
from judging.rules.outcome import Box, Card
from judging.rules.tally import tally
from judging.rules.totals import Weighing
from judging.selectors.marks import marks_by_reading
from reports.models import Answer, Plate, Practice
from reports.practice.plates import progress
from reports.rules.sensory.counts import preference, triangle
from reports.rules.sensory.scoring import Scores, figures_of, scores
from reports.rules.sensory.tasted import (
    ByRules,
    OddPlate,
    PracticeResult,
    PreferenceResult,
    PreferredPlate,
    ScoreResult,
    Standing,
    TasterPoints,
    TriangleResult,
    VersionMean,
)
from reports.rules.sensory.tasting import PREFERENCE, SCORE, TRIANGLE

Marks = dict[str, Decimal]


def work_out(practice: Practice) -> PracticeResult:
    """Return the result; `sum` is the SHA-256 of what it was made from."""
    tasters = progress(practice)
    result = PracticeResult(
        versions=tuple(version.name for version in practice.versions.all()),
        tasters=len(tasters),
        unfinished=tuple((each.number, each.done, each.expected) for each in tasters if not each.is_done),
    )
    given, result = {TRIANGLE: _triangle, PREFERENCE: _preference, SCORE: _scores}[practice.question](practice, result)
    fingerprint = Draw.objects.values_list("fingerprint", flat=True).get(contest=practice.contest, standing=True)
    facts = {"plates": fingerprint, "rules": practice.contest.frozen_rules, "given": given}
    return replace(result, sum=digest(facts))


def _on_plates(practice: Practice) -> dict[int, int]:
    """Box pk → the version on it, counted from 1."""
    return dict(Plate.objects.filter(box__contest=practice.contest).values_list("box_id", "version__order"))


def _answers(practice: Practice) -> list[Answer]:
    answers = Answer.objects.filter(category__contest=practice.contest).select_related("box", "seat__table", "category")
    return list(answers.order_by("category__order", "seat__table__number"))


def _triangle(practice: Practice, result: PracticeResult) -> tuple[list[Any], PracticeResult]:
    """An answer is right where it names the plate whose version stands once among the taster's three."""
    on_plates = _on_plates(practice)
    sets: dict[tuple[int, int], list[int]] = defaultdict(list)
    plates = Plate.objects.filter(box__contest=practice.contest)
    for box, category, table in plates.values_list("box_id", "box__category_id", "box__table_id"):
        sets[category, table].append(on_plates[box])
    answers = tuple(
        OddPlate(
            answer.seat.table.number,
            answer.category.order,
            answer.box.number,
            sets[answer.category_id, answer.seat.table_id].count(on_plates[answer.box_id]) == 1,
        )
        for answer in _answers(practice)
    )
    test = triangle(len(answers), sum(answer.is_right for answer in answers))
    kept = TriangleResult(answers, test.correct, test.needed, test.tasters)
    return [[each.taster, each.round, each.plate] for each in answers], replace(result, triangle=kept)


def _preference(practice: Practice, result: PracticeResult) -> tuple[list[Any], PracticeResult]:
    on_plates = _on_plates(practice)
    answers = tuple(
        PreferredPlate(answer.seat.table.number, answer.category.order, answer.box.number, on_plates[answer.box_id])
        for answer in _answers(practice)
    )
    first, second = (sum(answer.version == order for answer in answers) for order in (1, 2))
    test = preference(first, second)
    kept = PreferenceResult(answers, first, second, test.needed, test.share)
    return [[each.taster, each.round, each.plate] for each in answers], replace(result, preference=kept)


def _scores(practice: Practice, result: PracticeResult) -> tuple[list[Any], PracticeResult]:
    rules = contest_rules(practice.contest)
    cards = _cards(practice)
    weigh = Weighing(rules)
    keys = [criterion.key for criterion in rules.criteria]
    tasters = range(1, result.tasters + 1)
    versions = range(1, len(result.versions) + 1)

    def weighted(taster: int, version: int) -> Fraction | None:
        marks = cards.get((taster, version))
        return None if marks is None else Fraction(weigh[tuple(marks[key] for key in keys)], weigh.unit)

    table = {taster: [weighted(taster, version) for version in versions] for taster in tasters}
    one_mark = float(sum((criterion.weight for criterion in rules.criteria), Decimal(0)))
    found = scores([[None if cell is None else float(cell) for cell in row] for row in table.values()])
    complete = [taster for taster, row in table.items() if None not in row]
    kept = ScoreResult(
        table=tuple(
            TasterPoints(taster, tuple(None if cell is None else total_text(cell) for cell in row))
            for taster, row in table.items()
        ),
        means=_means(found, [table[taster] for taster in complete]),
        figures=figures_of(found, len(versions), one_mark),
        possible=one_mark * float(rules.scale.highest),
        least=one_mark * float(rules.scale.lowest),
        one_mark=one_mark,
        rule_set=rules.name,
        by_rules=_by_rules(rules, len(versions), cards, complete),
    )
    given = [[*slot, {key: str(mark) for key, mark in marks.items()}] for slot, marks in sorted(cards.items())]
    return given, replace(result, score=kept)


def _cards(practice: Practice) -> dict[tuple[int, int], Marks]:
    """(taster, version) → the marks of the card that stands."""
    on_plates = _on_plates(practice)
    standing = Reading.objects.filter(standing=True, card__box__contest=practice.contest)
    marks = marks_by_reading(standing)
    rows = standing.values_list("id", "card__seat__table__number", "card__box_id")
    return {(table, on_plates[box]): marks.get(reading, {}) for reading, table, box in rows}


def _means(result: Scores, rows: list[list[Any]]) -> tuple[VersionMean, ...]:
    """A version's exact mean with its interval; `half` is None where no scatter tells."""
    exact = [sum(column, Fraction(0)) / len(rows) for column in zip(*rows, strict=True)]
    halves: list[float | None] = [mean.half for mean in result.means] or [None] * len(exact)
    return tuple(VersionMean(total_text(mean), half) for mean, half in zip(exact, halves, strict=True))


def _by_rules(rules: RuleSet, versions: int, cards: dict[tuple[int, int], Marks], complete: list[int]) -> ByRules:
    """How the versions would stand as boxes of a contest; no standing where there are too few or many cards."""
    limits = ByRules(cards=len(complete), fewest=rules.fewest, most=rules.per_entry, standing=())
    if not rules.fewest <= len(complete) <= rules.per_entry:
        return limits
    boxes = [
        Box("practice", str(version), "1", "accepted", tuple(
            Card(str(taster), tuple(cards[taster, version][criterion.key] for criterion in rules.criteria))
            for taster in complete))
        for version in range(1, versions + 1)
    ]  # fmt: skip
    # Versions that tie in everything share their place: no lot is drawn at home.
    without_lot = replace(rules, tie_breaks=tuple(step for step in rules.tie_breaks if step.by != "lot"))
    outcome = tally({"practice": without_lot}, boxes)
    standing = tuple(
        Standing(
            place=box.rank,
            version=int(box.box),
            total=None if box.total is None else total_text(box.total),
            dropped=box.dropped,
        )
        for box in outcome.categories["practice"]
    )
    return replace(limits, standing=standing)
