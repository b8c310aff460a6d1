"""Dense charts in which neighbours share staves, and the second of them has passages of his own."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from charts.band import HORNS
from charts.composer import Planted
from charts.dense import DenseChart
from charts.vocabulary import Rate

TRAIT = "second player on a staff"
SECONDS = 0.5  # of the passages


class SharedChart(DenseChart):
    """Every two neighbours who can share a staff do. Where a passage is the second's and not the
    first's, the first plays a line of his own over it, or is in another passage."""

    def __init__(self, seed: int, deviations: bool, rate: Rate | None) -> None:
        super().__init__(seed, deviations, rate)
        self.kind = "shared"
        self.first_of: dict[str, str] = {}  # of each second player
        for one, two in pairwise(self.band):
            if one.sound == two.sound and one.family in HORNS and one.name not in self.first_of:
                self.first_of[two.name] = one.name

    def group(self) -> tuple[tuple[str, ...], bool]:
        """Two to four players without the first of any staff; or as in other charts, but never the
        two players of one staff alone."""
        if self.first_of and self.rng.random() < SECONDS:
            firsts = set(self.first_of.values())
            able = [i.name for i in self.band if i.family in HORNS and i.name not in firsts]
            chosen = {self.rng.choice(list(self.first_of)), *self.rng.sample(able, 3)}
            return tuple(i.name for i in self.band if i.name in chosen), True
        while True:
            members, mixed = super().group()
            if len({self.first_of.get(m, m) for m in members}) > 1:
                return members, mixed

    def join_in_earnest(self, p: Planted) -> None:
        """Nobody: a joiner on a shared staff would be a question of its own."""

    def join_by_chance(self, p: Planted) -> None:
        """Nobody."""

    def share_staves(self) -> None:
        second_of = {first: second for second, first in self.first_of.items()}
        self.staves = []
        for i in self.band:
            second = second_of.get(i.name)
            if second is not None:
                low = next(two.low for two in self.band if two.name == second)
                name = f"{i.name} & {second.rsplit(' ', 1)[1]}"
                self.staves.append((replace(i, name=name, low=low), (i.name, second)))
            elif i.name not in self.first_of:
                self.staves.append((i, (i.name,)))
        for p in self.planted:
            if any(s in p.members and f not in p.members for s, f in self.first_of.items()):
                p.traits += (TRAIT,)
