"""How sure a result is: the chance that a place would hold with other judges of the same kind.

What each box is worth is drawn from the fit's joint posterior; then the contest is judged again: new judges, new
tables and new scatter of the fitted sizes, as many cards a box as there were, the rule set's drop. The variances are
taken as estimated. Marks are not rounded, so ties are rarer than on paper; statistical drops (Grubbs, distance from
the median) are left out of the repetition.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reports.rules.severity.hardness import ENTRY, JUDGE, TABLE, TEAM, TEAM_DAY, CardRow, Hardness

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

AT_ONCE = 500  # repetitions held at a time


@dataclass(frozen=True, slots=True)
class Announced:
    """A ranked box as announced: its place and total; `cards` are its own, none where a ruling made its total."""

    box: str
    team: str
    table: str
    place: int
    total: float
    cards: Sequence[CardRow]


@dataclass(frozen=True, slots=True)
class Rules:
    """How cards become a total: a card is ``lowest + span × share``; `lows`/`highs` cards are dropped at the ends of a
    box with at least `per_entry` cards (of any box where `drop_when_short`); the rest is summed up to `full` cards,
    or averaged."""

    lowest: float
    span: float
    per_entry: int
    lows: int
    highs: int
    drop_when_short: bool
    full: int
    scaled: bool
    mean: bool


@dataclass(frozen=True, slots=True)
class Hold:
    """`chance` that the announced place would come again; `low` to `high`: places between which 9 in 10 would fall."""

    place: int
    chance: float
    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Field:
    """One category of a contest as announced."""

    category: str
    rules: Rules
    boxes: Sequence[Announced]


class Rejudged:
    """A contest judged again many times: totals by category, repetitions × boxes."""

    def __init__(self, hardness: Hardness, fields: Sequence[Field], *, repetitions: int, seed: int) -> None:
        import numpy as np

        self.fields = list(fields)
        self.totals: dict[str, Floats] = {field.category: np.empty((repetitions, len(field.boxes))) for field in fields}
        rng = np.random.default_rng(seed)
        boxes = [(field, place, box) for field in self.fields for place, box in enumerate(field.boxes)]
        judged = [each for each in boxes if each[2].cards]
        unknowns, weights = _unknowns(hardness, [box for _, _, box in judged])
        panels = _panels(box for _, _, box in judged)
        for field, place, box in boxes:
            self.totals[field.category][:, place] = box.total
        for start in range(0, repetitions, AT_ONCE):
            number = min(AT_ONCE, repetitions - start)
            worth = hardness.fit.draws(unknowns, number, rng) @ weights.T
            base = rng.standard_normal((number, panels.tables)) * hardness.variance(TABLE) ** 0.5
            judge = rng.standard_normal((number, panels.seats)) * hardness.variance(JUDGE) ** 0.5
            for column, (field, place, box) in enumerate(judged):
                seats = panels.of(box)
                cards = worth[:, [column]] + base[:, [panels.table(box)]] + judge[:, seats]
                cards = cards + rng.standard_normal(cards.shape) * hardness.fit.residual**0.5
                self.totals[field.category][start : start + number, place] = _total(cards, field.rules)

    def holds(self, category: str) -> dict[str, Hold]:
        """Box → how its announced place would fare."""
        field = next(each for each in self.fields if each.category == category)
        return _holds(self.totals[category], {box.box: box.place for box in field.boxes})

    def overall(self, counting: Sequence[str], announced: Mapping[str, int]) -> dict[str, Hold]:
        """Team → how its announced place would fare by the sum over the `counting` categories."""
        import numpy as np

        teams = list(announced)
        repetitions = len(next(iter(self.totals.values())))
        sums = np.zeros((repetitions, len(teams)))
        column = {team: place for place, team in enumerate(teams)}
        for field in self.fields:
            if field.category in counting:
                for place, box in enumerate(field.boxes):
                    if box.team in column:
                        sums[:, column[box.team]] += self.totals[field.category][:, place]
        return _holds(sums, dict(announced))


def _holds(totals: "Floats", places: Mapping[str, int]) -> dict[str, Hold]:
    import numpy as np

    found = {}
    # Totals that are equal but for the order of adding are a tie, not a lead.
    rounded = np.round(totals, 9)
    for column, (name, place) in enumerate(places.items()):
        ranks = 1 + (rounded > rounded[:, [column]]).sum(axis=1)
        low, high = np.quantile(ranks, [0.05, 0.95], method="inverted_cdf")
        found[name] = Hold(place, float((ranks == place).mean()), int(low), int(high))
    return found


def _unknowns(hardness: Hardness, boxes: Sequence[Announced]) -> tuple[list[tuple[str | None, Any]], "Floats"]:
    """The fit's unknowns that make up what these boxes are worth, and the sums as a matrix boxes × unknowns."""
    import numpy as np

    place: dict[tuple[str | None, Any], int] = {}
    parts = []
    for box in boxes:
        row = box.cards[0]
        levels = {TEAM: row.team, TEAM_DAY: (row.contest, row.team), ENTRY: (row.contest, row.category, row.box)}
        own: list[tuple[str | None, Any]] = [(None, (row.contest, row.category))]
        own += [(factor, level) for factor, level in levels.items() if factor in hardness.fit.factors]
        parts.append([place.setdefault(unknown, len(place)) for unknown in own])
    weights = np.zeros((len(boxes), len(place)))
    for number, own_places in enumerate(parts):
        weights[number, own_places] = 1.0
    return list(place), weights


@dataclass(frozen=True, slots=True)
class _Panels:
    """New judges take the same seats: whoever sits there marks every box of the table, all day."""

    table_places: Mapping[str, int]
    seat_places: Mapping[tuple[str, str], int]

    @property
    def tables(self) -> int:
        return len(self.table_places)

    @property
    def seats(self) -> int:
        return len(self.seat_places)

    def table(self, box: Announced) -> int:
        return self.table_places[box.table]

    def of(self, box: Announced) -> list[int]:
        return [self.seat_places[card.table, card.seat] for card in box.cards]


def _panels(boxes: Any) -> _Panels:
    tables: dict[str, int] = {}
    seats: dict[tuple[str, str], int] = {}
    for box in boxes:
        tables.setdefault(box.table, len(tables))
        for card in box.cards:
            seats.setdefault((card.table, card.seat), len(seats))
    return _Panels(tables, seats)


def _total(cards: "Floats", rules: Rules) -> "Floats":
    """Totals of boxes with the same number of cards: repetitions × cards → repetitions."""
    import numpy as np

    number = cards.shape[1]
    counted = np.sort(rules.lowest + rules.span * cards, axis=1)
    if (number >= rules.per_entry or rules.drop_when_short) and number > rules.lows + rules.highs:
        counted = counted[:, rules.lows : number - rules.highs]
    if rules.mean or (rules.scaled and counted.shape[1] != rules.full):
        mean: Floats = counted.mean(axis=1)
        return mean if rules.mean else mean * rules.full
    total: Floats = counted.sum(axis=1)
    return total
