"""How far the judges of one contest agreed, flight by flight, from its cards. Slow to import: for the child only.

For organiser and head judge: judges and boxes, never a team.
"""

from collections.abc import Mapping
from math import isfinite

from pandas import DataFrame

from reports.rules.agreement import Interval, concordance, judges, pooled_reliability, reliability
from reports.rules.fitted import AgreementFigures, FlightFigures, JudgeFigures, Points, Range
from reports.rules.severity.hardness import scored

Flight = tuple[str, str]  # category, table


def agreement_of(cards: DataFrame, points: Mapping[str, Points]) -> AgreementFigures:
    """Flights, each category and the contest together, and every judge.

    `cards`: a frame as `frame_of` makes it; `points`: how shares read, by category. Cards with a penalty are left out:
    a penalty is a ruling.
    """
    marked = scored(cards).dropna()
    marked["mark"] = [points[key].card(share) for key, share in zip(marked["category"], marked["score"], strict=True)]
    flights = marked.groupby(["category", "table"], sort=False)
    tables = {flight: own.pivot(index="box", columns="seat", values="mark") for flight, own in flights}
    return AgreementFigures(
        flights=tuple(_flight(key, table) for key, table in tables.items()),
        pooled={
            category: _interval(
                pooled_reliability([table for key, table in tables.items() if category in ("", key[0])])
            )
            for category in ["", *marked["category"].unique()]
        },
        judges=_judges(marked.assign(flight=flights.ngroup()).sort_values("flight", kind="stable")),
    )


def _flight(key: Flight, table: DataFrame) -> FlightFigures:
    """`table`: boxes × seats, NaN for a card that is missing."""
    found, ranks = reliability(table), concordance(table)
    return FlightFigures(
        category=key[0],
        table=key[1],
        boxes=len(table),
        judges=len(table.columns),
        left_out=found.left_out if found else 0,
        reliability=_interval(found.consistent_mean) if found else None,
        w=ranks.w if ranks else None,
    )


def _judges(marked: DataFrame) -> dict[str, JudgeFigures]:
    summaries = judges(marked)
    return {
        str(judge): JudgeFigures(
            places=tuple(sorted(set(zip(own["table"], own["seat"], strict=True)))),
            cards=summaries[judge].cards,
            severity=_interval(summaries[judge].severity),
            spread=_interval(summaries[judge].spread),
            agreement=_interval(summaries[judge].agreement),
        )
        for judge, own in marked.groupby("judge", sort=False)
    }


def _interval(found: Interval | None) -> Range | None:
    """Estimate, low, high; None for what has no bound."""
    if found is None:
        return None
    estimate, low, high = (value if isfinite(value) else None for value in (found.estimate, found.low, found.high))
    return estimate, low, high
