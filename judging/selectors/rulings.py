"""Rulings in force and open calls, as sealed parts may know them: by box number."""

from collections import defaultdict
from dataclasses import dataclass, field

from django.db.models import QuerySet

from contest.models import Contest, Table
from judging.models import Call, Ruling


@dataclass
class BoxRulings:
    """What is ruled on one box, by primary keys of its seats where a card is meant."""

    out: bool = False
    lost: set[int] = field(default_factory=set)
    dismissed: dict[int, set[int | None]] = field(default_factory=lambda: defaultdict(set))
    words: list[str] = field(default_factory=list)

    def is_dismissed(self, seat: int, reading: int) -> bool:
        """Whether the seat's standing reading was dismissed; another reading of the card is not."""
        dismissed = self.dismissed.get(seat, ())
        return reading in dismissed or None in dismissed


def in_force(contest: Contest) -> dict[int, BoxRulings]:
    """The rulings in force by box; every other box has none. One query."""
    found: dict[int, BoxRulings] = defaultdict(BoxRulings)
    for ruling in standing_rulings(contest):
        on_box = found[ruling.box_id]
        on_box.words.append(in_words(ruling))
        if ruling.kind == Ruling.Kind.DISQUALIFICATION:
            on_box.out = True
        elif ruling.kind == Ruling.Kind.LOST:
            on_box.lost.add(ruling.seat_id)
        elif ruling.kind == Ruling.Kind.DISMISSAL:
            on_box.dismissed[ruling.seat_id].add(ruling.dismissed_reading_id)
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
    return f"seat {ruling.seat.letter}: {ruling.get_kind_display()}"


def open_calls(contest: Contest, table: Table | None = None) -> QuerySet[Call]:
    """Calls that wait for the head judge, by table, the earlier call first within a table."""
    found = Call.objects.filter(contest=contest, answered_at__isnull=True)
    if table is not None:
        found = found.filter(table=table)
    return found.select_related("table", "category", "box").order_by("table__number", "id")
