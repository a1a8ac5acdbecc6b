"""Is a cook getting better? The slope of adjusted points over a season, shrunk by what slopes are like among all cooks.

For cook i at contests j, with x counted in contests and s the standard error of the points:

    points_ij = level_i + slope_i (x_ij − x̄_i) + error,  error ~ N(0, σ² + s_ij²),  slope_i ~ N(0, τ²)

σ is the swing of a cook from contest to contest beyond s, τ the spread of slopes among cooks; both are shared. Given
them, a cook's slope has the weighted least-squares estimate b with variance v, and the posterior N(b τ² ÷ (τ² + v),
τ² v ÷ (τ² + v)): few or scattered contests leave nearly nothing of b, which is the point. σ and τ are not fixed at
their best values but averaged over (a grid, uniform in either standard deviation), so that few cooks do not make for
bold claims. Sources: Efron and Morris (1975) for the shrinkage, Gelman (2006) for the uniform prior, both from memory.

There are no p-values: with three to fifteen contests a year none could be small (the smallest that Mann and Kendall's
test can give is .333 at three contests and .083 at four).

Give it points that are not shrunk themselves (the total less the table's hardness, against the contest's field):
predictions pulled toward the team's own mean would be shrunk twice.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from reports.rules.trendwords import FEWEST, Trend

STEPS = 40  # of the grid, for each of the two standard deviations

Floats = NDArray[np.float64]
Cook = TypeVar("Cook", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Result:
    """Adjusted points at one contest: ``when``, its place in the season (in contests); ``error``, their standard
    error, in points."""

    when: float
    points: float
    error: float = 0.0


def trends(results: Mapping[Cook, Sequence[Result]]) -> dict[Cook, Trend]:
    """Every cook's trend, seen beside all the others'.

    Missing data: a cook has the contests they have. Cooks with two contests help to say how much slopes differ and get
    no slope; from FEWEST contests on, at two different times or more, there is one. Raises ValueError for numbers that
    are not finite and for a negative standard error.

    Tested by simulation: a chance of 8 in 10 is right about eight times in ten, and mean ± 1.96 standard deviations
    cover about 95 % of the true slopes.
    """
    for cook, each in results.items():
        for result in each:
            if not np.isfinite([result.when, result.points, result.error]).all() or result.error < 0:
                raise ValueError(f"{cook}: {result} needs finite numbers and an error that is not negative")
    telling = [cook for cook, each in results.items() if len({result.when for result in each}) > 1]
    found = {cook: Trend(len(each)) for cook, each in results.items()}
    if not telling:
        return found
    grid = _Grid([results[cook] for cook in telling])
    for place, cook in enumerate(telling):
        if len(results[cook]) >= FEWEST:
            found[cook] = Trend(len(results[cook]), *grid.posterior(place))
    return found


class _Grid:
    """Posterior weights of (σ, τ) on a grid, and every cook's slope and its variance at each σ."""

    def __init__(self, cooks: Sequence[Sequence[Result]]) -> None:
        longest = max(map(len, cooks))
        when, points, variance = (np.zeros((len(cooks), longest)) for _ in range(3))
        self.there = np.zeros((len(cooks), longest))
        for row, each in enumerate(cooks):
            columns = slice(len(each))
            when[row, columns] = [result.when for result in each]
            points[row, columns] = [result.points for result in each]
            variance[row, columns] = [result.error**2 for result in each]
            self.there[row, columns] = 1.0
        self.when, self.points, self.variance = self._centred(when), self._centred(points), variance
        degrees = float(self.there.sum()) - len(cooks)
        scale = float(np.sqrt((self.points**2).sum() / degrees)) or 1.0
        reach = float(np.sqrt((self.when**2).sum() / degrees))
        middles = (np.arange(STEPS) + 0.5) / STEPS
        # No more than twice what all of the scatter about the cooks' own means would need.
        sigmas, taus = 2 * scale * middles, 2 * scale / reach * middles
        self.squares: Floats = taus**2
        self.slopes, self.variances = (np.zeros((STEPS, len(cooks))) for _ in range(2))
        logs = np.zeros((STEPS, STEPS))
        for row, sigma in enumerate(sigmas):
            logs[row] = self._likelihood(row, float(sigma))
        weights = np.exp(logs - logs.max())
        self.weights: Floats = weights / weights.sum()

    def _centred(self, values: Floats) -> Floats:
        means = (values * self.there).sum(axis=1, keepdims=True) / self.there.sum(axis=1, keepdims=True)
        found: Floats = (values - means) * self.there
        return found

    def _likelihood(self, row: int, sigma: float) -> Floats:
        """The log likelihood at this σ and every τ, levels integrated out; keeps slopes and variances."""
        weights = self.there / (sigma**2 + self.variance)
        total = weights.sum(axis=1)
        x = self.when - ((weights * self.when).sum(axis=1) / total)[:, None]
        y = self.points - ((weights * self.points).sum(axis=1) / total)[:, None]
        squares = (weights * x * x).sum(axis=1)
        slopes = (weights * x * y).sum(axis=1) / squares
        self.slopes[row], self.variances[row] = slopes, 1 / squares
        left = (weights * (y - slopes[:, None] * x) ** 2).sum()
        logs = (np.log(sigma**2 + self.variance) * self.there).sum() + np.log(total).sum() + np.log(squares).sum()
        spread = self.squares[:, None] + 1 / squares
        found: Floats = -0.5 * (logs + left + (np.log(spread) + slopes**2 / spread).sum(axis=1))
        return found

    def posterior(self, cook: int) -> tuple[float, float, float]:
        """Mean and standard deviation of the cook's slope, and the chance that it is above nought."""
        slopes, variances = self.slopes[:, cook][:, None], self.variances[:, cook][:, None]
        kept = self.squares / (self.squares + variances)
        means, spreads = slopes * kept, variances * kept
        mean = float((self.weights * means).sum())
        variance = float((self.weights * (spreads + means**2)).sum()) - mean**2
        chance = float((self.weights * ndtr(means / np.sqrt(spreads))).sum())
        return mean, variance**0.5, chance
