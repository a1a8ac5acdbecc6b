"""What the two log chains say: whether they are whole, and which cards, statuses and labels follow from their rows.

A row's hash is SHA-256 over its number, time, what, facts and the hash before it, one a line.
"""

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

START = "0" * 64


@dataclass(frozen=True, slots=True)
class Entry:
    """A row of a chain."""

    number: str
    at: str
    what: str
    facts: str
    previous: str
    hash: str

    @property
    def known(self) -> dict[str, Any]:
        """The facts. Raises ValueError where they are no JSON object."""
        found = json.loads(self.facts)
        if not isinstance(found, dict):
            raise ValueError(f"row {self.number} has no facts")
        return found


def row_hash(number: str, at: str, what: str, facts: str, previous: str) -> str:
    return hashlib.sha256("\n".join((number, at, what, facts, previous)).encode()).hexdigest()


def broken_at(chain: Sequence[Entry]) -> int | None:
    """The place, from 1, of the first row that does not fit the one before; None for a whole chain."""
    previous = START
    for place, row in enumerate(chain, 1):
        expected = row_hash(str(place), row.at, row.what, row.facts, previous)
        if row.number != str(place) or row.previous != previous or row.hash != expected:
            return place
        previous = row.hash
    return None


def until_tally(chain: Sequence[Entry], revision: int) -> Sequence[Entry]:
    """The rows up to the closing of the tally, or up to its revision `revision`: what that result was made of.

    Raises ValueError where no row says that it was tallied.
    """
    for place, row in enumerate(chain, 1):
        if row.what in ("tally closed", "tally revised") and row.known.get("revision") == revision:
            return chain[:place]
    raise ValueError(f"the log has no row for the tally of revision {revision}")


Slot = tuple[str, str, str]  # category, box, seat as in "3B"


@dataclass
class _Slot:
    readings: list[dict[str, str]] = field(default_factory=list)
    dismissed: set[int] = field(default_factory=set)
    lost: bool = False

    @property
    def marks(self) -> dict[str, str] | None:
        """The last reading's, unless the card is lost or this reading, counted from 1, dismissed."""
        last = len(self.readings)
        return None if self.lost or last == 0 or last in self.dismissed else dict(self.readings[-1])


class CardsReplay:
    """Follows the cards chain: readings, corrections and rulings in their order."""

    def __init__(self, chain: Iterable[Entry], penalties: Mapping[str, tuple[str, Sequence[str]]]) -> None:
        """`penalties`: held category → the penalty mark as text ("" for none) and the criteria in order."""
        self.slots: dict[Slot, _Slot] = defaultdict(_Slot)
        self.penalised: set[tuple[str, str, str, str]] = set()  # category, box, seat or "", criterion or ""
        self.boxes_out: set[tuple[str, str]] = set()
        self.teams_out: set[tuple[str, str]] = set()
        self.penalties = penalties
        for row in chain:
            if row.what in ("card handed in", "card corrected"):
                facts = row.known
                slot = self.slots[facts["category"], facts["box"], facts["seat"]]
                slot.readings.append({str(key): str(mark) for key, mark in facts["marks"].items()})
            elif row.what in ("ruling", "ruling withdrawn"):
                self._rule(row.known, holds=row.what == "ruling")

    def _rule(self, facts: Mapping[str, Any], *, holds: bool) -> None:
        place = (facts["category"], facts["box"])
        seat = facts.get("seat", "")
        kind = facts["kind"]
        if kind == "penalty":
            _put(self.penalised, (*place, seat, facts.get("criterion", "")), holds)
        elif kind == "disqualification":
            _put(self.teams_out if facts["scope"] == "team" else self.boxes_out, place, holds)
        elif kind == "lost":
            self.slots[(*place, seat)].lost = holds
        elif kind == "dismissal":
            _put(self.slots[(*place, seat)].dismissed, facts["reading"], holds)
        else:
            raise ValueError(f"the log has a ruling of the kind {kind}, which this format does not know")

    def cards(self) -> dict[Slot, dict[str, str]]:
        """The cards that count, penalty marks in place: criterion → mark as text."""
        found = {}
        for (category, box, seat), slot in self.slots.items():
            marks = slot.marks
            if marks is None or category not in self.penalties:  # a cancelled category counts no cards
                continue
            penalty, criteria = self.penalties[category]
            for ruled_category, ruled_box, ruled_seat, criterion in self.penalised:
                if (ruled_category, ruled_box) == (category, box) and ruled_seat in ("", seat):
                    marks.update({key: penalty for key in criteria if criterion in ("", key)})
            found[category, box, seat] = marks
        return found


Swap = tuple[str, str, str]  # the two boxes, the lower number first, and the reason


def statuses_of(chain: Iterable[Entry]) -> tuple[dict[str, str], list[Swap]]:
    """From the day chain: box → the desk's last status ("undone" where it was undone), and the swapped labels in order.

    What the desk recorded belongs to the team, so the statuses of two boxes change places with their labels. With a
    redraw all of it starts again.
    """
    statuses: dict[str, str] = {}
    swaps: list[Swap] = []
    for row in chain:
        if row.what == "boxes drawn":
            statuses, swaps = {}, []
        elif row.what == "rest came in on time":
            statuses.update(dict.fromkeys(row.known["boxes"], "accepted"))
        elif row.what == "labels corrected":
            one, other = row.known["boxes"]
            swaps.append((one, other, row.known["reason"]))
            statuses[one], statuses[other] = statuses.get(other, "undone"), statuses.get(one, "undone")
        elif row.what in ("box recorded", "box undone"):
            statuses[row.known["box"]] = row.known["status"]
    return statuses, swaps


def _put(among: set[Any], what: Any, holds: bool) -> None:
    if holds:
        among.add(what)
    else:
        among.discard(what)
