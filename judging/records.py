"""From rows to the values of `judging.rules`: the only bridge, and where the tally's blindness is kept.

`sealed_records` serves the sealed parts: it never loads a team and knows of a box only whether it is judged.
`closing_records` serves closing and revising, where teams and the desk's statuses belong to the result.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db.models import TextField
from django.db.models.functions import Cast

from contest.models import Box as BoxRow
from contest.models import Contest, Draw
from contest.rules.ruleset import RuleSet
from contest.rules.say import number_text
from contest.selectors import boxes as box_selectors
from contest.selectors import pairing
from contest.selectors.categories import held_categories
from contest.selectors.rules import category_document, contest_rules, parsed
from judging.models import Mark, Reading, Ruling
from judging.rules.tally import Box, Card, Tally, tally


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


@dataclass
class Rulings:
    """The rulings in force, by what they do."""

    penalties: dict[int, list[tuple[str, str]]] = field(default_factory=lambda: defaultdict(list))
    left_out: set[tuple[int, str]] = field(default_factory=set)
    dismissed: dict[tuple[int, str], set[int | None]] = field(default_factory=lambda: defaultdict(set))
    boxes_out: set[int] = field(default_factory=set)
    teams_out: set[int] = field(default_factory=set)

    def counts(self, box: int, seat: str, reading: int) -> bool:
        """Whether a standing reading counts: its card is neither lost nor dismissed in this reading."""
        dismissed = self.dismissed.get((box, seat), ())
        return (box, seat) not in self.left_out and reading not in dismissed and None not in dismissed


def sealed_records(contest: Contest, category: str | None = None) -> Records:
    """The records as sealed parts may know them, of one category or of all that are held."""
    rows = _box_rows(contest, category)
    judged = box_selectors.to_judge(contest)
    rulings = _rulings_in_force(contest)
    cards = _Cards(contest, rulings, category)
    boxes, not_judged = [], []
    for row in rows:
        if row["id"] not in judged:
            not_judged.append((row["category__key"], row["number"]))
            continue
        out = row["id"] in rulings.boxes_out or row["id"] in rulings.teams_out
        boxes.append(_box(row, "disqualified" if out else "accepted", cards, None))
    return _records(contest, category, boxes, not_judged)


def closing_records(contest: Contest) -> Records:
    """The records with teams (their numbers, as text) and the desk's statuses: for closing and after.

    Raises RecordsError for a box that the desk has not recorded.
    """
    entries = pairing.entry_of_boxes(contest)
    statuses = box_selectors.statuses(contest)
    rulings = _rulings_in_force(contest)
    teams_out = {entries[box].pk for box in rulings.teams_out if box in entries}
    cards = _Cards(contest, rulings, None)
    boxes = []
    for row in _box_rows(contest, None):
        status, entry = statuses.get(row["id"]), entries[row["id"]]
        if status not in ("accepted", "late", "absent", "refused"):
            raise RecordsError(f"Box {row['number']} has no turn-in on record: the desk records every box.")
        out = row["id"] in rulings.boxes_out or entry.pk in teams_out
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


def _box_rows(contest: Contest, key: str | None) -> Collection[dict[str, Any]]:
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


def _rulings_in_force(contest: Contest) -> Rulings:
    found = Rulings()
    rows = Ruling.objects.filter(contest=contest, withdrawn_at__isnull=True, box__draw__standing=True).values_list(
        "kind", "scope", "box_id", "seat__letter", "criterion", "dismissed_reading_id"
    )
    for kind, scope, box, seat, criterion, reading in rows:
        if kind == Ruling.Kind.PENALTY:
            found.penalties[box].append((seat or "", criterion))
        elif kind == Ruling.Kind.LOST:
            found.left_out.add((box, seat))
        elif kind == Ruling.Kind.DISMISSAL:
            found.dismissed[box, seat].add(reading)
        elif scope == Ruling.Scope.TEAM:
            found.teams_out.add(box)
        else:
            found.boxes_out.add(box)
    return found


class _Cards:
    """The counting cards of a contest by box, penalty marks in place. Two queries, however many marks."""

    def __init__(self, contest: Contest, rulings: Rulings, key: str | None) -> None:
        self.rulings = rulings
        self.rules = {each.key: parsed(category_document(each)) for each in held_categories(contest, key)}
        self.sheet = {
            each: {criterion.key: place for place, criterion in enumerate(rules.criteria)}
            for each, rules in self.rules.items()
        }
        self.readings: dict[int, list[tuple[str, int]]] = defaultdict(list)
        standing = Reading.objects.filter(standing=True, card__box__contest=contest, card__box__draw__standing=True)
        if key:
            standing = standing.filter(card__box__category__key=key)
        for reading, box, seat in standing.values_list("id", "card__box_id", "card__seat__letter"):
            if rulings.counts(box, seat, reading):
                self.readings[box].append((seat, reading))
        self.marks = _marks(standing.values("id"))

    def of(self, row: Mapping[str, Any]) -> tuple[Card, ...]:
        """The cards of one box, by seat.

        Raises RecordsError for a card whose marks do not fit the score sheet.
        """
        key, found = row["category__key"], []
        places = self.sheet[key]
        for seat, reading in sorted(self.readings.get(row["id"], ())):
            given = self.marks.get(reading, {})
            try:
                marks = [given[criterion] for criterion in places]
            except KeyError:
                raise RecordsError(
                    f"The card of table {row['table__number']}, seat {seat} for box {row['number']} lacks a mark: "
                    "key it again."
                ) from None
            for ruled_seat, criterion in self.rulings.penalties.get(row["id"], ()):
                if ruled_seat in ("", seat):
                    self._penalise(marks, key, criterion, row["number"])
            found.append(Card(seat, tuple(marks)))
        return tuple(found)

    def _penalise(self, marks: list[Decimal], key: str, criterion: str, box: str) -> None:
        penalty = self.rules[key].scale.penalty
        if penalty is None:
            raise RecordsError(f"Box {box} has a penalty by ruling, but its rule set has no penalty mark.")
        for criterion_key, place in self.sheet[key].items():
            if criterion in ("", criterion_key):
                marks[place] = penalty


class _Values(dict[str, Decimal]):
    """From a stored mark's text to its decimal, each text read once."""

    def __missing__(self, text: str) -> Decimal:
        value = self[text] = Decimal(number_text(Decimal(text)))
        return value


def _marks(readings: Any) -> dict[int, dict[str, Decimal]]:
    # As text: the database's own digits, without a detour through binary fractions, and several times faster.
    rows = (
        Mark.objects.filter(reading__in=readings)
        .annotate(text=Cast("value", TextField()))
        .values_list("reading_id", "criterion", "text")
    )
    values, found = _Values(), defaultdict[int, dict[str, Decimal]](dict)
    for reading, criterion, text in rows:
        found[reading][criterion] = values[text]
    return found
