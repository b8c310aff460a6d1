"""One group that was followed: its phrases and its evidence, from apart, same rhythm or one line at
every column."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sectionprep.passages.chance import Floats
from sectionprep.passages.model import HIT_PARTS

APART, RHYTHM, LINE = 0, 1, 2
LEAST_NOTES = 4  # a passage has at least four attacks: judgement
LEAST_ODDS = 3.0  # a run must be twenty times likelier than chance (e to the third)
# : A member's notes against its group's: one in common, one missing or added, and the price of
# coming in
#: or going out. Four faults in a row are faults still, more are an absence. Judgements.
_AGREES, _DISAGREES, _COMES_OR_GOES = 1.0, 1.5, 3.5
#: What stands apart at either end, after a disagreement or a rest of half a bar, belongs to a
#: passage from the same evidence as a run of its own. Judgement.
_OWN_EVIDENCE = LEAST_ODDS
_FAIR_SHARE = 0.5  # of what so many notes of the passage say, or from half of it


@dataclass(frozen=True, slots=True)
class Run:
    """A group over columns [first, last]; odds: log odds of its evidence there, in nats; is_line:
    most of it is one line and not harmony; attacks: how often the group strikes."""

    parts: frozenset[int]
    first: int
    last: int
    odds: float
    is_line: bool
    attacks: int


class Followed:
    """A group in a window of the chart, with its states and the running sum of its evidence. bars:
    those in which it was met; struck: of the whole grid; first: the window's first column. Columns
    asked for and told are those of the grid."""

    __slots__ = ("bars", "breaks", "first", "group", "pauses", "rows", "states", "struck", "sums")

    def __init__(
        self,
        group: frozenset[int],
        bars: Collection[int],
        states: NDArray[np.int8],
        odds: Floats,
        breaks: NDArray[np.bool_],
        pauses: NDArray[np.bool_],
        struck: NDArray[np.bool_],
        first: int = 0,
    ) -> None:
        self.group = group
        self.bars = np.array(sorted(bars))
        self.rows = np.array(sorted(group))
        self.first = first
        self.struck = struck[self.rows, first : first + len(states)]
        self.states = states
        self.breaks = breaks
        self.pauses = pauses
        self.sums = np.concatenate([[0.0], np.cumsum(odds)])

    def _slice(self, first: int, last: int) -> slice:
        """Where columns [first, last] stand in the tables of the window."""
        return slice(first - self.first, last - self.first + 1)

    def odds(self, first: int, last: int) -> float:
        """Evidence of columns [first, last]."""
        here = self._slice(first, last)
        return float(self.sums[here.stop] - self.sums[here.start])

    def run(self, first: int, last: int) -> Run:
        """Columns [first, last] of this candidate as a run."""
        is_line = bool((self.states[self._slice(first, last)] == LINE).mean() > 0.5)
        odds, attacks = self.odds(first, last), self.attacks(first, last)
        return Run(self.group, first, last, odds, is_line, attacks)

    def attacks(self, first: int, last: int) -> int:
        """Columns of [first, last] at which most of the group strikes."""
        here = self.struck[:, self._slice(first, last)]
        return int((2 * here.sum(axis=0) > len(here)).sum())

    def _stretches(self, bar: NDArray[np.int64]) -> list[tuple[int, int]]:
        """Columns (first, last) of togetherness without a bar of silence or a change of texture.
        bar: of each column; only those beside the bars in which the group was met."""
        together = self.states > APART
        before = np.concatenate([[False], together[:-1]])
        changes = np.concatenate([[False], self.states[1:] != self.states[:-1]]) | self.breaks
        starts = np.flatnonzero(together & (~before | changes)) + self.first
        ends = np.flatnonzero(before & (~together | changes)) - 1 + self.first
        if len(together) and together[-1]:
            ends = np.append(ends, self.first + len(together) - 1)
        met = np.minimum(np.searchsorted(self.bars, bar[starts] - 1), len(self.bars) - 1)
        near = (self.bars[met] >= bar[starts] - 1) & (self.bars[met] <= bar[ends] + 1)
        return list(zip(starts[near].tolist(), ends[near].tolist(), strict=True))

    def goes_on(self, bar: NDArray[np.int64]) -> tuple[bool, bool]:
        """Whether it is together still at the edges of the window, before and after."""
        stretches = self._stretches(bar)
        edges = self.first, self.first + len(self.states) - 1
        return (
            bool(stretches) and stretches[0][0] == edges[0],
            bool(stretches) and stretches[-1][1] == edges[1],
        )

    def phrases(self, bar: NDArray[np.int64]) -> list[tuple[int, int]]:
        """Columns (first, last) of each sure stretch of togetherness, without what some member does
        not take part in. bar: of each column."""
        sure = [span for span in self._stretches(bar) if self.odds(*span) >= LEAST_ODDS]
        found = [span for first, last in sure for span in self._whole(first, last)]
        whole = [self._with_sure_ends(*span) for span in found]
        return [span for span in whole if self._counts(*span)]

    def _with_sure_ends(self, first: int, last: int) -> tuple[int, int]:
        """Without what stands apart at either end and says too little by itself."""
        usual = self.odds(first, last) / max(1, self.attacks(first, last))
        here = self._slice(first, last)
        parts = np.diff(self.sums[here.start : here.stop + 1]) < 0
        parts &= ~self.struck[:, here].all(axis=0)
        pause = self.pauses[here]
        for column in (first + 1 + np.flatnonzero((parts | pause)[1:])).tolist():
            if self._says_little(column, last, usual):
                last = column - 1
                break
        after = np.concatenate([[False], parts[:-1]]) | pause
        for column in (first + 1 + np.flatnonzero(after[1 : last - first + 1])).tolist()[::-1]:
            if self._says_little(first, column - 1, usual):
                return column, last
        return first, last

    def _says_little(self, first: int, last: int, usual: float) -> bool:
        """usual: evidence of a note of the whole stretch."""
        said = self.odds(first, last)
        return said < _OWN_EVIDENCE and said < _FAIR_SHARE * usual * self.attacks(first, last)

    def _counts(self, first: int, last: int) -> bool:
        """Worth an offer: sure enough, and more than a short meeting of two."""
        if self.odds(first, last) < LEAST_ODDS:
            return False
        return len(self.group) >= HIT_PARTS or self.attacks(first, last) >= LEAST_NOTES

    def _whole(self, first: int, last: int) -> list[tuple[int, int]]:
        """The stretches of columns [first, last] in which every member takes part."""
        here = self.struck[:, self._slice(first, last)]
        attacks = 2 * here.sum(axis=0) > len(here)
        scores = scores_of(here, attacks)
        doubtful = np.where(scores < 0, scores, 0).sum(axis=1) <= -_COMES_OR_GOES
        present = np.ones(last - first + 1, dtype=bool)
        for row in scores[doubtful]:
            present &= presence(row)
        if present.all():
            return [(first, last)]
        edges = np.flatnonzero(np.diff(present.astype(np.int8), prepend=0, append=0))
        found = []
        for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            struck = np.flatnonzero(attacks[start:stop])
            if len(struck):
                found.append((first + start + int(struck[0]), first + stop - 1))
        return found


def scores_of(struck: NDArray[np.bool_], attacks: NDArray[np.bool_]) -> Floats:
    """What each column says of a part being in: struck where the group strikes, or not."""
    return np.where(struck & attacks, _AGREES, np.where(struck | attacks, -_DISAGREES, 0.0))


def presence(scores: Floats) -> NDArray[np.bool_]:
    """Where a member goes with its group: the best path between being in and being out."""
    inside, outside = 0.0, 0.0
    came, went = [], []
    for score in scores.tolist():
        comes, goes = outside - _COMES_OR_GOES, inside - _COMES_OR_GOES
        came.append(comes > inside)
        went.append(goes > outside)
        inside = (comes if came[-1] else inside) + score
        outside = goes if went[-1] else outside
    found = np.zeros(len(scores), dtype=bool)
    is_in = inside >= outside
    for column in range(len(scores) - 1, -1, -1):
        found[column] = is_in
        changed = came[column] if is_in else went[column]
        is_in = is_in != changed
    return found
