"""One group followed through the whole chart: apart, same rhythm, or one line at every column."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sectionprep.passages.chance import Floats
from sectionprep.passages.grid import Grid
from sectionprep.passages.model import HIT_PARTS
from sectionprep.passages.odds import Evidence, odds_of

APART, RHYTHM, LINE = 0, 1, 2
LEAST_NOTES = 4  # a passage has at least four attacks: judgement
LEAST_ODDS = 3.0  # a run must be twenty times likelier than chance (e to the third)
# : Prices in nats. To begin or end togetherness costs as much as two or three plain coincidences,
# after
#: a bar of silence or at a section's start much less. Judgements, held against planted charts.
_CHANGE = 4.0
_CHANGE_AT_SEAM = 1.0
_CHANGE_OF_TEXTURE = 3.0
# : A member's notes against its group's: one in common, one missing or added, and the price of
# coming in
#: or going out. Four faults in a row are faults still, more are an absence. Judgements.
_AGREES, _DISAGREES, _COMES_OR_GOES = 1.0, 1.5, 3.5
#: What stands apart at either end, after a disagreement or a rest of half a bar, belongs to a
#: passage from the same evidence as a run of its own. Judgement.
_OWN_EVIDENCE = LEAST_ODDS
_FAIR_SHARE = 0.5  # of what so many notes of the passage say, or from half of it
_COLUMN_SAYS = 20.0  # against: nothing that happens at one moment parts a group
_BLOCK = 1_000  # groups at once: bounds memory


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
    """A candidate with its states and the running sum of its evidence."""

    __slots__ = ("bars", "breaks", "group", "pauses", "rows", "states", "struck", "sums")

    def __init__(
        self,
        group: frozenset[int],
        bars: set[int],
        states: NDArray[np.int8],
        odds: Floats,
        breaks: NDArray[np.bool_],
        pauses: NDArray[np.bool_],
        struck: NDArray[np.bool_],
    ) -> None:
        self.group = group
        self.bars = np.array(sorted(bars))
        self.rows = np.array(sorted(group))
        self.struck = struck[self.rows]
        self.states = states
        self.breaks = breaks
        self.pauses = pauses
        self.sums = np.concatenate([[0.0], np.cumsum(odds)])

    def odds(self, first: int, last: int) -> float:
        """Evidence of columns [first, last]."""
        return float(self.sums[last + 1] - self.sums[first])

    def run(self, first: int, last: int) -> Run:
        """Columns [first, last] of this candidate as a run."""
        is_line = bool((self.states[first : last + 1] == LINE).mean() > 0.5)
        odds, attacks = self.odds(first, last), self.attacks(first, last)
        return Run(self.group, first, last, odds, is_line, attacks)

    def attacks(self, first: int, last: int) -> int:
        """Columns of [first, last] at which most of the group strikes."""
        here = self.struck[:, first : last + 1]
        return int((2 * here.sum(axis=0) > len(here)).sum())

    def phrases(self, bar: NDArray[np.int64]) -> list[tuple[int, int]]:
        """Columns (first, last) of each stretch of togetherness: parted after a bar of silence and
        where one line becomes harmony, and without what some member does not take part in. bar: of
        each column; only stretches beside the bars in which the group was met are looked at."""
        together = self.states > APART
        before = np.concatenate([[False], together[:-1]])
        changes = np.concatenate([[False], self.states[1:] != self.states[:-1]]) | self.breaks
        starts = np.flatnonzero(together & (~before | changes))
        ends = np.flatnonzero(before & (~together | changes)) - 1
        if len(together) and together[-1]:
            ends = np.append(ends, len(together) - 1)
        sure = self.sums[ends + 1] - self.sums[starts] >= LEAST_ODDS
        met = np.searchsorted(self.bars, bar[starts] - 1)
        sure &= self.bars[np.minimum(met, len(self.bars) - 1)] >= bar[starts] - 1
        sure &= self.bars[np.minimum(met, len(self.bars) - 1)] <= bar[ends] + 1
        spans = zip(starts[sure].tolist(), ends[sure].tolist(), strict=True)
        found = [span for first, last in spans for span in self._whole(first, last)]
        whole = [self._with_sure_ends(*span) for span in found]
        return [span for span in whole if self._counts(*span)]

    def _with_sure_ends(self, first: int, last: int) -> tuple[int, int]:
        """Without what stands apart at either end and says too little by itself."""
        usual = self.odds(first, last) / max(1, self.attacks(first, last))
        parts = np.diff(self.sums[first : last + 2]) < 0
        parts &= ~self.struck[:, first : last + 1].all(axis=0)
        pause = self.pauses[first : last + 1]
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
        here = self.struck[:, first : last + 1]
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
        came.append(outside - _COMES_OR_GOES > inside)
        went.append(inside - _COMES_OR_GOES > outside)
        inside, outside = (
            max(inside, outside - _COMES_OR_GOES) + score,
            max(outside, inside - _COMES_OR_GOES),
        )
    found = np.zeros(len(scores), dtype=bool)
    is_in = inside >= outside
    for column in range(len(scores) - 1, -1, -1):
        found[column] = is_in
        changed = came[column] if is_in else went[column]
        is_in = is_in != changed
    return found


def follow(
    grid: Grid,
    evidence: Evidence,
    groups: Mapping[frozenset[int], set[int]],
    seams: frozenset[int],
) -> list[Followed]:
    names = list(groups)
    return [
        Followed(group, groups[group], *rows, grid.struck)
        for start in range(0, len(names), _BLOCK)
        for group, rows in _states(grid, evidence, names[start : start + _BLOCK], seams)
    ]


def _states(
    grid: Grid, evidence: Evidence, groups: Sequence[frozenset[int]], seams: frozenset[int]
) -> Iterable[
    tuple[frozenset[int], tuple[NDArray[np.int8], Floats, NDArray[np.bool_], NDArray[np.bool_]]]
]:
    odds = odds_of(evidence, [sorted(group) for group in groups])
    rhythm = odds.rhythm + odds.length
    weights = np.stack([np.zeros_like(rhythm), rhythm + odds.motion, rhythm + odds.pitch], axis=1)
    weights = np.maximum(weights, -_COLUMN_SAYS)
    rests = _rests(grid, groups, 1)
    cheap = rests.copy()
    cheap[:, sorted(seams)] = True
    states = _decode(weights, cheap)
    chosen = np.take_along_axis(weights, states[:, None, :].astype(np.int64), axis=1)[:, 0]
    pauses = _rests(grid, groups, 2)
    return zip(groups, zip(states, chosen, rests, pauses, strict=True), strict=True)


def _rests(grid: Grid, groups: Sequence[frozenset[int]], share: int) -> NDArray[np.bool_]:
    """groups x columns: nobody in the group has sounded for a bar divided by `share`."""
    asleep = share * grid.quiet >= grid.bar_length
    return np.stack([asleep[sorted(group)].all(axis=0) for group in groups])


def _decode(weights: Floats, cheap: NDArray[np.bool_]) -> NDArray[np.int8]:
    """The likeliest states of each group. weights: groups x states x columns, in nats."""
    groups, states, columns = weights.shape
    prices = np.full((states, states), _CHANGE)
    prices[RHYTHM, LINE] = prices[LINE, RHYTHM] = _CHANGE_OF_TEXTURE
    np.fill_diagonal(prices, 0.0)
    usual = prices[:, :, None]
    at_seam = np.minimum(prices, _CHANGE_AT_SEAM)[:, :, None]
    evidence = np.ascontiguousarray(weights.transpose(2, 1, 0))
    pointers = np.zeros((columns, states, groups), dtype=np.int8)
    score = np.zeros((states, groups))
    score[1:] = -_CHANGE_AT_SEAM
    for column in range(columns):
        steps = np.where(cheap[:, column], at_seam, usual)
        ways = score[:, None, :] - steps
        pointers[column] = ways.argmax(axis=0)
        score = ways.max(axis=0) + evidence[column]
    found = np.zeros((groups, columns), dtype=np.int8)
    state = score.argmax(axis=0)
    rows = np.arange(groups)
    for column in range(columns - 1, -1, -1):
        found[:, column] = state
        state = pointers[column][state, rows]
    return found
