"""Stretches of time, and which of them overlap."""

from __future__ import annotations

import itertools
from bisect import bisect_left
from collections.abc import Iterable

Pair = tuple[int, int]


class Spans:
    """Stretches from tick to tick, kept so that those over a place are found without looking at
    all."""

    def __init__(self, pairs: Iterable[Pair]) -> None:
        self.pairs = sorted(pairs)
        self._begins = [start for start, _ in self.pairs]
        self._reach = list(itertools.accumulate((stop for _, stop in self.pairs), max))

    def across(self, start: int, stop: int) -> list[Pair]:
        """Those that begin before `stop` and end after `start`, but for the stretch itself."""
        found = []
        for at in range(bisect_left(self._begins, stop) - 1, -1, -1):
            if self._reach[at] <= start:
                break
            if self.pairs[at][1] > start and self.pairs[at] != (start, stop):
                found.append(self.pairs[at])
        return found
