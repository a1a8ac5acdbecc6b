"""Flights, their score sheets, and how far they are. Nothing here loads a team, a pairing or a turn-in."""

from collections import defaultdict
from dataclasses import dataclass

from contest.models import Box, Category, Contest, Seat, Sitting, Table
from contest.present import present
from contest.selectors import boxes as box_selectors
from contest.selectors.categories import held_categories
from judging.models import Reading
from judging.selectors import rulings as ruling_selectors
from judging.selectors.rulings import BoxRulings


@dataclass(frozen=True, slots=True)
class Sheet:
    """One judge's paper for one flight: box numbers expected of the seat and those still missing."""

    category: Category
    table: Table
    seat: Seat
    expected: tuple[str, ...]
    missing: tuple[str, ...]
    vacant: bool = False

    @property
    def label(self) -> str:
        return f"{self.table.number}{self.seat.letter}"

    @property
    def done(self) -> bool:
        return not self.missing


@dataclass(frozen=True, slots=True)
class Flight:
    """The boxes of one category at one table, in serving order, and its score sheets by seat."""

    category: Category
    table: Table
    boxes: tuple[Box, ...]
    judged: frozenset[int]
    sheets: tuple[Sheet, ...]
    rulings: dict[int, BoxRulings]

    @property
    def expected(self) -> int:
        return sum(len(sheet.expected) for sheet in self.sheets)

    @property
    def keyed(self) -> int:
        return self.expected - sum(len(sheet.missing) for sheet in self.sheets)

    @property
    def done(self) -> bool:
        return all(sheet.done for sheet in self.sheets)

    @property
    def started(self) -> bool:
        return self.keyed > 0

    @property
    def ruled(self) -> list[tuple[str, str]]:
        """Box number and what is ruled on it, in serving order."""
        return [(box.number, ", ".join(self.rulings[box.pk].words)) for box in self.boxes if box.pk in self.rulings]

    @property
    def missing_sheets(self) -> list[Sheet]:
        return [sheet for sheet in self.sheets if sheet.missing]


def flights(contest: Contest, *, category: Category | None = None, table: Table | None = None) -> list[Flight]:
    """The flights of the standing draw by category and table, cancelled categories left out.

    The number of queries does not grow with the contest.
    """
    categories = [category] if category else held_categories(contest)
    tables = list(
        (Table.objects.filter(pk=table.pk) if table else contest.tables.all())
        .order_by("number")
        .prefetch_related("seats")
    )
    at = defaultdict(list)
    of_categories, of_tables = {each.pk: each for each in categories}, {each.pk: each for each in tables}
    boxes = box_selectors.standing_boxes(contest).filter(category__in=categories, table__in=tables)
    for box in boxes.select_related(None).order_by("position"):
        # The rows that are at hand already: a large contest has few of them and many boxes.
        box.category, box.table = of_categories[box.category_id], of_tables[present(box.table_id)]
        at[box.category_id, box.table_id].append(box)
    judged = frozenset(box_selectors.to_judge(contest))
    ruled = ruling_selectors.in_force(contest)
    vacant = _vacant(contest)
    keyed = _keyed(contest, ruled)
    made = []
    for each in categories:
        for place in tables:
            served = tuple(at[each.pk, place.pk])
            if not served:
                continue
            sheets = tuple(
                _sheet(each, place, seat, served, judged, ruled, vacant, keyed) for seat in place.seats.all()
            )
            own = {box.pk: ruled[box.pk] for box in served if box.pk in ruled}
            made.append(Flight(each, place, served, judged, sheets, own))
    return made


def _vacant(contest: Contest) -> set[tuple[int, int]]:
    """(seat, category) where nobody sits; a seat that was never seated expects cards."""
    return set(Sitting.objects.filter(category__contest=contest, vacant=True).values_list("seat_id", "category_id"))


def _keyed(contest: Contest, ruled: dict[int, BoxRulings]) -> set[tuple[int, int]]:
    """(box, seat) of the cards of which a reading stands that no ruling dismissed."""
    standing = Reading.objects.filter(
        standing=True, card__box__contest=contest, card__box__draw__standing=True
    ).values_list("card__box_id", "card__seat_id", "id")
    return {
        (box, seat) for box, seat, reading in standing if box not in ruled or not ruled[box].is_dismissed(seat, reading)
    }


def _sheet(
    category: Category,
    table: Table,
    seat: Seat,
    served: tuple[Box, ...],
    judged: frozenset[int],
    ruled: dict[int, BoxRulings],
    vacant: set[tuple[int, int]],
    keyed: set[tuple[int, int]],
) -> Sheet:
    if (seat.pk, category.pk) in vacant:
        return Sheet(category, table, seat, (), (), vacant=True)
    due = [box for box in served if box.pk in judged and not _left_out(ruled.get(box.pk), seat)]
    return Sheet(
        category,
        table,
        seat,
        expected=tuple(box.number for box in due),
        missing=tuple(box.number for box in due if (box.pk, seat.pk) not in keyed),
    )


def _left_out(on_box: BoxRulings | None, seat: Seat) -> bool:
    """Whether no card is expected: the box is disqualified, or this card of it was ruled lost."""
    return on_box is not None and (on_box.out or seat.pk in on_box.lost)


def next_missing(found: list[Flight], after: Sheet | None = None) -> Sheet | None:
    """The first sheet that lacks marks, searched from behind `after` and then from the start, never `after` itself."""
    sheets = [sheet for flight in found for sheet in flight.sheets]
    if after is not None:
        here = (after.category.pk, after.seat.pk)
        place = next((at for at, each in enumerate(sheets) if (each.category.pk, each.seat.pk) == here), -1)
        sheets = sheets[place + 1 :] + sheets[: max(place, 0)]
    return next((sheet for sheet in sheets if sheet.missing), None)


def is_vacant(category: Category, seat: Seat) -> bool:
    return Sitting.objects.filter(category=category, seat=seat, vacant=True).exists()
