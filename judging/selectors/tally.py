"""Standings by box number, as the sealed parts see them: before closing from the rows, afterwards as frozen.

Nothing here loads a team; what a frozen tally says of teams is left where it is.
"""

from collections import Counter
from dataclasses import dataclass, field

from contest.models import Contest, LogChain, Seat, Sitting
from contest.rules.say import total_text
from contest.selectors.categories import held_categories
from judging.models import Tally
from judging.records import sealed_records
from judging.rules.outcome import BoxResult
from judging.rules.standings import BoxStanding, box_standings
from judging.rules.workings import box_working


@dataclass(frozen=True, slots=True)
class Line:
    """A box in its category. `state` is done, waiting or stopped where a word is due."""

    box: str
    rank: int | None
    total: str | None
    word: str = ""
    state: str = ""
    decided_by: str | None = None


@dataclass(frozen=True, slots=True)
class Standings:
    key: str
    name: str
    lines: list[Line] = field(default_factory=list)

    @property
    def waiting(self) -> int:
        return sum(line.state == "waiting" for line in self.lines)


def provisional(contest: Contest) -> list[Standings]:
    """The standings so far, category by category; boxes that are not judged come last, without a reason."""
    records = sealed_records(contest)
    result = records.tally()
    due = _due(contest)
    return [
        Standings(
            category.key,
            category.name,
            [_line(each, due[category.key, each.table]) for each in result.categories[category.key]]
            + [
                Line(number, None, None, "not judged", "stopped")
                for key, number in records.not_judged
                if key == category.key
            ],
        )
        for category in held_categories(contest)
    ]


def _due(contest: Contest) -> Counter[tuple[str, str]]:
    """How many cards a box gets, by (category key, table number): one from every seat that is not vacant."""
    due: Counter[tuple[str, str]] = Counter()
    seats = Counter(Seat.objects.filter(table__contest=contest).values_list("table__number", flat=True))
    for key in contest.categories.values_list("key", flat=True):
        for table, number in seats.items():
            due[key, str(table)] = number
    vacant = Sitting.objects.filter(category__contest=contest, vacant=True)
    for key, table in vacant.values_list("category__key", "seat__table__number"):
        due[key, str(table)] -= 1
    return due


def _line(result: BoxResult, due: int) -> Line:
    total = None if result.total is None else total_text(result.total)
    if result.status == "disqualified":
        return Line(result.box, result.rank, total, "disqualified", "stopped", result.decided_by)
    # A small table has fewer judges than the rules provide for: only its own seats are waited for.
    word = f"{result.cards} of {due} cards" if result.cards < due else ""
    return Line(result.box, result.rank, total, word, "waiting" if result.status == "short" else "", result.decided_by)


def frozen(tally: Tally) -> list[Standings]:
    """A closed tally's standings by box number."""
    return [
        Standings(category.key, category.name, [_frozen_line(box) for box in category.boxes])
        for category in tally.standings.categories
    ]


def _frozen_line(box: BoxStanding) -> Line:
    ranked = box.status == "ranked"
    # By a box number, sealed parts go on learning no more than that it was not judged.
    word = "" if ranked else {"short": "too few cards", "disqualified": "disqualified"}.get(box.status, "not judged")
    return Line(box.box, box.rank, box.total, word, "" if ranked else "stopped", box.decided_by)


def provisional_working(contest: Contest, number: str) -> tuple[str, list[str]] | None:
    """A box's category name and its working so far; None for a box that there is not."""
    found = contest.boxes.filter(draw__standing=True, number=number, category__cancelled_at__isnull=True)
    row = found.values_list("category__key", "category__name").first()
    if row is None:
        return None
    key, name = row
    records = sealed_records(contest, key)
    for box in box_standings(records.tally(), key):
        if box.box == number:
            return name, box_working(box, records.cards_of(key, number), records.rules[key])
    return name, ["The box is not judged."]


def frozen_working(tally: Tally, number: str) -> tuple[str, list[str]] | None:
    for category in tally.standings.categories:
        for box in category.boxes:
            if box.box == number:
                if box.status not in ("ranked", "short", "disqualified"):
                    return category.name, ["The box is not judged."]
                cards = tally.source.box(category.key, number).cards
                return category.name, box_working(box, cards, tally.source.rules(category.key))
    return None


def cards_head(contest: Contest) -> str:
    """The head of the log of cards, which holds no team and no turn-in; empty before its first row."""
    return LogChain.objects.filter(contest=contest, name="cards").values_list("head", flat=True).first() or ""
