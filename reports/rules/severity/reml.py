"""Residual maximum likelihood for the variance ratios of a crossed model: criterion, gradient, Newton steps."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, log, pi

import numpy as np
from numpy.typing import NDArray

from reports.rules.severity.blocks import Factored
from reports.rules.severity.plan import Counts, Floats, Plan

START = 0.2  # every ratio, before the first step;
OTHER_START = 20.0  # of few rows, whose criterion may have several minima, also from here
FEW = 1000  # rows
TINY = 1e-7  # ratio × mean cell count at which a factor at nought is asked for its slope
GREATEST = 1e9  # a ratio beyond has no residual left to be a ratio to,
NO_RESIDUAL = 1e-10  # nor has this share of all squares
MOST_STEPS = 200
MOST_RELEASES = 3  # of a factor from nought, so that none comes and goes for ever
LEAPS = 2  # steps by the fixed-point rule before Newton's
SMALL = 1e-13  # Newton's step promises less than this (in the criterion): there,
STILL = 1e-9  # and the fixed point's less than this: the search ends
LAST = 1e-10  # a step of Newton's that promises less leaves less than a hundredth of it: it is the last
SECANT = (1e-8, 0.01)  # steps that promise so much tell how the slope changes here: rounding less, far points more


class NoSolutionError(ValueError):
    """The criterion has no minimum that the data determine; the message says why."""


@dataclass(slots=True)
class Point:
    """The criterion at given ratios, and what else was found there.

    ``criterion`` is −2 log L of the residual likelihood with the residual variance profiled out; ``quadratic`` is
    yᵀPy, so the residual variance is quadratic ÷ (observations − fixed cells); ``solution`` in the response's unit.
    """

    ratios: Floats
    factored: Factored
    criterion: float
    quadratic: float
    solution: Floats


class Search:
    """Minimises the criterion over ratios ≥ 0. ``free``: which ratios are estimated, the others stay as given."""

    def __init__(self, counts: Counts, ratios: Floats, free: NDArray[np.bool_]) -> None:
        self.counts, self.plan = counts, Plan(counts)
        self.factors = len(counts.sizes) - 1
        self.freedom = counts.n - counts.sizes[-1]
        self.free = free
        self.given = ratios
        self.tiny = TINY * np.array(counts.sizes[:-1]) / counts.n

    def at(self, ratios: Floats) -> Point:
        """The criterion at these ratios.

        (n − p)(1 + log(2π yᵀPy ÷ (n − p))) + log |V| + log |XᵀV⁻¹X|, V in units of the residual variance; the last
        two together are log |C|. Source: Bates, Mächler, Bolker and Walker (2015), Fitting Linear Mixed-Effects
        Models Using lme4, equation 42.
        """
        factored = Factored(self.plan, np.sqrt(ratios))
        if factored.log_determinant == inf:
            return Point(ratios, factored, inf, inf, np.zeros(self.counts.total))
        right = factored.scale * self.counts.sums
        solution = factored.solve(right[:, None])[:, 0]
        quadratic = self.counts.squares - float(right @ solution)
        if quadratic <= 1e-12 * self.counts.squares:
            return Point(ratios, factored, inf, quadratic, solution)
        spread = self.freedom * (1 + log(2 * pi * quadratic / self.freedom))
        return Point(ratios, factored, spread + factored.log_determinant, quadratic, factored.scale * solution)

    def residual_sums(self, point: Point) -> Floats:
        """ZᵀPy by unknown: for every level the sum of what the solution leaves."""
        found: Floats = self.counts.sums - self.counts.table @ point.solution
        return found

    def slope(self, point: Point) -> tuple[Floats, Floats]:
        """The exact gradient by ratio, and the ratios that a fixed-point step would set.

        Gradient: tr(P V_k) − (n − p) yᵀP V_k Py ÷ yᵀPy with tr(P V_k) = (levels − tr C⁻¹_kk) ÷ ratio. Fixed point:
        the ratio times the second term over the first (Harville 1977, from memory).
        """
        ratios, counts = point.ratios, self.counts
        inverse, left = point.factored.inverse_diagonal(), self.residual_sums(point)
        traces, parts = np.zeros(self.factors), np.zeros(self.factors)
        for factor in range(self.factors):
            span = counts.span(factor)
            if ratios[factor] > 0:
                traces[factor] = (counts.sizes[factor] - inverse[span].sum()) / ratios[factor]
            parts[factor] = left[span] @ left[span]
        parts *= self.freedom / point.quadratic
        with np.errstate(divide="ignore", invalid="ignore"):
            leap = np.where(traces > 0, ratios * parts / traces, ratios)
        return traces - parts, leap

    def information(self, point: Point) -> Floats:
        """Average information by ratio, the residual variance profiled out.

        The mean of the observed and the expected second derivatives, up to terms of mean nought:
        (n − p) ÷ q (Q − d dᵀ ÷ q), with q = yᵀPy, d_k = yᵀP V_k Py, Q_ij = yᵀP V_i P V_j Py. Source: Gilmour,
        Thompson and Cullis (1995), Average information REML, from memory.
        """
        counts = self.counts
        left = self.residual_sums(point)
        working = np.zeros((counts.total, self.factors))
        for factor in range(self.factors):
            span = counts.span(factor)
            working[span, factor] = left[span]
        right = counts.table @ working
        direct = working.T @ right
        both: Floats = direct - point.factored.products(point.factored.scale[:, None] * right)
        d = np.einsum("ij,ij->j", working, working)
        found: Floats = self.freedom / point.quadratic * (both - np.outer(d, d) / point.quadratic)
        return found

    def moves(self, point: Point) -> Floats:
        """How far the solution moves with the estimated ratios: unknowns × directions, each one standard deviation.

        ∂u ÷ ∂ratio_k = Z_kᵀPy in the factor's own place, less the solution for the response Z_k Z_kᵀPy. The ratios'
        covariance is twice the inverse of the second derivatives of the criterion. Ratios at nought stay there, and
        none is taken to vary by more than itself.
        """
        moving = np.flatnonzero(self.free & (point.ratios > 0))
        if not len(moving):
            return np.zeros((self.counts.total, 0))
        left, working = self.residual_sums(point), np.zeros((self.counts.total, len(moving)))
        for column, factor in enumerate(moving):
            span = self.counts.span(int(factor))
            working[span, column] = left[span]
        scale = point.factored.scale[:, None]
        change = working - scale * point.factored.solve(scale * (self.counts.table @ working))
        roots = _inverse_root(self.information(point)[np.ix_(moving, moving)] / 2)
        deviations = np.sqrt(np.einsum("ij,ij->i", roots, roots))
        found: Floats = change @ (roots * np.minimum(1.0, point.ratios[moving] / deviations)[:, None])
        return found

    def run(self) -> Point:
        """The minimum; of few rows the lower of those found from two starts.

        Raises NoSolutionError where the residual variance vanishes or no step helps any more.
        """
        found: list[Point] = []
        starts = (START, OTHER_START) if self.counts.n <= FEW and self.free.any() else (START,)
        for start in starts:
            try:
                found.append(self._run(np.where(self.free, start, self.given)))
            except NoSolutionError:
                if start == starts[-1] and not found:
                    raise
        return min(found, key=lambda point: point.criterion)

    def _run(self, start: Floats) -> Point:
        point = self.at(start)
        if point.criterion == inf:
            raise NoSolutionError("the factors explain every score exactly; nothing is left to judge their spread by")
        released = np.zeros(self.factors, dtype=int)
        before: tuple[Point, Floats] | None = None
        for step in range(MOST_STEPS):
            if not self.free.any():
                return point
            gradient, leap = self.slope(point)
            moving = self.free & (point.ratios > 0)
            goal, promise = self._leap(point, gradient, leap, moving)
            if step >= LEAPS:
                newton, newtons = self._newton(point, gradient, moving, before)
                done = newtons < SMALL and promise < STILL
                last = newtons < LAST and promise < STILL and not (self.free & ~moving).any()
                # Where the data hardly tell two factors apart Newton stands still and the slope does not.
                if newtons * 1000 > promise:
                    goal, promise = newton, newtons
                better = None if done else self._toward(point, goal, promise)
                if better is not None and last:
                    return better
                if SECANT[0] < promise < SECANT[1]:
                    before = point, gradient
                if better is None:
                    better = self._release(point, released)
                    if better is None:
                        break
                    released += better.ratios != point.ratios
            else:
                better = self._toward(point, goal, 0.0)
            point = better or point
            if point.ratios.max(initial=0.0) > GREATEST or point.quadratic < NO_RESIDUAL * self.counts.squares:
                raise NoSolutionError("no residual is left; the factors explain the scores (nearly) exactly")
        else:
            raise NoSolutionError(f"no minimum found in {MOST_STEPS} steps; leave a factor out")
        return point

    def _leap(self, point: Point, gradient: Floats, leap: Floats, moving: NDArray[np.bool_]) -> tuple[Floats, float]:
        """Where the fixed-point rule leads, and the fall it promises."""
        goal = np.where(moving, np.clip(leap, point.ratios / 10, point.ratios * 100), point.ratios)
        goal[goal < self.tiny] = 0.0
        return goal, -float(gradient @ (goal - point.ratios))

    def _newton(
        self, point: Point, gradient: Floats, moving: NDArray[np.bool_], before: tuple[Point, Floats] | None
    ) -> tuple[Floats, float]:
        """Where Newton's step leads, what it would make negative at nought, and the fall it promises.

        ``before``: an earlier point and its gradient, by which the information is put right.
        """
        information = self.information(point)
        if before is not None:
            information = _secant(information, point.ratios - before[0].ratios, gradient - before[1])
        goal, inside = point.ratios.copy(), moving.copy()
        while inside.any():
            pinned = moving & ~inside
            at = np.flatnonzero(inside)
            known = gradient[at] - information[np.ix_(at, np.flatnonzero(pinned))] @ point.ratios[pinned]
            goal = np.where(pinned, 0.0, point.ratios)
            goal[at] -= _solve(information[np.ix_(at, at)], known)
            negative = inside & (goal < 0)
            if not negative.any():
                break
            inside &= ~negative
        goal = np.where(moving & ~inside, 0.0, np.minimum(goal, 10 * point.ratios))
        goal[goal < self.tiny] = 0.0
        change = goal - point.ratios
        return goal, -float(gradient @ change)

    def _toward(self, point: Point, goal: Floats, promise: float) -> Point | None:
        """The first point on the way to the goal, halving, that falls by some of the promise; None where none does."""
        change = goal - point.ratios
        slack = 1e-13 * (abs(point.criterion) + self.counts.n)
        share = 1.0
        for _ in range(12):
            tried = self.at(point.ratios + share * change)
            if tried.criterion <= point.criterion - 1e-4 * share * promise + slack:
                return tried
            share /= 2 if share > 0.2 else 4
        return None

    def _release(self, point: Point, released: NDArray[np.int_]) -> Point | None:
        """A better point with a factor off its boundary, where the slope there points inward; None where all stay."""
        held = self.free & (point.ratios == 0) & (released < MOST_RELEASES)
        if not held.any():
            return None
        ratios = np.where(held, self.tiny, point.ratios)
        gradient, _ = self.slope(self.at(ratios))
        inward = held & (gradient < 0)
        while inward.any():
            for share in (1e5, 1e3, 10.0):
                tried = self.at(np.where(inward, np.minimum(self.tiny * share, START), point.ratios))
                if tried.criterion < point.criterion:
                    return tried
            steepest = int(np.argmin(np.where(inward, gradient, 0)))
            if inward.sum() == 1:
                break
            inward = np.arange(self.factors) == steepest
        return None


def _secant(matrix: Floats, step: Floats, change: Floats) -> Floats:
    """Second derivatives that give the change of the gradient over the step, and differ little from the matrix.

    Average information is not the second derivative itself where the model fits badly, and Newton's steps by it would
    gain only a fixed factor each. Source: Broyden, Fletcher, Goldfarb and Shanno (1970), from memory.
    """
    along = matrix @ step
    expected, seen = float(step @ along), float(step @ change)
    if not 0 < expected / 4 < seen < 4 * expected:  # too far away to say something about here
        return matrix
    found: Floats = matrix - np.outer(along, along) / expected + np.outer(change, change) / seen
    return found


def _solve(matrix: Floats, right: Floats) -> Floats:
    """The solution of a positive semidefinite system; directions without information are left alone."""
    values, vectors = np.linalg.eigh(_balanced(matrix, scale := _root_diagonal(matrix)))
    kept = values > 1e-10 * max(values[-1], 1e-300)
    turned = vectors.T @ (right / scale)
    turned[kept] /= values[kept]
    turned[~kept] = 0
    found: Floats = (vectors @ turned) / scale
    return found


def _inverse_root(matrix: Floats) -> Floats:
    """R with R Rᵀ the inverse of a positive semidefinite matrix; directions without information count as unbounded."""
    values, vectors = np.linalg.eigh(_balanced(matrix, scale := _root_diagonal(matrix)))
    found: Floats = vectors / np.sqrt(np.maximum(values, 1e-10)) / scale[:, None]
    return found


def _root_diagonal(matrix: Floats) -> Floats:
    diagonal = matrix.diagonal()
    found: Floats = np.sqrt(np.where(diagonal > 0, diagonal, 1.0))
    return found


def _balanced(matrix: Floats, scale: Floats) -> Floats:
    found: Floats = matrix / np.outer(scale, scale)
    return found


def ratios_of(names: Sequence[str], given: dict[str, float]) -> tuple[Floats, NDArray[np.bool_]]:
    """The ratios as an array, nought where not given, and which are free."""
    return (
        np.array([float(given.get(name, 0.0)) for name in names]),
        np.array([name not in given for name in names], dtype=bool),
    )
