"""Reading a practice. Three doors: what a taster may see, what the cook may see, and the key.

A taster's selectors load boxes of the own table and the own answers, never a version. The cook's load who is done,
never a mark or an answer. The key is read by `key_of` alone: for the serving page until the plates are out, for
whoever opens it early and has that recorded, and for the result.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from contest.models import Box, Category, Contest, LogRow, Seat
from contest.present import present
from judging.models import Card
from reports.models import Answer, Plate, Practice, Taster, Version
from reports.rules.sensory.tasting import SCORE, TRIANGLE


@dataclass(frozen=True)
class Round:
    """One round of a taster: plate numbers in the order of tasting; `named` is the own answer, "" before it."""

    category: Category
    numbers: tuple[str, ...]
    named: str


def rounds_of(contest: Contest, seat: Seat) -> list[Round]:
    """A taster's rounds with the own plates and answers. No version is read."""
    boxes = Box.objects.filter(contest=contest, table=seat.table_id).order_by("position")
    by_category: dict[int, list[str]] = defaultdict(list)
    for category, number in boxes.values_list("category_id", "number"):
        by_category[category].append(number)
    named = dict(Answer.objects.filter(seat=seat).values_list("category_id", "box__number"))
    return [
        Round(category, tuple(by_category[category.pk]), named.get(category.pk, ""))
        for category in contest.categories.order_by("order")
    ]


@dataclass(frozen=True)
class TasterProgress:
    """How far a taster is: what is in of what is expected. What was said is not read."""

    taster: Taster
    done: int
    expected: int

    @property
    def number(self) -> int:
        return self.taster.seat.table.number

    @property
    def is_done(self) -> bool:
        return self.done >= self.expected


def progress(practice: Practice) -> list[TasterProgress]:
    """The tasters in order, with how much each has handed in: cards for plates, or answers for rounds."""
    contest = practice.contest
    done: dict[int, int] = defaultdict(int)
    handed_in: Iterable[int]
    if practice.question == SCORE:
        handed_in = Card.objects.filter(box__contest=contest).values_list("seat_id", flat=True)
        expected = practice.versions.count()
    else:
        handed_in = Answer.objects.filter(category__contest=contest).values_list("seat_id", flat=True)
        expected = contest.categories.count()
    for seat in handed_in:
        done[seat] += 1
    tasters = practice.tasters.select_related("seat__table")
    return [TasterProgress(taster, done[taster.seat_id], expected) for taster in tasters]


def answers_expected(practice: Practice) -> int:
    """Answers that the question counts: a taster's rounds one by one, else one a taster."""
    tasters = practice.tasters.count()
    return tasters * practice.contest.categories.count() if practice.question == TRIANGLE else tasters


@dataclass(frozen=True)
class KeyRow:
    """What goes on a taster's plates in one round, in the order of tasting: (number, version)."""

    taster: Taster
    category: Category
    plates: tuple[tuple[str, Version], ...]


@dataclass(frozen=True)
class Key:
    """`rows`: by round and taster; `by_version`: the numbers that each version goes on, for plating."""

    rows: list[KeyRow]
    by_version: list[tuple[Version, list[str]]]


def key_of(practice: Practice) -> Key:
    """What is on which plate. Whoever shows it has asked `key_is_open`, or recorded that it was opened."""
    tasters = {taster.seat.table_id: taster for taster in practice.tasters.select_related("seat__table")}
    plates = Plate.objects.filter(box__contest=practice.contest).select_related("box__category", "version")
    found: dict[tuple[int, int], list[Plate]] = defaultdict(list)
    for plate in plates.order_by("box__category__order", "box__table__number", "box__position"):
        found[plate.box.category_id, present(plate.box.table_id)].append(plate)
    rows = [
        KeyRow(tasters[table], each[0].box.category, tuple((plate.box.number, plate.version) for plate in each))
        for (_, table), each in found.items()
    ]
    by_version = [
        (version, [number for row in rows for number, on_it in row.plates if on_it == version])
        for version in practice.versions.all()
    ]
    return Key(rows, by_version)


def key_is_open(practice: Practice) -> bool:
    """The cook plates up with it; once the plates are out it is closed to the cook as well, until the result."""
    return practice.served_at is None or practice.closed_at is not None


#: Log rows of the day that a result must tell of, each with a sentence made by `reports.practice.result`.
TOLD = ("key opened", "practice closed")


def told(practice: Practice) -> Iterator[LogRow]:
    """What bears on the seal, from the log, which keeps what is written."""
    rows = LogRow.objects.filter(chain__contest=practice.contest, chain__name="day", what__in=TOLD)
    return iter(rows.order_by("number"))
