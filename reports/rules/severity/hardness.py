"""A season by the severity model: how hard each table was, and what each box was worth at an average one.

Scores are shares of the scale, nought to one, so that contests with different rule sets fit together. Everything
here is a difference from the field of one contest and category: how generous a whole field's judges were that day
cannot be told from how good its boxes were, except through the teams and judges that come again.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from operator import attrgetter
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # both import slowly: pages read figures that are kept, and only a fit waits for them
    from pandas import DataFrame, Series

    from reports.rules.severity.model import Fit

WEIGHTED = "weighted"
#: Standard errors to either side of an estimate that make a 95 % interval: the normal distribution's 0.975 quantile.
Z95 = 1.959964
TEAM, TEAM_DAY, ENTRY, JUDGE, TABLE = "team", "team in contest", "entry", "judge", "table in contest"
FIELD = "contest × category"
#: Columns of the facts that name a field, a flight in it, a box in it.
CELL = ["contest", "category"]
FLIGHT = [*CELL, "table"]
BOX = [*CELL, "box"]
FORMULA = f"{FIELD} + {TEAM} + {TEAM_DAY} + {ENTRY} + {JUDGE} + {TABLE}"

Weights = dict[tuple[str | None, Any], float]
TableKey = tuple[str, str, str]  # contest, category, table
BoxKey = tuple[str, str, str]  # contest, category, box


@dataclass(frozen=True, slots=True)
class CardRow:
    """One judge's card for one box. `shares`: criterion, and `WEIGHTED` for the weighted mark → share of the scale;
    a penalty is a ruling, not an opinion, and is not among them."""

    contest: str
    category: str
    box: str
    table: str
    seat: str
    team: str
    judge: str
    shares: Mapping[str, float]


FACTS = ("contest", "category", "box", "table", "seat", "team", "judge")


def frame_of(rows: Iterable[CardRow]) -> "DataFrame":
    """Put cards into one frame, in their order: shares as columns, NaN where a card has none, the facts as its index.

    Criteria are named by rule sets, so a criterion may be called like a fact; that is why the facts are no columns.
    """
    from pandas import DataFrame, MultiIndex

    cards = list(rows)
    index = MultiIndex.from_tuples(list(map(attrgetter(*FACTS), cards)), names=FACTS)
    return DataFrame([row.shares for row in cards], index=index)


def scored(cards: "DataFrame", response: str = WEIGHTED) -> "DataFrame":
    """Return the facts of each card as columns and one of its shares as `score`, NaN where it has none."""
    return cards.reindex(columns=[response]).set_axis(["score"], axis=1).reset_index()


@dataclass(frozen=True, slots=True)
class TableHardness:
    """`mean`: of the table's cards, `field`: of all cards of the contest's category. `hardness`: by how much a card
    was lower here than at the field's average table because of the table and its judges, None where there was no
    other table; `error` its standard error. `cards`, `boxes`: how many."""

    mean: float
    field: float
    hardness: float | None
    error: float | None
    boxes: int
    cards: int


@dataclass(frozen=True, slots=True)
class BoxWorth:
    """`mean` of the box's cards; `worth`: above or below what an average team's box would have had with the same
    judges at the same table; `error` its standard error, the judges' scatter included. `table`: of the first box where
    it stands for several."""

    team: str
    table: str
    mean: float
    worth: float
    error: float
    cards: int


class Hardness:
    """The model fitted to the cards of a season, a frame as `frame_of` makes it.

    Raises SeverityError (of `reports.rules.severity.model`) where the cards cannot tell its parts.
    """

    def __init__(self, cards: "DataFrame", response: str = WEIGHTED) -> None:
        from reports.rules.severity.model import SeverityError, fit, indistinct

        scores = scored(cards, response).dropna(ignore_index=True)
        self.response = response
        self.left_out = len(cards) - len(scores)
        if scores.empty:
            raise SeverityError("there are no cards", "no cards")
        pairs = {FIELD: CELL, TEAM_DAY: ["contest", "team"], ENTRY: BOX, TABLE: ["contest", "table"]}
        self.cards = scores.assign(**{name: _tuples(scores, columns) for name, columns in pairs.items()})
        cells = self.cards[FIELD].tolist()
        factors: dict[str, Sequence[Any]] = {
            name: self.cards[name].tolist() for name in (TEAM, TEAM_DAY, ENTRY, JUDGE, TABLE)
        }
        # One category: an entry is the team in the contest. One contest: that is the team. One table: that is the cell.
        while factors and (same := indistinct(factors, cells)):
            del factors[next(reversed(same))]
        if not factors:
            raise SeverityError("nothing in these cards can be told apart", "indistinct")
        self.fit: Fit = fit(self.cards["score"].tolist(), factors, fixed=cells)

    def tables(self) -> dict[TableKey, TableHardness]:
        """Every flight: the boxes of one category at one table."""
        by_flight, by_field = self.cards.groupby(FLIGHT), self.cards.groupby(CELL)
        card = 1 / by_flight["score"].transform("size")
        in_field = card * by_flight["box"].transform("nunique")  # each flight counts by its boxes
        own = self._weights(self.cards, FLIGHT, card)
        field = self._weights(self.cards, CELL, in_field / in_field.groupby(self.cards[FIELD]).transform("sum"))
        contrasts = [_less(weights, field[key[:2]]) for key, weights in own.items()]
        estimates = self.fit.contrasts(contrasts, variances_too=True)
        flights = (
            self.cards.assign(field=by_field["score"].transform("mean"), tables=by_field["table"].transform("nunique"))
            .groupby(FLIGHT, sort=False)
            .agg(
                mean=("score", "mean"),
                field=("field", "first"),
                tables=("tables", "first"),
                boxes=("box", "nunique"),
                cards=("score", "size"),
            )
        )
        return {
            flight.Index: TableHardness(
                mean=flight.mean,
                field=flight.field,
                hardness=None if flight.tables == 1 else -estimate,
                error=None if flight.tables == 1 else error,
                boxes=flight.boxes,
                cards=flight.cards,
            )
            for flight, (estimate, error) in zip(flights.itertuples(), estimates, strict=True)
        }

    def boxes(self) -> dict[BoxKey, BoxWorth]:
        """Every box that has cards."""
        return self._worths(self.cards, BOX)

    def days(self, category: str = "") -> dict[tuple[str, str], BoxWorth]:
        """(team, contest) → the mean worth of the team's boxes that day: all of them, or of one category."""
        cards = self.cards[self.cards["category"] == category] if category else self.cards
        return self._worths(cards, ["team", "contest"])

    def _worths(self, cards: "DataFrame", by: list[str]) -> dict[Any, BoxWorth]:
        """For groups of boxes: the mean of their means, beside what an average team's would have been there."""
        card = 1 / (cards.groupby(BOX)["score"].transform("size") * cards.groupby(by)[ENTRY].transform("nunique"))
        bases = self.fit.contrasts(list(self._weights(cards, by, card, FIELD).values()), variances_too=True)
        groups = (
            cards.assign(mean=cards["score"] * card, scatter=self.fit.residual * card**2)
            .groupby(by, sort=False)
            .agg(
                team=("team", "first"),
                table=("table", "first"),
                mean=("mean", "sum"),
                scatter=("scatter", "sum"),
                cards=("score", "size"),
            )
        )
        return {
            group.Index: BoxWorth(
                group.team, group.table, group.mean, group.mean - base, sqrt(error**2 + group.scatter), group.cards
            )
            for group, (base, error) in zip(groups.itertuples(), bases, strict=True)
        }

    def _weights(self, cards: "DataFrame", by: list[str], weight: "Series", *more: str) -> dict[Any, Weights]:
        """Group of cards → what the tables and judges of its cards add, as weights of the fit's unknowns.

        `weight`: how much a card counts in its group; `more`: what is added besides.
        """
        parts = [*more, *(part for part in (TABLE, JUDGE) if part in self.fit.factors)]
        weights: dict[Any, Weights] = {}
        for group, share, *levels in zip(_tuples(cards, by), weight, *(cards[part] for part in parts), strict=True):
            own = weights.setdefault(group, {})
            for part, level in zip(parts, levels, strict=True):
                unknown = None if part == FIELD else part, level
                own[unknown] = own.get(unknown, 0.0) + share
        return weights

    def judges(self) -> dict[str, tuple[float, float, int]]:
        """Judge → (severity: what the judge takes off a card, its standard error, number of cards)."""
        number = self.cards["judge"].value_counts().to_dict()
        effects = self.fit.effects.get(JUDGE, {})
        return {judge: (-estimate, error, number[judge]) for judge, (estimate, error) in effects.items()}

    def variance(self, factor: str) -> float:
        """The factor's variance, nought where the cards could not tell it from another part of the model."""
        return self.fit.variances.get(factor, 0.0)

    @property
    def tables_alike(self) -> bool:
        """Tables did not differ measurably: neither tables nor judges have a variance."""
        return self.variance(TABLE) == 0 and self.variance(JUDGE) == 0


def _tuples(cards: "DataFrame", columns: list[str]) -> list[tuple[Any, ...]]:
    return list(cards[columns].itertuples(index=False, name=None))


def _less(one: Weights, other: Weights) -> Weights:
    return {unknown: one.get(unknown, 0.0) - other.get(unknown, 0.0) for unknown in {**one, **other}}
