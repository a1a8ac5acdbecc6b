"""The mixed model's equations, by blocks: factorisation, solutions and inverse elements.

With the unknowns in units of their standard deviations (as ratios to the residual's) the coefficient matrix is

    C = S N S + K,  N = [cell counts of every factor against every factor],

S holding each factor's root variance ratio (1 for the fixed cells) and K ones for random unknowns, noughts for fixed.
It is defined at a ratio of exactly nought. Three stages eliminate it:

1. *lead*: the factor with the most levels (entries of a season), whose own block is diagonal;
2. *blocks*: factors that fall into small parts once the lead is gone (what belongs to one contest);
3. *core*: the rest (teams and judges), one dense Cholesky factor.

Only the elements of the inverse on the pattern of stages 1 and 2 and in the core are ever formed. Source of the
recurrences: Takahashi, Fagan and Chen (1973), by way of Erisman and Tinney (1975), both from memory.
"""

from math import inf

import numpy as np
from scipy.linalg import lapack

from reports.rules.severity.plan import Bucket, Floats, Plan

CHUNK = 64  # blocks treated at once where a temporary of their size is made


class Factored:
    """The factorised coefficient matrix at given root ratios (one a factor, the fixed cells' left out).

    ``log_determinant`` is inf where it is not positive definite in floating point; nothing else may be asked then.
    """

    def __init__(self, plan: Plan, roots: Floats) -> None:
        self.plan, counts = plan, plan.counts
        self.scale: Floats = np.repeat(np.append(roots, 1.0), counts.sizes)
        self.prior: Floats = np.ones(counts.total)
        self.prior[counts.span(plan.fixed)] = 0.0
        lead = counts.span(plan.lead)
        self.lead_square = float(roots[plan.lead]) ** 2 if plan.lead != plan.fixed else 1.0
        diagonal = self.lead_square * plan.lead_counts + self.prior[lead]
        self.lead_inverse: Floats = 1.0 / diagonal
        self.rest_scale = self.scale[plan.rest]
        self.log_determinant = float(np.log(diagonal).sum())
        self.own: list[Floats] = []
        self.sides: list[Floats] = []
        core = self._dense_core() if plan.products is None else self._blocks()
        self.core: Floats = core
        if plan.core_size and self.log_determinant < inf:
            factor, failed = lapack.dpotrf(core.T, lower=1, overwrite_a=1)
            self.core = factor
            self.log_determinant += 2 * float(np.log(factor.diagonal()).sum()) if not failed else inf

    def _dense_core(self) -> Floats:
        plan = self.plan
        weighted = plan.lead_dense * np.sqrt(self.lead_square * self.lead_inverse)[:, None]
        core: Floats = plan.core_counts - weighted.T @ weighted
        core *= self.rest_scale[:, None]
        core *= self.rest_scale
        core[np.diag_indices_from(core)] += self.prior[plan.rest]
        return core

    def _blocks(self) -> Floats:
        plan = self.plan
        values = plan.slot_counts - self.lead_square * (plan.products @ self.lead_inverse)
        values *= self.rest_scale[plan.first]
        values *= self.rest_scale[plan.second]
        values[plan.on_diagonal] += self.prior[plan.rest[plan.first[plan.on_diagonal]]]
        store = np.zeros(plan.store_size)
        store[plan.place] = values
        store[plan.mirrored] = values[plan.in_block]
        store[plan.padding] = 1.0
        flat = store[plan.core_at :]
        for bucket in plan.buckets:
            own = store[bucket.own].reshape(bucket.number, bucket.size, bucket.size)
            side = store[bucket.side].reshape(bucket.number, bucket.size, bucket.width)
            sign, logs = np.linalg.slogdet(own)
            if not (sign > 0).all():
                self.log_determinant = inf
                break
            self.log_determinant += float(logs.sum())
            inverse = np.asarray(np.linalg.inv(own), dtype=np.float64)
            reach = np.asarray(inverse @ side, dtype=np.float64)
            self.own.append(inverse)
            self.sides.append(reach)
            for some in _chunks(bucket.number):
                at = bucket.core[some][:, :, None] * plan.core_size + bucket.core[some][:, None, :]
                np.subtract.at(flat, at.ravel(), (side[some].transpose(0, 2, 1) @ reach[some]).ravel())
        return flat.reshape(plan.core_size, plan.core_size)

    def half(self, right: Floats) -> tuple[Floats, Floats, Floats]:
        """Right-hand sides (unknowns × k, scaled) taken through the eliminations: lead, blocks, core."""
        plan = self.plan
        lead = right[plan.counts.span(plan.lead)]
        down = self.lead_inverse[:, None] * lead
        rest = right[plan.rest] - np.sqrt(self.lead_square) * self.rest_scale[:, None] * (plan.lead_table.T @ down)
        blocks, core = rest[: plan.blocks_size], rest[plan.blocks_size :].copy()
        for bucket, reach in zip(plan.buckets, self.sides, strict=True):
            taken = reach.transpose(0, 2, 1) @ self._gather(bucket, blocks)
            np.subtract.at(core, bucket.core.ravel(), taken.reshape(-1, right.shape[1]))
        return lead, blocks, core

    def products(self, right: Floats, other: Floats | None = None) -> Floats:
        """rightᵀ C⁻¹ right (k × k), or rightᵀ C⁻¹ other, without solving backwards."""
        one = self.half(right)
        two = one if other is None else self.half(other)
        found: Floats = one[0].T @ (self.lead_inverse[:, None] * two[0])
        for bucket, inverse in zip(self.plan.buckets, self.own, strict=True):
            left, wide = self._gather(bucket, one[1]), self._gather(bucket, two[1])
            found += np.einsum("nbi,nbj->ij", left, inverse @ wide, optimize=True)
        if self.plan.core_size:
            down = self._down(one[2])
            found += down.T @ (down if other is None else self._down(two[2]))
        return found

    def solve(self, right: Floats) -> Floats:
        """C⁻¹ right, for right-hand sides unknowns × k, scaled."""
        plan = self.plan
        _, blocks, core = self.half(right)
        found = np.empty_like(right)
        if plan.core_size:
            core = lapack.dpotrs(self.core, core, lower=1)[0]
        padded = np.zeros((plan.blocks_size + 1, right.shape[1]))
        for bucket, inverse, reach in zip(plan.buckets, self.own, self.sides, strict=True):
            padded[bucket.rows] = inverse @ self._gather(bucket, blocks) - reach @ core[bucket.core]
        rest = np.concatenate([padded[:-1], core])
        found[plan.rest] = rest
        lead = plan.counts.span(plan.lead)
        met = plan.lead_table @ (self.rest_scale[:, None] * rest)
        found[lead] = self.lead_inverse[:, None] * (right[lead] - np.sqrt(self.lead_square) * met)
        return found

    def inverse_diagonal(self) -> Floats:
        """The diagonal of C⁻¹, by unknown."""
        plan = self.plan
        found = np.empty(plan.counts.total)
        core = self._core_inverse()
        lead = plan.counts.span(plan.lead)
        if plan.products is None:
            found[plan.rest] = core.diagonal()
            wide = plan.lead_dense * self.rest_scale
            met = np.einsum("ij,ij->i", wide @ core, wide)
        else:
            store = np.empty(plan.store_size)
            store[plan.core_at :] = core.ravel()
            self._block_inverses(store, core)
            slots = store[plan.place]
            on = plan.on_diagonal
            found[plan.rest[plan.first[on]]] = slots[on]
            slots *= 2 * self.rest_scale[plan.first] * self.rest_scale[plan.second]
            slots[on] /= 2
            met = plan.products.T @ slots
        found[lead] = self.lead_inverse + self.lead_square * self.lead_inverse**2 * met
        return found

    def _core_inverse(self) -> Floats:
        if not self.plan.core_size:
            return np.zeros((0, 0))
        inverse, _ = lapack.dpotri(self.core, lower=1)  # noughts above the diagonal, as in the factor
        full: Floats = inverse + inverse.T
        full[np.diag_indices_from(full)] /= 2
        return full

    def _block_inverses(self, store: Floats, core: Floats) -> None:
        for bucket, inverse, reach in zip(self.plan.buckets, self.own, self.sides, strict=True):
            own = store[bucket.own].reshape(bucket.number, bucket.size, bucket.size)
            side = store[bucket.side].reshape(bucket.number, bucket.size, bucket.width)
            for some in _chunks(bucket.number):
                met = core[bucket.core[some][:, :, None], bucket.core[some][:, None, :]]
                across = reach[some] @ met
                side[some] = -across
                own[some] = inverse[some] + across @ reach[some].transpose(0, 2, 1)

    def _gather(self, bucket: Bucket, blocks: Floats) -> Floats:
        padded = np.concatenate([blocks, np.zeros((1, blocks.shape[1]))])
        return padded[bucket.rows]

    def _down(self, core: Floats) -> Floats:
        found: Floats = lapack.dtrtrs(self.core, core, lower=1)[0]
        return found


def _chunks(number: int) -> list[slice]:
    return [slice(start, start + CHUNK) for start in range(0, number, CHUNK)]
