"""From rows to the values of `judging.rules`: the only bridge, and where the tally's blindness is kept.

`sealed_records` serves the sealed parts: it never loads a team and knows of a box only whether it is judged.
`closing_records` serves closing and revising, where teams and the desk's statuses belong to the result.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from contest.models import Box as BoxRow
from contest.models import Contest, Draw
from contest.rules.ruleset import RuleSet
from contest.rules.say import number_text
from contest.selectors import boxes as box_selectors
from contest.selectors import pairing
from contest.selectors.categories import held_categories
from contest.selectors.rules import category_document, contest_rules, parsed
from judging.models import Reading
from judging.rules.tally import Box, Card, Tally, tally
from judging.selectors.marks import marks_by_reading
from judging.selectors.rulings import BoxRulings, in_force


class RecordsError(ValueError):
    """Rows that cannot be tallied; the message says which box and what to do."""


@dataclass(frozen=True)
class Records:
    """All that a tally is made of. `boxes` stand in the order of category and box number.

    `not_judged` holds the (category key, box number) of boxes that sealed parts know only as not judged; the
    engine never sees them. `documents` are the rule sets as TOML, by category key.
    """

    rules: Mapping[str, RuleSet]
    documents: Mapping[str, str]
    overall_rules: RuleSet
    counting: tuple[str, ...]
    seed: str
    boxes: tuple[Box, ...]
    not_judged: tuple[tuple[str, str], ...] = ()

    def tally(self) -> Tally:
        """The tally of these records; the overall is ranked where teams are known."""
        known = bool(self.boxes) and self.boxes[0].team is not None
        return tally(
            self.rules,
            self.boxes,
            overall=self.counting if known and self.counting else None,
            seed=self.seed,
            overall_rules=self.overall_rules,
        )

    def cards_of(self, category: str, number: str) -> dict[str, tuple[str, ...]]:
        """Return a box's cards as seat → marks in sheet order, exact text; none for a box that is not here."""
        return {
            card.seat: tuple(number_text(mark) for mark in card.marks)
            for box in self.boxes
            if (box.category, box.box) == (category, number)
            for card in box.cards
        }


def sealed_records(contest: Contest, category: str | None = None) -> Records:
    """The records as sealed parts may know them, of one category or of all that are held."""
    rows = _box_rows(contest, category)
    judged = box_selectors.to_judge(contest)
    rulings = in_force(contest)
    cards = _Cards(contest, rulings, category)
    boxes, not_judged = [], []
    for row in rows:
        if row["id"] not in judged:
            not_judged.append((row["category__key"], row["number"]))
            continue
        out = row["id"] in rulings and rulings[row["id"]].out
        boxes.append(_box(row, "disqualified" if out else "accepted", cards, None))
    return _records(contest, category, boxes, not_judged)


def closing_records(contest: Contest) -> Records:
    """The records with teams (their numbers, as text) and the desk's statuses: for closing and after.

    Raises RecordsError for a box that the desk has not recorded.
    """
    entries = pairing.entry_of_boxes(contest)
    statuses = box_selectors.statuses(contest)
    rulings = in_force(contest)
    teams_out = {entries[box].pk for box, on_box in rulings.items() if on_box.team_out and box in entries}
    cards = _Cards(contest, rulings, None)
    boxes = []
    for row in _box_rows(contest, None):
        status, entry = statuses.get(row["id"]), entries[row["id"]]
        if status not in ("accepted", "late", "absent", "refused"):
            raise RecordsError(f"Box {row['number']} has no turn-in on record: the desk records every box.")
        out = (row["id"] in rulings and rulings[row["id"]].out) or entry.pk in teams_out
        # A box that never came, or was refused, has nothing to disqualify.
        status = "disqualified" if out and status in ("accepted", "late") else status
        boxes.append(_box(row, status, cards, str(entry.number)))
    return _records(contest, None, boxes, [])


def _records(contest: Contest, key: str | None, boxes: Iterable[Box], not_judged: Iterable[tuple[str, str]]) -> Records:
    categories = held_categories(contest, key)
    documents = {category.key: category_document(category) for category in categories}
    return Records(
        rules={each: parsed(document) for each, document in documents.items()},
        documents=documents,
        overall_rules=contest_rules(contest),
        counting=tuple(category.key for category in categories if category.counts_overall),
        seed=Draw.objects.values_list("seed", flat=True).get(contest=contest, standing=True),
        boxes=tuple(boxes),
        not_judged=tuple(not_judged),
    )


def _box_rows(contest: Contest, key: str | None) -> Collection[Mapping[str, Any]]:
    found = BoxRow.objects.filter(contest=contest, draw__standing=True, category__cancelled_at__isnull=True)
    if key:
        found = found.filter(category__key=key)
    return found.order_by("category__order", "category__turn_in_at", "category_id", "number").values(
        "id", "number", "category__key", "table__number"
    )


def _box(row: Mapping[str, Any], status: str, cards: "_Cards", team: str | None) -> Box:
    return Box(
        category=row["category__key"],
        box=row["number"],
        table=str(row["table__number"]),
        status=status,
        cards=cards.of(row),
        team=team,
    )


class _Cards:
    """The counting cards of a contest by box, penalty marks in place. Two queries, however many marks."""

    def __init__(self, contest: Contest, rulings: Mapping[int, BoxRulings], key: str | None) -> None:
        self.rulings = rulings
        self.rules = {each.key: parsed(category_document(each)) for each in held_categories(contest, key)}
        self.sheet = {
            each: {criterion.key: place for place, criterion in enumerate(rules.criteria)}
            for each, rules in self.rules.items()
        }
        self.readings: dict[int, list[tuple[str, int, int]]] = defaultdict(list)
        standing = Reading.objects.filter(standing=True, card__box__contest=contest, card__box__draw__standing=True)
        if key:
            standing = standing.filter(card__box__category__key=key)
        rows = standing.values_list("id", "card__box_id", "card__seat__letter", "card__seat_id")
        for reading, box, letter, seat in rows:
            if box not in rulings or rulings[box].counts(seat, reading):
                self.readings[box].append((letter, seat, reading))
        self.marks = marks_by_reading(standing)

    def of(self, row: Mapping[str, Any]) -> tuple[Card, ...]:
        """The cards of one box, by seat.

        Raises RecordsError for a card whose marks do not fit the score sheet.
        """
        key, found = row["category__key"], []
        places = self.sheet[key]
        penalties = self.rulings[row["id"]].penalties if row["id"] in self.rulings else ()
        for letter, seat, reading in sorted(self.readings.get(row["id"], ())):
            given = self.marks.get(reading, {})
            try:
                marks = [given[criterion] for criterion in places]
            except KeyError:
                raise RecordsError(
                    f"The card of table {row['table__number']}, seat {letter} for box {row['number']} lacks a mark: "
                    "key it again."
                ) from None
            for ruled_seat, criterion in penalties:
                if ruled_seat in (None, seat):
                    self._penalise(marks, key, criterion, row["number"])
            found.append(Card(letter, tuple(marks)))
        return tuple(found)

    def _penalise(self, marks: list[Decimal], key: str, criterion: str, box: str) -> None:
        penalty = self.rules[key].scale.penalty
        if penalty is None:
            raise RecordsError(f"Box {box} has a penalty by ruling, but its rule set has no penalty mark.")
        for criterion_key, place in self.sheet[key].items():
            if criterion in ("", criterion_key):
                marks[place] = penalty
