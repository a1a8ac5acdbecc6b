"""What the mixed model needs of the observations, and the order in which its equations are eliminated.

Observations are reduced to counts and sums of levels once; nothing later is as long as they are. The plan is made
from the pattern of the counts alone, so it serves every set of variance ratios: see severity_blocks.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_IN_CORE = 12_000  # unknowns; the dense factor takes 1.2 GB there
MOST_PAIRS = 40_000_000  # products kept for the lead's elimination
WORTH_IT = 0.9  # a factor leaves the core only where that saves a tenth of the work


class TooLargeError(ValueError):
    """The equations do not fit the method; the message says what is too large."""


class Counts:
    """Sufficient statistics of a response and its factors: all that the model needs of the observations.

    ``codes``: for every factor the level of each observation, 0 … size − 1, every level occurring; the fixed cells
    last. ``sums`` are of the response less its fixed cell's mean (``means``).
    """

    def __init__(self, response: Floats, codes: Sequence[NDArray[np.int32]], sizes: Sequence[int]) -> None:
        self.n, self.sizes = len(response), list(sizes)
        self.starts = np.concatenate(([0], np.cumsum(self.sizes))).astype(np.int64)
        self.total = int(self.starts[-1])
        cells = codes[-1]
        self.means: Floats = np.bincount(cells, weights=response, minlength=sizes[-1]) / np.bincount(cells)
        centred = response - self.means[cells]
        self.squares = float(centred @ centred)
        self.sums: Floats = np.concatenate(
            [np.bincount(code, weights=centred, minlength=size) for code, size in zip(codes, sizes, strict=True)]
        )
        places = np.empty((self.n, len(codes)), dtype=np.int32)
        for column, code in enumerate(codes):
            places[:, column] = code + self.starts[column]
        rows = np.arange(0, places.size + 1, len(codes), dtype=np.int32)
        design = sparse.csr_array((np.ones(places.size), places.ravel(), rows), shape=(self.n, self.total))
        self.table = (design.T.tocsr() @ design).tocsr()
        self.table.sort_indices()
        self.counts: Floats = self.table.diagonal()

    def span(self, factor: int) -> slice:
        return slice(int(self.starts[factor]), int(self.starts[factor + 1]))


@dataclass(slots=True)
class Bucket:
    """Blocks of about the same size, padded to it: where their values stand in the store."""

    number: int
    size: int
    width: int  # core unknowns that a block meets
    own: slice  # number × size × size
    side: slice  # number × size × width
    rows: Ints  # number × size: unknown, the position after the last for padding
    core: Ints  # number × width: position in the core, 0 for padding (its values are nought)


class Plan:
    """The order of elimination for a pattern of counts; used again for every set of ratios."""

    def __init__(self, counts: Counts) -> None:
        self.counts = counts
        factors = len(counts.sizes)
        self.fixed = factors - 1
        self.lead = max(range(factors), key=lambda factor: counts.sizes[factor])
        rest = [factor for factor in range(factors) if factor != self.lead]
        lead_rows = counts.table[counts.span(self.lead), :].tocsr()
        self.lead_counts = counts.counts[counts.span(self.lead)]
        pairs = _pairs_number(lead_rows)
        dense = pairs > MOST_PAIRS
        blocked = [] if dense else self._blocked(rest)
        core = [factor for factor in rest if factor not in blocked]
        self._order(blocked, core)
        if self.core_size > MOST_IN_CORE:
            raise TooLargeError(
                f"{self.core_size} levels are crossed with each other; the method holds up to {MOST_IN_CORE}"
            )
        self.lead_table = lead_rows[:, self.rest].tocsr()
        self.lead_table.sort_indices()
        if dense:
            self._dense_pattern()
        else:
            self._pattern()

    def _blocked(self, rest: Sequence[int]) -> list[int]:
        """The factors of stage 2: each one that makes the whole elimination markedly cheaper."""
        counts, chosen = self.counts, list[int]()
        core = sum(counts.sizes[factor] for factor in rest)
        cost = float(core) ** 3
        for factor in sorted(rest, key=lambda factor: -counts.sizes[factor]):
            tried = [*chosen, factor]
            left = core - counts.sizes[factor]
            new = float((self._parts(tried)[1].astype(float) ** 3).sum()) + float(left) ** 3
            if new < WORTH_IT * cost:
                chosen, core, cost = tried, left, new
        return chosen

    def _parts(self, factors: Sequence[int]) -> tuple[Ints, Ints]:
        """The part that each level of the factors falls into (through the lead), and the sizes of the parts."""
        counts = self.counts
        chosen = np.concatenate([np.arange(counts.starts[f], counts.starts[f + 1]) for f in (*factors, self.lead)])
        _, labels = connected_components(counts.table[chosen][:, chosen], directed=False)
        own = labels[: len(chosen) - counts.sizes[self.lead]]
        _, own = np.unique(own, return_inverse=True)
        return own.astype(np.int64), np.bincount(own).astype(np.int64)

    def _order(self, blocked: Sequence[int], core: Sequence[int]) -> None:
        counts = self.counts
        parts, sizes = self._parts(blocked) if blocked else (np.zeros(0, np.int64), np.zeros(0, np.int64))
        order = np.argsort(parts, kind="stable")
        of_blocks = [np.arange(counts.starts[f], counts.starts[f + 1]) for f in sorted(blocked, key=blocked.index)]
        of_core = [np.arange(counts.starts[f], counts.starts[f + 1]) for f in core]
        unknowns = np.concatenate(of_blocks)[order] if of_blocks else np.zeros(0, np.int64)
        self.rest: Ints = np.concatenate([unknowns, *of_core]).astype(np.int64)
        self.block_of = parts[order]
        self.block_sizes = sizes
        firsts = np.concatenate(([0], np.cumsum(sizes))).astype(np.int64)
        self.within = np.arange(len(order)) - firsts[self.block_of] if len(order) else np.zeros(0, np.int64)
        self.blocks_size = len(order)
        self.core_size = len(self.rest) - len(order)

    def _pattern(self) -> None:
        """Slots: the pairs of unknowns that meet under a level of the lead, and where their values stand."""
        levels, first, second, products = _pairs(self.lead_table)
        width = len(self.rest)
        keys, slot = np.unique(first * width + second, return_inverse=True)
        del first, second
        self.products = sparse.csr_array(
            (products, (slot.astype(np.int32), levels.astype(np.int32))), shape=(len(keys), len(self.lead_counts))
        )
        del levels, slot, products
        self.first, self.second = keys // width, keys % width
        own = self.counts.table[self.rest][:, self.rest].tocoo()
        upper = own.row <= own.col
        at = np.searchsorted(keys, own.row[upper].astype(np.int64) * width + own.col[upper])
        self.slot_counts: Floats = np.zeros(len(keys))
        self.slot_counts[at] = own.data[upper]
        self.on_diagonal: Ints = np.flatnonzero(self.first == self.second)
        self._place()

    def _place(self) -> None:
        """Give every slot its place in the store: the blocks' own values, their sides, the core."""
        split, core = self.blocks_size, self.core_size
        in_block = self.second < split
        in_core = self.first >= split
        aside = ~in_block & ~in_core
        meets = self.block_of[self.first[aside]] * core + (self.second[aside] - split)
        meets, column = np.unique(meets, return_inverse=True)
        blocks = len(self.block_sizes)
        widths = np.bincount(meets // core if core else meets, minlength=blocks).astype(np.int64)
        meets_starts = np.concatenate(([0], np.cumsum(widths))).astype(np.int64)
        starts = np.concatenate(([0], np.cumsum(self.block_sizes))).astype(np.int64)
        shape = [(_up(int(size)), _up(int(width))) for size, width in zip(self.block_sizes, widths, strict=True)]
        own_at, side_at = np.zeros(blocks, np.int64), np.zeros(blocks, np.int64)
        own_size, side_size = np.zeros(blocks, np.int64), np.zeros(blocks, np.int64)
        self.buckets: list[Bucket] = []
        padding: list[Ints] = []
        end = 0
        for size, width in sorted(set(shape)):
            members = np.array([block for block, each in enumerate(shape) if each == (size, width)])
            number = len(members)
            own_at[members] = end + np.arange(number) * size * size
            side_at[members] = end + number * size * size + np.arange(number) * size * width
            own_size[members], side_size[members] = size, width
            rows = starts[members][:, None] + np.arange(size)
            spare = np.arange(size) >= self.block_sizes[members][:, None]
            rows[spare] = split
            padding.append((own_at[members][:, None] + np.arange(size) * (size + 1))[spare])
            at = meets_starts[members][:, None] + np.arange(width)
            none = np.arange(width) >= widths[members][:, None]
            at[none] = 0
            met = np.where(none, 0, meets[at] % core) if width else np.zeros((number, 0), np.int64)
            middle = end + number * size * size
            self.buckets.append(
                Bucket(
                    number, size, width, slice(end, middle), slice(middle, middle + number * size * width), rows, met
                )
            )
            end = middle + number * size * width
        self.padding: Ints = np.concatenate(padding) if padding else np.zeros(0, np.int64)
        self.core_at, self.store_size = end, end + core * core
        self.place: Ints = np.empty(len(self.first), np.int64)
        block = self.block_of[self.first[in_block]]
        row, other = self.within[self.first[in_block]], self.within[self.second[in_block]]
        self.place[in_block] = own_at[block] + row * own_size[block] + other
        self.in_block = np.flatnonzero(in_block)
        self.mirrored: Ints = own_at[block] + other * own_size[block] + row
        block = self.block_of[self.first[aside]]
        column = column - meets_starts[block]
        self.place[aside] = side_at[block] + self.within[self.first[aside]] * side_size[block] + column
        self.place[in_core] = end + (self.first[in_core] - split) * core + self.second[in_core] - split

    def _dense_pattern(self) -> None:
        """Where nearly all meets all, the lead is eliminated by a dense product."""
        self.products = None
        self.buckets = []
        self.core_counts = self.counts.table[self.rest][:, self.rest].toarray()
        self.lead_dense = self.lead_table.toarray()


def _up(size: int) -> int:
    """The size rounded up by at most a quarter, so that few different ones remain."""
    step = 1 << max(0, (size - 1).bit_length() - 3) if size > 0 else 1
    return -(-size // step) * step


def _pairs_number(lead_rows: sparse.csr_array) -> int:
    degrees = np.diff(lead_rows.indptr).astype(np.int64) - 1
    return int((degrees * (degrees + 1) // 2).sum())


def _pairs(table: sparse.csr_array) -> tuple[Ints, Ints, Ints, Floats]:
    """Every pair of unknowns (first ≤ second) of every row: row, first, second, the product of their counts."""
    starts, degrees = table.indptr[:-1], np.diff(table.indptr)
    levels, firsts, seconds, products = [], [], [], []
    for degree in np.unique(degrees):
        rows = np.flatnonzero(degrees == degree)
        at = starts[rows][:, None] + np.arange(degree)
        one, two = np.triu_indices(degree)
        columns, values = table.indices[at].astype(np.int64), table.data[at]
        levels.append(np.repeat(rows, len(one)))
        firsts.append(columns[:, one].ravel())
        seconds.append(columns[:, two].ravel())
        products.append((values[:, one] * values[:, two]).ravel())
    return np.concatenate(levels), np.concatenate(firsts), np.concatenate(seconds), np.concatenate(products)
