"""How far the judges of one contest agreed, flight by flight, from its cards. Slow to import: for the child only.

For organiser and head judge: judges and boxes, never a team.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from math import isfinite

from reports.rules.agreement import Card, Interval, concordance, judges, pooled_reliability, reliability
from reports.rules.fitted import AgreementFigures, FlightFigures, JudgeFigures, Points, Range
from reports.rules.severity.hardness import WEIGHTED, CardRow

Flight = tuple[str, str]  # category, table


def agreement_of(rows: Iterable[CardRow], points: Mapping[str, Points]) -> AgreementFigures:
    """Flights, each category and the contest together, and every judge. `points`: how shares read, by category.

    Cards with a penalty are left out: a penalty is a ruling.
    """
    flights: dict[Flight, list[CardRow]] = defaultdict(list)
    for row in rows:
        if WEIGHTED in row.shares:
            flights[row.category, row.table].append(row)
    tables = {key: _table(cards, points[key[0]]) for key, cards in flights.items()}
    categories = dict.fromkeys(category for category, _ in flights)
    return AgreementFigures(
        flights=tuple(_flight(key, table) for key, table in tables.items()),
        pooled={
            category: _interval(
                pooled_reliability([table for key, table in tables.items() if category in ("", key[0])])
            )
            for category in ["", *categories]
        },
        judges=_judges(flights, points),
    )


def _table(cards: list[CardRow], points: Points) -> list[list[float | None]]:
    """Boxes × seats, None for a card that is missing."""
    seats = sorted({card.seat for card in cards})
    marks = {(card.box, card.seat): points.card(card.shares[WEIGHTED]) for card in cards}
    return [[marks.get((box, seat)) for seat in seats] for box in sorted({card.box for card in cards})]


def _flight(key: Flight, table: list[list[float | None]]) -> FlightFigures:
    found, ranks = reliability(table), concordance(table)
    return FlightFigures(
        category=key[0],
        table=key[1],
        boxes=len(table),
        judges=len(table[0]),
        left_out=found.left_out if found else 0,
        reliability=_interval(found.consistent_mean) if found else None,
        w=ranks.w if ranks else None,
    )


def _judges(flights: Mapping[Flight, list[CardRow]], points: Mapping[str, Points]) -> dict[str, JudgeFigures]:
    cards = [
        Card(key, row.box, row.judge, points[row.category].card(row.shares[WEIGHTED]))
        for key, rows in flights.items()
        for row in rows
    ]
    places: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for rows in flights.values():
        for row in rows:
            places[row.judge].add((row.table, row.seat))
    return {
        str(judge): JudgeFigures(
            places=tuple(sorted(places[str(judge)])),
            cards=found.cards,
            severity=_interval(found.severity),
            spread=_interval(found.spread),
            agreement=_interval(found.agreement),
        )
        for judge, found in judges(cards).items()
    }


def _interval(found: Interval | None) -> Range | None:
    """Estimate, low, high; None for what has no bound."""
    if found is None:
        return None
    estimate, low, high = (value if isfinite(value) else None for value in (found.estimate, found.low, found.high))
    return estimate, low, high
