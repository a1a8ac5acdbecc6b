"""A season by the severity model: how hard each table was, and what each box was worth at an average one.

Scores are shares of the scale, nought to one, so that contests with different rule sets fit together. Everything
here is a difference from the field of one contest and category: how generous a whole field's judges were that day
cannot be told from how good its boxes were, except through the teams and judges that come again.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import sqrt
from statistics import fmean
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # imports slowly: only whoever fits waits for it
    from reports.rules.severity.model import Fit

WEIGHTED = "weighted"
#: Standard errors to either side of an estimate that make a 95 % interval: the normal distribution's 0.975 quantile.
Z95 = 1.959964
TEAM, TEAM_DAY, ENTRY, JUDGE, TABLE = "team", "team in contest", "entry", "judge", "table in contest"
FORMULA = f"contest × category + {TEAM} + {TEAM_DAY} + {ENTRY} + {JUDGE} + {TABLE}"

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
    """The model fitted to the cards of a season.

    Raises SeverityError (of `reports.rules.severity.model`) where the cards cannot tell its parts.
    """

    def __init__(self, rows: Iterable[CardRow], response: str = WEIGHTED) -> None:
        from reports.rules.severity.model import SeverityError, fit, indistinct

        every = list(rows)
        self.rows = [row for row in every if response in row.shares]
        self.response = response
        self.left_out = len(every) - len(self.rows)
        if not self.rows:
            raise SeverityError("there are no cards", "no cards")
        cells = [(row.contest, row.category) for row in self.rows]
        factors: dict[str, Sequence[Any]] = {
            TEAM: [row.team for row in self.rows],
            TEAM_DAY: [(row.contest, row.team) for row in self.rows],
            ENTRY: [(row.contest, row.category, row.box) for row in self.rows],
            JUDGE: [row.judge for row in self.rows],
            TABLE: [(row.contest, row.table) for row in self.rows],
        }
        # One category: an entry is the team in the contest. One contest: that is the team. One table: that is the cell.
        while factors and (same := indistinct(factors, cells)):
            del factors[next(reversed(same))]
        if not factors:
            raise SeverityError("nothing in these cards can be told apart", "indistinct")
        self.fit: Fit = fit([row.shares[response] for row in self.rows], factors, fixed=cells)

    def _difficulty(self, rows: Sequence[CardRow]) -> Weights:
        """What the table and the judges of these cards of one table add, as weights of the fit's unknowns."""
        weights: Weights = defaultdict(float)
        if TABLE in self.fit.factors:
            weights[TABLE, (rows[0].contest, rows[0].table)] += 1.0
        if JUDGE in self.fit.factors:
            for row in rows:
                weights[JUDGE, row.judge] += 1.0 / len(rows)
        return weights

    def tables(self) -> dict[TableKey, TableHardness]:
        """Every flight: the boxes of one category at one table."""
        flights: dict[TableKey, list[CardRow]] = defaultdict(list)
        for row in self.rows:
            flights[row.contest, row.category, row.table].append(row)
        boxes = {key: len({row.box for row in rows}) for key, rows in flights.items()}
        fields: dict[tuple[str, str], list[TableKey]] = defaultdict(list)
        for key in flights:
            fields[key[:2]].append(key)
        contrasts = []
        for key, rows in flights.items():
            weights = self._difficulty(rows)
            field = fields[key[:2]]
            total = sum(boxes[each] for each in field)
            for each in field:
                for unknown, weight in self._difficulty(flights[each]).items():
                    weights[unknown] = weights.get(unknown, 0.0) - weight * boxes[each] / total
            contrasts.append(weights)
        found: dict[TableKey, TableHardness] = {}
        for (key, rows), (estimate, error) in zip(
            flights.items(), self.fit.contrasts(contrasts, variances_too=True), strict=True
        ):
            field = fields[key[:2]]
            alone = len(field) == 1
            found[key] = TableHardness(
                mean=fmean(self._score(row) for row in rows),
                field=fmean(self._score(row) for each in field for row in flights[each]),
                hardness=None if alone else -estimate,
                error=None if alone else error,
                boxes=boxes[key],
                cards=len(rows),
            )
        return found

    def boxes(self) -> dict[BoxKey, BoxWorth]:
        """Every box that has cards."""
        return {
            key: BoxWorth(
                rows[0].team,
                rows[0].table,
                mean,
                mean - base,
                sqrt(error**2 + self.fit.residual / len(rows)),
                len(rows),
            )
            for key, rows, mean, (base, error) in self._against_average({key: [key] for key in self._by_box})
        }

    def days(self, category: str = "") -> dict[tuple[str, str], BoxWorth]:
        """(team, contest) → the mean worth of the team's boxes that day: all of them, or of one category."""
        wanted: dict[Any, list[BoxKey]] = defaultdict(list)
        for key, rows in self._by_box.items():
            if category in ("", key[1]):
                wanted[rows[0].team, key[0]].append(key)
        found = {}
        for key, rows, mean, (base, error) in self._against_average(wanted):
            boxes = [len(self._by_box[box]) for box in wanted[key]]
            scatter = self.fit.residual * sum(1 / cards for cards in boxes) / len(boxes) ** 2
            found[key] = BoxWorth(rows[0].team, rows[0].table, mean, mean - base, sqrt(error**2 + scatter), len(rows))
        return found

    def _against_average(
        self, groups: Mapping[Any, Sequence[BoxKey]]
    ) -> list[tuple[Any, list[CardRow], float, tuple[float, float]]]:
        """For groups of boxes: the mean of their means, and what an average team's would have been there."""
        contrasts = []
        for keys in groups.values():
            weights: Weights = defaultdict(float)
            for key in keys:
                weights[None, key[:2]] += 1 / len(keys)
                for unknown, weight in self._difficulty(self._by_box[key]).items():
                    weights[unknown] += weight / len(keys)
            contrasts.append(weights)
        found = []
        for (name, keys), estimate in zip(
            groups.items(), self.fit.contrasts(contrasts, variances_too=True), strict=True
        ):
            rows = [row for key in keys for row in self._by_box[key]]
            mean = fmean(fmean(self._score(row) for row in self._by_box[key]) for key in keys)
            found.append((name, rows, mean, estimate))
        return found

    @cached_property
    def _by_box(self) -> dict[BoxKey, list[CardRow]]:
        boxes: dict[BoxKey, list[CardRow]] = defaultdict(list)
        for row in self.rows:
            boxes[row.contest, row.category, row.box].append(row)
        return boxes

    def _score(self, row: CardRow) -> float:
        return row.shares[self.response]

    def judges(self) -> dict[str, tuple[float, float, int]]:
        """Judge → (severity: what the judge takes off a card, its standard error, number of cards)."""
        number: dict[str, int] = defaultdict(int)
        for row in self.rows:
            number[row.judge] += 1
        effects = self.fit.effects.get(JUDGE, {})
        return {judge: (-estimate, error, number[judge]) for judge, (estimate, error) in effects.items()}

    def variance(self, factor: str) -> float:
        """The factor's variance, nought where the cards could not tell it from another part of the model."""
        return self.fit.variances.get(factor, 0.0)

    @property
    def tables_alike(self) -> bool:
        """Tables did not differ measurably: neither tables nor judges have a variance."""
        return self.variance(TABLE) == 0 and self.variance(JUDGE) == 0
