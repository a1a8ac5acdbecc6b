"""A documented random generator that anyone can recompute with `sha256sum`.

Block i is SHA-256 of the seed, a colon and i in decimal (i = 0, 1, 2 …), read as eight 32-bit big-endian
words. `printf '%s:0' SEED | sha256sum` prints block 0. Library generators promise no stable stream from one
release or build to the next, and a draw must come out the same on any machine years later.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterable
from typing import TypeVar

T = TypeVar("T")

_WORDS = struct.Struct(">8I")
_RANGE = 1 << 32


class Generator:
    """Uniform integers from a seed; the same seed gives the same numbers everywhere."""

    __slots__ = ("_block", "_hash", "_limits", "_seed", "_words")

    def __init__(self, seed: bytes) -> None:
        self._seed = seed
        self._hash = hashlib.sha256(seed + b":")
        self._block = 0
        self._words: list[int] = []
        self._limits: dict[int, int] = {}

    def fork(self, label: str) -> Generator:
        """A generator of its own for one purpose: its seed is this seed, a slash and the label."""
        return Generator(self._seed + b"/" + label.encode())

    def word(self) -> int:
        """The next 32-bit word."""
        if not self._words:
            digest = self._hash.copy()
            digest.update(b"%d" % self._block)
            self._block += 1
            self._words = list(_WORDS.unpack(digest.digest()))
            self._words.reverse()
        return self._words.pop()

    def below(self, n: int) -> int:
        """A uniform integer in 0 … n − 1; words that would favour small remainders are passed over.

        Raises ValueError unless 1 <= n <= 2**32.
        """
        limit = self._limits.get(n)
        if limit is None:
            if not 1 <= n <= _RANGE:
                raise ValueError(f"a number below {n} cannot be drawn: give 1 to {_RANGE}")
            limit = self._limits[n] = _RANGE - _RANGE % n
        while True:
            word = self.word()
            if word < limit:
                return word % n

    def shuffle(self, items: list[T]) -> None:
        """Fisher–Yates from the top: i = n − 1 … 1 changes places with below(i + 1)."""
        for i in range(len(items) - 1, 0, -1):
            j = self.below(i + 1)
            items[i], items[j] = items[j], items[i]

    def shuffled(self, items: Iterable[T]) -> list[T]:
        """A shuffled copy."""
        copy = list(items)
        self.shuffle(copy)
        return copy
