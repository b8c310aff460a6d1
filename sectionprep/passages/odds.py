"""The odds that a group of parts moves as one: evidence for every column, in nats.

The group is together: at each column it strikes or it does not, and its members follow, but for a
note dropped or added now and then. It is apart: each member strikes by its own habit (`chance`).
The whole column speaks at once, so seventeen parts on one chord after a silence are together
although no two of them prove it, and running eighths against running eighths prove nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sectionprep.passages.chance import Chance, Floats
from sectionprep.passages.everybody import Tutti
from sectionprep.passages.grid import Grid

#: What members of one group do, of a hundred notes. Judgements from annotated scores and planted
#: charts; halving or doubling any of them moves the measured figures by less than .005.
_DROPPED = 0.04  # a member leaves a note of the group out
_ADDED = 0.05  # a member strikes between the notes of the group, as a share of its own habit
_SAME_LENGTH = 0.9  # a member holds a note as long as the others
_SAME_PITCH = 0.95  # a member of one line has the line's pitch class
_SAME_MOTION = 0.75  # a member of a harmonised line moves the way the others move
_FROM_NOWHERE = 1000  # stands for the interval to the first note of a part
_CELLS = 500_000  # compared at once: bounds memory
_MOTION_BY_CHANCE = 0.4  # two lines move the same way, of up, down and neither


@dataclass(frozen=True, slots=True)
class Odds:
    """groups x columns, log-likelihood ratios of together against apart. rhythm: onsets; length: of
    the notes struck together; pitch: of one line (pitch classes); motion: of a harmonised line."""

    rhythm: Floats
    length: Floats
    pitch: Floats
    motion: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What is the same for all groups, parts x columns, made once per chart. follows, strays:
    log-likelihood ratio of what the part does where its group strikes, and where it does not,
    against by itself; moves: semitones from the note before; tutti: bars in which all who play do
    the same."""

    grid: Grid
    chance: Chance
    follows: Floats
    strays: Floats
    moves: NDArray[np.int64]
    tutti: Tutti


def gather_evidence(grid: Grid, chance: Chance, tutti: Tutti) -> Evidence:
    """Tables that the odds of every group are added up from."""
    struck = grid.struck
    added = np.clip(_ADDED * chance.strike, 1e-4, None)
    added = np.where(tutti.passing, chance.strike, added)  # as free as by itself: no evidence
    alone = np.log(np.where(struck, chance.strike, 1 - chance.strike))
    return Evidence(
        grid=grid,
        chance=chance,
        follows=np.log(np.where(struck, 1 - _DROPPED, _DROPPED)) - alone,
        strays=np.log(np.where(struck, added, 1 - added)) - alone,
        moves=_moves(grid),
        tutti=tutti,
    )


def _moves(grid: Grid) -> NDArray[np.int64]:
    """Semitones from the note before, for every note struck; _FROM_NOWHERE for a part's first."""
    found = np.zeros(grid.pitch.shape, dtype=np.int64)
    for row, struck in enumerate(grid.struck):
        columns = np.flatnonzero(struck)
        if len(columns):
            found[row, columns[1:]] = np.diff(grid.pitch[row, columns])
            found[row, columns[0]] = _FROM_NOWHERE
    return found


def odds_of(
    evidence: Evidence,
    groups: Sequence[Sequence[int]],
    columns: NDArray[np.int64] | None = None,
    *,
    motion: bool = True,
) -> Odds:
    """The odds of many groups of parts, two at least in each, in their order. columns: groups x
    columns, those of the grid that each group is asked about; all if there are none. motion: False
    leaves it out, for speed."""
    width = evidence.grid.struck.shape[1] if columns is None else columns.shape[1]
    found = Odds(*(np.zeros((len(groups), width)) for _ in range(4)))
    by_size: dict[int, list[int]] = defaultdict(list)
    for index, group in enumerate(groups):
        by_size[len(group)].append(index)
    for size, indices in by_size.items():
        at_once = max(1, _CELLS // (size * size * width))
        for start in range(0, len(indices), at_once):
            here = indices[start : start + at_once]
            members = np.array([list(groups[index]) for index in here])
            where = None if columns is None else columns[here]
            _fill(found, here, evidence, members, where, motion=motion)
    return found


def _fill(
    found: Odds,
    rows: list[int],
    evidence: Evidence,
    members: NDArray[np.int64],
    columns: NDArray[np.int64] | None,
    *,
    motion: bool,
) -> None:
    """The odds of groups of one size. members: groups x size, indices of parts."""
    grid, chance = evidence.grid, evidence.chance
    at = (members,) if columns is None else (members[:, :, None], columns[:, None, :])
    struck = grid.struck[at]
    moves = evidence.moves[at]
    strike = np.clip(chance.strike[at].mean(axis=1), 1e-3, 0.999)
    found.rhythm[rows] = np.logaddexp(
        np.log(strike) + evidence.follows[at].sum(axis=1),
        np.log(1 - strike) + evidence.strays[at].sum(axis=1),
    )
    lengths = chance.usual_length[members].mean(axis=1)
    found.length[rows] = _agreement(chance.length_of[at], struck, lengths, _SAME_LENGTH)
    classes = chance.usual_pitch[members].mean(axis=1)
    news = (struck & (moves != 0)).any(axis=1)
    pitch = _agreement(grid.pitch[at] % 12, struck, classes, _SAME_PITCH)
    found.pitch[rows] = np.where(news, pitch, 0.0)
    if motion:
        came = struck & (moves < _FROM_NOWHERE)
        ways = np.full((len(rows), 3), _MOTION_BY_CHANCE)
        same_way = _agreement(np.sign(moves) + 1, came, ways, _SAME_MOTION)
        found.motion[rows] = np.where(news, same_way, 0.0)


def _agreement(
    values: NDArray[np.int64], where: NDArray[np.bool_], usual: Floats, sure: float
) -> Floats:
    """Evidence of one quality of the notes struck: how many share the most frequent value.

    values, where: groups x members x columns; usual: groups x values, how common each value is. The
    first who has it proves nothing, each other weighs log(sure / usual), each who has another value
    log((1 - sure) / (1 - usual)).
    """
    equal = (values[:, :, None] == values[:, None]) & where[:, :, None] & where[:, None]
    count = equal.sum(axis=2, dtype=np.int16)
    best = count.argmax(axis=1)[:, None]
    most = np.take_along_axis(count, best, axis=1)[:, 0].astype(float)
    value = np.take_along_axis(values, best, axis=1)[:, 0]
    common = np.clip(np.take_along_axis(usual, value, axis=1), 0.02, sure)
    agree = np.log(sure / common) * np.maximum(most - 1, 0)
    odd = where.sum(axis=1) - most
    return np.asarray(agree + np.log((1 - sure) / (1 - np.minimum(common, 0.8))) * odd)
