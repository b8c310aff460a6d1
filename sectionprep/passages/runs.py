"""Where a group of parts moves as one: which parts, from which moment to which.

Candidate groups come from the bars (and from the sections of the band). Each is followed through the
whole chart: apart, same rhythm, or one line at every column. What comes out are runs, rectangles of
parts and time; the run with the most evidence is taken first, and no part is in two of them at once.
So a stranger who meets the group for a bar is no member (he would cost more in the other bars than he
brings in this one), and nobody who belongs to it is lost because of him.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sectionprep.music.chart import Chart
from sectionprep.passages.chance import Floats
from sectionprep.passages.grid import Grid
from sectionprep.passages.model import BarGroup
from sectionprep.passages.odds import Evidence, odds_of

APART, RHYTHM, LINE = 0, 1, 2
LEAST_NOTES = 4  # a passage has at least four attacks: judgement
HIT_PARTS = 3  # parts that make a shorter meeting a hit and not chance: judgement
#: Prices in nats. To begin or end togetherness costs as much as two or three plain coincidences, after
#: a bar of silence or at a section's start much less. Judgements, held against planted charts.
_CHANGE = 4.0
_CHANGE_AT_SEAM = 1.0
_CHANGE_OF_TEXTURE = 3.0
_RUN = 3.0  # a run must be twenty times likelier than chance (e to the third)
_CUT = 20.0  # a newcomer that cuts a run must be as sure as a passage (finder)
_GOES_ON = 3  # notes of a group without its guests that make them guests; judgement
_ALONE = 40.0  # evidence of a group without its guests from which it is told whole; judgement
_ROUNDS = 4  # the choice settles in two or three
#: A member's notes against its group's: one in common, one missing or added, and the price of coming in
#: or going out. Four faults in a row are faults still, more are an absence. Judgements.
_AGREES, _DISAGREES, _COMES_OR_GOES = 1.0, 1.5, 3.5
_COLUMN_SAYS = 20.0  # against: nothing that happens at one moment parts a group
_BLOCK = 1_000


@dataclass(frozen=True, slots=True)
class Run:
    """A group over columns [first, last]; odds: log odds of its evidence there, in nats."""

    parts: frozenset[int]
    first: int
    last: int
    odds: float


def candidates(chart: Chart, bars: Sequence[Sequence[BarGroup]]) -> dict[frozenset[int], set[int]]:
    """Groups worth following, and the bars in which they were met: groups of single bars, what
    neighbouring bars share, and the sections of the band, which are met everywhere."""
    found: dict[frozenset[int], set[int]] = defaultdict(set)
    before: list[frozenset[int]] = []
    for bar, groups in enumerate(bars):
        here = [frozenset(group.parts) for group in groups]
        for group in here:
            found[group].add(bar)
        for one in here:
            for other in before:
                if len(one & other) > 1:
                    found[one & other].add(bar)
        before = here
    for section in _sections(chart):
        found[section] = set(range(len(bars)))
    return dict(found)


def _sections(chart: Chart) -> list[frozenset[int]]:
    sections: dict[str, set[int]] = defaultdict(set)
    for part in chart.parts:
        if chart.lines[part.index]:
            sections[part.chair.section].add(part.index)
    return [frozenset(parts) for parts in sections.values() if len(parts) > 1]


def find_runs(
    grid: Grid,
    evidence: Evidence,
    groups: Mapping[frozenset[int], set[int]],
    seams: frozenset[int],
) -> list[Run]:
    """The runs of all groups, none overlapping another in a part. groups: with the bars to look at;
    seams: columns at which a section of the chart begins."""
    followed = _followed(grid, evidence, groups, seams)
    selection = _Selection(followed, grid.struck.shape)
    offers = _offers(grid, followed, 0)
    for _round in range(_ROUNDS):
        taken = _take_best(selection, offers)
        unions = selection.unions(grid)
        if not taken and not unions:
            break
        known = len(followed)
        followed += _followed(grid, evidence, unions, seams)
        offers += _offers(grid, followed, known)
    runs = [
        Run(followed[piece.candidate].group, piece.first, piece.last, selection.odds(piece))
        for piece in selection.pieces.values()
    ]
    return sorted(runs, key=lambda run: (run.first, run.last, sorted(run.parts)))


def _followed(
    grid: Grid,
    evidence: Evidence,
    groups: Mapping[frozenset[int], set[int]],
    seams: frozenset[int],
) -> list[_Followed]:
    names = list(groups)
    return [
        _Followed(group, groups[group], *rows, grid.struck)
        for start in range(0, len(names), _BLOCK)
        for group, rows in _follow(grid, evidence, names[start : start + _BLOCK], seams)
    ]


def _offers(
    grid: Grid, followed: Sequence[_Followed], known: int
) -> list[tuple[tuple[int, ...], _Piece]]:
    """The phrases of the candidates from `known` on."""
    return [
        (tuple(sorted(candidate.group)), _Piece(index, first, last))
        for index, candidate in enumerate(followed[known:], start=known)
        for first, last in candidate.phrases(grid.bar)
    ]


class _Followed:
    """A candidate with its states and the running sum of its evidence."""

    __slots__ = ("bars", "breaks", "group", "rows", "states", "struck", "sums")

    def __init__(
        self,
        group: frozenset[int],
        bars: set[int],
        states: NDArray[np.int8],
        odds: Floats,
        breaks: NDArray[np.bool_],
        struck: NDArray[np.bool_],
    ) -> None:
        self.group = group
        self.bars = np.array(sorted(bars))
        self.rows = np.array(sorted(group))
        self.struck = struck[self.rows]
        self.states = states
        self.breaks = breaks
        self.sums = np.concatenate([[0.0], np.cumsum(odds)])

    def odds(self, first: int, last: int) -> float:
        """Evidence of columns [first, last]."""
        return float(self.sums[last + 1] - self.sums[first])

    def attacks(self, first: int, last: int) -> int:
        """Columns of [first, last] at which most of the group strikes."""
        here = self.struck[:, first : last + 1]
        return int((2 * here.sum(axis=0) > len(here)).sum())

    def phrases(self, bar: NDArray[np.int64]) -> list[tuple[int, int]]:
        """Columns (first, last) of each stretch of togetherness: parted after a bar of silence, and
        without what some member does not take part in. bar: of each column; only stretches beside
        the bars in which the group was met are looked at."""
        together = self.states > APART
        before = np.concatenate([[False], together[:-1]])
        starts = np.flatnonzero(together & (~before | self.breaks))
        ends = np.flatnonzero(before & (~together | self.breaks)) - 1
        if len(together) and together[-1]:
            ends = np.append(ends, len(together) - 1)
        sure = self.sums[ends + 1] - self.sums[starts] >= _RUN
        met = np.searchsorted(self.bars, bar[starts] - 1)
        sure &= self.bars[np.minimum(met, len(self.bars) - 1)] >= bar[starts] - 1
        sure &= self.bars[np.minimum(met, len(self.bars) - 1)] <= bar[ends] + 1
        spans = zip(starts[sure].tolist(), ends[sure].tolist(), strict=True)
        found = [whole for first, last in spans for whole in self._whole(first, last)]
        return [span for span in found if self._counts(*span)]

    def _counts(self, first: int, last: int) -> bool:
        """Worth an offer: sure enough, and more than a short meeting of two."""
        if self.odds(first, last) < _RUN:
            return False
        return len(self.group) >= HIT_PARTS or self.attacks(first, last) >= LEAST_NOTES

    def _whole(self, first: int, last: int) -> list[tuple[int, int]]:
        """The stretches of columns [first, last] in which every member takes part."""
        here = self.struck[:, first : last + 1]
        attacks = 2 * here.sum(axis=0) > len(here)
        scores = np.where(here & attacks, _AGREES, np.where(here | attacks, -_DISAGREES, 0.0))
        doubtful = np.where(scores < 0, scores, 0).sum(axis=1) <= -_COMES_OR_GOES
        present = np.ones(last - first + 1, dtype=bool)
        for row in scores[doubtful]:
            present &= _presence(row)
        if present.all():
            return [(first, last)]
        edges = np.flatnonzero(np.diff(present.astype(np.int8), prepend=0, append=0))
        found = []
        for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            struck = np.flatnonzero(attacks[start:stop])
            if len(struck):
                found.append((first + start + int(struck[0]), first + stop - 1))
        return found


def _presence(scores: Floats) -> NDArray[np.bool_]:
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


def _follow(
    grid: Grid, evidence: Evidence, groups: Sequence[frozenset[int]], seams: frozenset[int]
) -> Iterable[tuple[frozenset[int], tuple[NDArray[np.int8], Floats, NDArray[np.bool_]]]]:
    odds = odds_of(evidence, [sorted(group) for group in groups])
    rhythm = odds.rhythm + odds.length
    weights = np.stack([np.zeros_like(rhythm), rhythm + odds.motion, rhythm + odds.pitch], axis=1)
    weights = np.maximum(weights, -_COLUMN_SAYS)
    rests = _rests(grid, groups)
    cheap = rests.copy()
    cheap[:, sorted(seams)] = True
    states = _decode(weights, cheap)
    chosen = np.take_along_axis(weights, states[:, None, :].astype(np.int64), axis=1)[:, 0]
    return zip(groups, zip(states, chosen, rests, strict=True), strict=True)


def _rests(grid: Grid, groups: Sequence[frozenset[int]]) -> NDArray[np.bool_]:
    """groups x columns: nobody in the group has sounded for a bar."""
    asleep = grid.quiet >= grid.bar_length
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


class _Selection:
    """Runs chosen so far; no part is in two of them at once. A newcomer may cut into older ones."""

    def __init__(self, followed: Sequence[_Followed], shape: tuple[int, int]) -> None:
        self.followed = followed
        self.pieces: dict[int, _Piece] = {}
        self._owner = np.full(shape, -1, dtype=np.int32)
        self._made = 0

    def unions(self, grid: Grid) -> dict[frozenset[int], set[int]]:
        """Groups that sound at the same time as another, put together, if nobody has tried it yet,
        and the bars in which they meet."""
        tried = {candidate.group for candidate in self.followed}
        pieces = sorted(self.pieces.values(), key=lambda piece: (piece.first, piece))
        found: dict[frozenset[int], set[int]] = defaultdict(set)
        for n, one in enumerate(pieces):
            for other in pieces[n + 1 :]:
                if other.first > one.last:
                    break
                union = self.followed[one.candidate].group | self.followed[other.candidate].group
                if union not in tried:
                    last = min(one.last, other.last)
                    found[union] |= set(range(int(grid.bar[other.first]), int(grid.bar[last]) + 1))
        return found

    def overlapping(self, piece: _Piece) -> list[_Piece]:
        """Chosen pieces that share a part and a moment with this one."""
        rows = self.followed[piece.candidate].rows
        owners = self._owner[rows, piece.first : piece.last + 1]
        top = owners.max()
        if top < 0:
            return []
        found = {int(top)} if (owners == top).all() else set(owners.ravel().tolist()) - {-1}
        return [self.pieces[number] for number in sorted(found)]

    def free(self, piece: _Piece) -> list[_Piece]:
        """What is left of a piece beside the chosen ones, where that is less than the whole."""
        rests = [piece]
        for old in self.overlapping(piece):
            rests = [rest for whole in rests for rest in _left(whole, old)]
        return [rest for rest in rests if rest != piece and self.odds(rest) >= _RUN]

    def gain(self, piece: _Piece) -> float:
        """What the whole gains in evidence if this piece cuts into the others."""
        gain = self.odds(piece) - _RUN
        for old in self.overlapping(piece):
            first, last = max(old.first, piece.first), min(old.last, piece.last)
            if self._is_visit(piece, old):
                return -np.inf
            alone = self.odds(piece) - self.followed[piece.candidate].odds(first, last)
            evicts = alone >= _ALONE and self._is_visit(old, piece)
            host = piece if evicts else old
            gain -= self.followed[host.candidate].odds(first, last)
            gain += _RUN - _CUT * len(_left(old, piece))
        return gain

    def _is_visit(self, piece: _Piece, host: _Piece) -> bool:
        """Few parts join a group that goes on without them: told as guests, no group of its own."""
        here, there = self.followed[host.candidate].group, self.followed[piece.candidate].group
        if not here < there or len(there - here) >= max(2, len(here) / 2):
            return False
        alone = _left(host, piece)
        return any(
            self.followed[host.candidate].attacks(rest.first, rest.last) >= _GOES_ON and self.odds(rest) >= _CUT
            for rest in alone
        )

    def odds(self, piece: _Piece) -> float:
        """Evidence of a piece."""
        return self.followed[piece.candidate].odds(piece.first, piece.last)

    def take(self, piece: _Piece) -> None:
        """Choose a piece; what it overlaps keeps what is left before and after it."""
        for old in self.overlapping(piece):
            self._drop(old)
            for rest in _left(old, piece):
                if self.odds(rest) >= _RUN:
                    self._add(rest)
        self._add(piece)

    def _add(self, piece: _Piece) -> None:
        self.pieces[self._made] = piece
        rows = self.followed[piece.candidate].rows
        self._owner[rows, piece.first : piece.last + 1] = self._made
        self._made += 1

    def _drop(self, piece: _Piece) -> None:
        rows = self.followed[piece.candidate].rows
        here = self._owner[rows, piece.first : piece.last + 1]
        del self.pieces[int(here.flat[0])]
        here[:] = -1
        self._owner[rows, piece.first : piece.last + 1] = here


class _Piece(NamedTuple):
    """Columns [first, last] of a candidate, by its place in the list."""

    candidate: int
    first: int
    last: int


def _left(old: _Piece, piece: _Piece) -> list[_Piece]:
    """What a piece leaves of an older one, before and after it."""
    rests = (
        _Piece(old.candidate, old.first, min(old.last, piece.first - 1)),
        _Piece(old.candidate, max(old.first, piece.last + 1), old.last),
    )
    return [rest for rest in rests if rest.first <= rest.last]


def _take_best(selection: _Selection, offers: Iterable[tuple[tuple[int, ...], _Piece]]) -> int:
    """Take offers in order of their gain; how many were taken."""
    heap = [(-selection.gain(piece), parts, piece) for parts, piece in offers]
    heapq.heapify(heap)
    taken = 0
    while heap:
        promised, parts, piece = heapq.heappop(heap)
        gain = selection.gain(piece)
        if gain <= 0:
            for rest in selection.free(piece):
                heapq.heappush(heap, (-selection.gain(rest), parts, rest))
            continue
        if -promised > gain + 1e-9:
            heapq.heappush(heap, (-gain, parts, piece))
            continue
        selection.take(piece)
        taken += 1
    return taken
