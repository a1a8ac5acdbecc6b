"""Invented marks with the structure of real ones: pure, and the same for the same seed.

A mark is the sum, on the scale of the rule set, of what the box deserves and of what the judge adds to it:

    team + its trend + its luck on the day + the box
    + the judge's severity + the table's on the day + the card + the single mark

rounded to the step of the scale and kept inside it. The card's and the mark's part follow Student's t with four
degrees of freedom: most judges agree within a mark, and now and then one is far off, as on real score sheets. The
spreads are assumptions of ours that give reliabilities as one hopes for, not estimates from any contest.
"""

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import NamedTuple

SPREAD = {  # standard deviations, in marks of a nine-point scale
    "team": 0.45,
    "trend": 0.7,  # from the first contest of the season to the last
    "team on the day": 0.25,
    "box": 0.35,
    "judge": 0.40,
    "table on the day": 0.35,
    "card": 0.45,
    "mark": 0.50,
}
CENTRE = {"appearance": 7.0, "taste": 6.6, "tenderness": 6.5}
DEGREES_OF_FREEDOM = 4


class Scale(NamedTuple):
    lowest: Decimal
    highest: Decimal
    step: Decimal


@dataclass(frozen=True)
class Simulation:
    """`trends`: marks a team gains from the first contest of the season to the last, where that is not left to chance:
    cooks differ in this as in all else."""

    seed: str
    trends: Mapping[str, float]
    contests: int

    def _draw(self, *what: object) -> random.Random:
        return random.Random(":".join([self.seed, *map(str, what)]))  # noqa: S311  (invented marks, no secret)

    def _normal(self, kind: str, *what: object) -> float:
        return self._draw(kind, *what).gauss(0, SPREAD[kind])

    def _heavy(self, kind: str, *what: object) -> float:
        """Student's t, scaled to the spread of `kind`: its variance is n / (n - 2) before scaling."""
        source = self._draw(kind, *what)
        freedom = DEGREES_OF_FREEDOM
        chi_square = source.gammavariate(freedom / 2, 2)
        variate = source.gauss(0, 1) / (chi_square / freedom) ** 0.5
        return float(variate * SPREAD[kind] * ((freedom - 2) / freedom) ** 0.5)

    def worth(self, team: str, contest: float, category: str) -> float:
        """What a box deserves above or below the middle of the field."""
        progress = contest / max(1, self.contests - 1)
        # Who has a trend starts in the middle of the field, so that the season shows the trend and not the team.
        level = 0.0 if team in self.trends else self._normal("team", team)
        return (
            level
            + self.gain(team) * (progress - 0.5)
            + self._normal("team on the day", team, contest)
            + self._normal("box", team, contest, category)
        )

    def gain(self, team: str) -> float:
        """What a team gains from the first contest of the season to the last."""
        return self.trends[team] if team in self.trends else self._normal("trend", team)

    def harshness(self, judge: str, table: int, contest: float) -> float:
        """What a judge at a table takes off (negative) or adds on one day."""
        return self._normal("judge", judge) + self._normal("table on the day", table, contest)

    def card(
        self,
        *,
        team: str,
        judge: str,
        table: int,
        contest: float,
        category: str,
        criteria: Sequence[tuple[str, Scale]],
    ) -> dict[str, Decimal]:
        """One judge's marks for one box, by criterion, each a step of its scale."""
        which = (team, judge, contest, category)
        common = (
            self.worth(team, contest, category) + self.harshness(judge, table, contest) + self._heavy("card", *which)
        )
        return {
            key: to_scale(CENTRE.get(key, 7.0) + common + self._heavy("mark", *which, key), scale)
            for key, scale in criteria
        }


def to_scale(value: float, scale: Scale) -> Decimal:
    """The nearest step inside the scale. `value` is on the nine-point scale; a ten-point one is a little wider."""
    stretched = Decimal(str(round(value, 6))) * scale.highest / 9
    steps = ((stretched - scale.lowest) / scale.step).to_integral_value(ROUND_HALF_EVEN)
    return min(scale.highest, max(scale.lowest, scale.lowest + steps * scale.step))


def tie(
    cards: Mapping[str, Mapping[str, Decimal]],
    *,
    by: str,
    weights: Mapping[str, Decimal],
    scale: Mapping[str, Scale],
) -> dict[str, dict[str, Decimal]]:
    """Cards, by seat, that add up to the same as `cards` (by seat, then criterion).

    `by` "lot": the very same marks, which only a lot can part. `by` "taste": on one card one mark of taste is traded
    for marks of appearance of the same weight; raises ValueError where no card leaves room for that.
    """
    copy = {seat: dict(marks) for seat, marks in cards.items()}
    if by == "lot":
        return copy
    trade = weights["taste"] / weights["appearance"]
    # The best card is never the one that is dropped as the lowest.
    by_worth = sorted(copy, key=lambda seat: sum(weights[key] * mark for key, mark in copy[seat].items()), reverse=True)
    for seat in by_worth[:-1]:
        marks = copy[seat]
        for sign in (1, -1):
            taste, appearance = marks["taste"] + sign, marks["appearance"] - sign * trade
            inside = scale["taste"].lowest <= taste <= scale["taste"].highest
            if inside and scale["appearance"].lowest <= appearance <= scale["appearance"].highest:
                copy[seat] = {**marks, "taste": taste, "appearance": appearance}
                return copy
    raise ValueError("no card leaves room for a trade of taste for appearance")
