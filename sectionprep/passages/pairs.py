"""For every two parts and every moment: apart, together in rhythm, or together on one line.

One Viterbi pass per pair over the whole chart. Each moment at which either part strikes is evidence; a
change of state costs more than one or two odd notes, so a wrong note, a dropped note or a grace note does
not break a passage, while real independence does. All costs are judgements, in one unit ("odd notes");
they were set by thinking of single cases and then held against planted passages (tests/).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sectionprep.passages.grid import Grid

APART, RHYTHM, LINE = 0, 1, 2
_Floats = NDArray[np.float32]
_BLOCK = 4_000  # pairs decoded at once: bounds memory

#: cost of each event in each state: (APART, RHYTHM, LINE)
_EVENTS = np.array(
    [
        (0.0, 0.0, 0.0),  # neither strikes: no evidence
        (0.0, 1.7, 1.7),  # one strikes alone
        (2.0, 0.45, 0.0),  # both strike, same pitch class, same length
        (1.2, 0.55, 0.2),  # both strike, same pitch class, other length
        (1.2, 0.0, 1.9),  # both strike, other pitch, same length
        (0.35, 0.5, 2.2),  # both strike, other pitch, other length
    ],
    dtype=np.float32,
)
_CHANGE = 3.4  # a change of state, in odd notes
_CHANGE_AFTER_SILENCE = 0.8  # where both have been silent for a bar: a new start is cheap
_CHANGE_OF_TEXTURE = 2.6  # from harmony to one line and back


@dataclass(frozen=True, slots=True, kw_only=True)
class PairStates:
    """states: pairs x columns of APART, RHYTHM, LINE; first, second: the parts of each pair."""

    first: NDArray[np.int64]
    second: NDArray[np.int64]
    states: NDArray[np.int8]
    _inside: dict[frozenset[int], NDArray[np.int64]] = field(default_factory=dict, init=False, repr=False, compare=False)

    def inside(self, parts: frozenset[int]) -> NDArray[np.int64]:
        """Rows of the pairs whose parts both belong to a group."""
        if parts not in self._inside:
            members = list(parts)
            self._inside[parts] = np.flatnonzero(np.isin(self.first, members) & np.isin(self.second, members))
        return self._inside[parts]


def pair_states(grid: Grid, silence: int) -> PairStates:
    """Decode every pair that strikes together at least twice. silence: ticks that make a fresh start."""
    together = grid.struck.astype(np.float32)
    common = together @ together.T
    first, second = np.triu_indices(len(grid.struck), k=1)
    keep = common[first, second] >= 2
    first, second = first[keep], second[keep]
    blocks = [
        _decode(grid, first[n : n + _BLOCK], second[n : n + _BLOCK], silence) for n in range(0, len(first), _BLOCK)
    ]
    columns = len(grid.ticks)
    states = np.concatenate(blocks) if blocks else np.zeros((0, columns), dtype=np.int8)
    return PairStates(first=first, second=second, states=states)


def _events(grid: Grid, a: NDArray[np.int64], b: NDArray[np.int64]) -> NDArray[np.int8]:
    struck_a, struck_b = grid.struck[a], grid.struck[b]
    both = struck_a & struck_b
    same_pitch = (grid.pitch[a] - grid.pitch[b]) % 12 == 0
    same_length = grid.length[a] == grid.length[b]
    events = np.where(struck_a ^ struck_b, 1, 0).astype(np.int8)
    events[both & same_pitch & same_length] = 2
    events[both & same_pitch & ~same_length] = 3
    events[both & ~same_pitch & same_length] = 4
    events[both & ~same_pitch & ~same_length] = 5
    return events


def _decode(grid: Grid, a: NDArray[np.int64], b: NDArray[np.int64], silence: int) -> NDArray[np.int8]:
    events = _events(grid, a, b)
    fresh = (grid.quiet[a] >= silence) & (grid.quiet[b] >= silence)
    pairs, columns = events.shape
    pointers = np.zeros((columns, 3, pairs), dtype=np.int8)
    cost = np.tile(np.array([[0.0], [0.6], [0.6]], dtype=np.float32), (1, pairs))  # state by pair: long rows are quick
    prices = np.full((3, 3), _CHANGE, dtype=np.float32)
    np.fill_diagonal(prices, 0.0)
    prices[RHYTHM, LINE] = prices[LINE, RHYTHM] = _CHANGE_OF_TEXTURE
    change = prices[:, :, None]
    cheap = np.where(change > 0, _CHANGE_AFTER_SILENCE, 0.0).astype(np.float32)
    evidence = np.ascontiguousarray(_EVENTS.T)
    fresh_at = frozenset(np.flatnonzero(fresh.any(axis=0)).tolist())
    active = np.flatnonzero((events > 0).any(axis=0))
    for column in active.tolist():
        steps = np.where(fresh[:, column], cheap, change) if column in fresh_at else change
        ways = cost[:, None, :] + steps
        pointers[column] = ways.argmin(axis=0)
        cost = ways.min(axis=0) + evidence[:, events[:, column]]
    states = np.zeros((pairs, columns), dtype=np.int8)
    state = cost.argmin(axis=0)
    rows = np.arange(pairs)
    previous = columns
    for column in active[::-1]:
        states[:, column:previous] = state[:, None]
        state = pointers[column][state, rows]
        previous = column
    states[:, :previous] = state[:, None]
    return states


def lasting_states(grid: Grid, pairs: PairStates, least: int) -> PairStates:
    """The same without encounters: two parts that agree on fewer than `least` attacks in a row met by chance."""
    states = pairs.states.copy()
    both = grid.struck[pairs.first] & grid.struck[pairs.second]
    for row in range(len(states)):
        together = states[row] > APART
        edges = np.flatnonzero(np.diff(together.astype(np.int8), prepend=0, append=0))
        for start, stop in zip(edges[::2], edges[1::2], strict=True):
            if both[row, start:stop].sum() < least:
                states[row, start:stop] = APART
    return PairStates(first=pairs.first, second=pairs.second, states=states)
