"""Rulings in force and open calls, as sealed parts may know them: by box number.

Whether a card counts is decided here alone, by `BoxRulings.counts`.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from django.db.models import QuerySet

from contest.models import Box, Contest, Table
from contest.present import present
from judging.models import Call, Ruling


@dataclass
class BoxRulings:
    """What is ruled on one box, by primary keys of its seats where a card is meant.

    `out`: the box is disqualified; `team_out`: by one of its boxes, its whole team is. `penalties`: (seat or None for
    every judge, criterion key or "" for all).
    """

    out: bool = False
    team_out: bool = False
    penalties: list[tuple[int | None, str]] = field(default_factory=list)
    lost: set[int] = field(default_factory=set)
    dismissed: dict[int, set[int | None]] = field(default_factory=lambda: defaultdict(set))
    words: list[str] = field(default_factory=list)

    def counts(self, seat: int, reading: int) -> bool:
        """Whether a standing reading counts: its card is neither lost nor dismissed in this reading."""
        return seat not in self.lost and not self.is_dismissed(seat, reading)

    def is_dismissed(self, seat: int, reading: int) -> bool:
        """Whether the seat's standing reading was dismissed; another reading of the card is not."""
        return is_dismissed(reading, self.dismissed.get(seat, ()))


def is_dismissed(reading: int, dismissed: Collection[int | None]) -> bool:
    """Whether a reading is among those that were dismissed; None dismisses every reading of the card."""
    return reading in dismissed or None in dismissed


def in_force(contest: Contest) -> dict[int, BoxRulings]:
    """The rulings in force by box; every other box has none. One query."""
    return _by_box(standing_rulings(contest))


def in_force_on(box: Box) -> BoxRulings:
    """The rulings in force on one box. One query."""
    rulings = Ruling.objects.filter(box=box, withdrawn_at__isnull=True).select_related("seat", "box")
    return _by_box(rulings)[box.pk]


def _by_box(rulings: Iterable[Ruling]) -> dict[int, BoxRulings]:
    found: dict[int, BoxRulings] = defaultdict(BoxRulings)
    for ruling in rulings:
        on_box = found[ruling.box_id]
        on_box.words.append(in_words(ruling))
        if ruling.kind == Ruling.Kind.DISQUALIFICATION:
            on_box.out = True
            on_box.team_out |= ruling.scope == Ruling.Scope.TEAM
        elif ruling.kind == Ruling.Kind.PENALTY:
            on_box.penalties.append((ruling.seat_id, ruling.criterion))
        elif ruling.kind == Ruling.Kind.LOST:
            on_box.lost.add(present(ruling.seat_id))
        elif ruling.kind == Ruling.Kind.DISMISSAL:
            on_box.dismissed[present(ruling.seat_id)].add(ruling.dismissed_reading_id)
    return found


def standing_rulings(contest: Contest) -> QuerySet[Ruling]:
    return (
        Ruling.objects.filter(contest=contest, withdrawn_at__isnull=True, box__draw__standing=True)
        .select_related("seat", "box")
        .order_by("box__number", "kind", "scope", "seat__letter", "criterion")
    )


def in_words(ruling: Ruling) -> str:
    """A ruling in a few words beside its box: "penalty for taste", "seat B: card lost"."""
    if ruling.kind == Ruling.Kind.DISQUALIFICATION:
        return "disqualified" if ruling.scope == Ruling.Scope.BOX else "disqualified with its team"
    if ruling.kind == Ruling.Kind.PENALTY:
        whose = f"seat {ruling.seat.letter}: " if ruling.seat else ""
        return f"{whose}penalty" + (f" for {ruling.criterion.replace('-', ' ')}" if ruling.criterion else "")
    return f"seat {present(ruling.seat).letter}: {ruling.get_kind_display()}"


def open_calls(contest: Contest, table: Table | None = None) -> QuerySet[Call]:
    """Calls that wait for the head judge, by table, the earlier call first within a table."""
    found = Call.objects.filter(contest=contest, answered_at__isnull=True)
    if table is not None:
        found = found.filter(table=table)
    return found.select_related("table", "category", "box").order_by("table__number", "id")
