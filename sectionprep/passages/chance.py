"""How likely each part is to strike by itself, and how common its lengths and notes are.

What two parts do together is evidence only as far as it is unlikely by chance. So every price of
the finder is a log-likelihood ratio (in nats) against these tables, and the tables come from the
chart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sectionprep.music.chart import Chart
from sectionprep.passages.grid import Grid, plays_in

Floats = NDArray[np.float64]

# : A part's habit at a place in the bar is learnt from its neighbourhood: every four bars the
# weight of
# : a bar halves, as music changes texture every four to eight bars. Judgement; two to eight bars
# give
#: the same figures within .002.
_HALF_LIFE = 4
_BAND = 8  # bars that the whole band's rhythm counts for, beside a part's own
_WHOLE_CHART = 4  # bars that the habit of the whole chart counts for, beside the neighbourhood
# : What a part would do in other music, and how many bars that counts for: a short excerpt has no
# habits
#: of its own to learn from. Judgement: three or four notes in a bar of eight eighths.
_ON_AN_EIGHTH, _ELSEWHERE, _OTHER_MUSIC = 0.4, 0.1, 8
_LEAST, _MOST = 0.01, 0.97  # no part is sure to strike, none sure not to
_LENGTHS = 24  # different lengths that are told apart: bounds the cost


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """strike: parts x columns, the chance that a part strikes there if it goes its own way.
    lengths: the different lengths of the chart in ticks; length_of: parts x columns, index into
    them; usual_length: parts x lengths, how much of a part's notes have each length. usual_pitch:
    parts x 12, the same for pitch classes."""

    strike: Floats
    lengths: NDArray[np.int64]
    length_of: NDArray[np.int64]
    usual_length: Floats
    usual_pitch: Floats


def measure_chance(chart: Chart, grid: Grid) -> Chance:
    """Learn the habits of every part. Cost: parts x (columns + bars x places in the bar)."""
    lengths, length_of = _lengths(grid)
    return Chance(
        strike=_strike(chart, grid),
        lengths=lengths,
        length_of=length_of,
        usual_length=_shares(length_of, grid.struck, len(lengths), 8.0),
        usual_pitch=_shares(grid.pitch % 12, grid.struck, 12, 12.0),
    )


def _lengths(grid: Grid) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The lengths of the chart and, for every cell, which of them it has; where there are very
    many, the rarest count as the next longer one."""
    lengths, counts = np.unique(grid.length[grid.struck], return_counts=True)
    if len(lengths) > _LENGTHS:
        lengths = np.unique([*lengths[np.argsort(-counts)[: _LENGTHS - 1]], lengths[-1]])
    return lengths, np.searchsorted(lengths, np.minimum(grid.length, lengths[-1]))


def _shares(
    values: NDArray[np.int64], struck: NDArray[np.bool_], count: int, prior: float
) -> Floats:
    """How often each value stands in a part; `prior` notes of the whole chart are added to each
    part."""
    parts = len(values)
    rows = np.repeat(np.arange(parts), values.shape[1]).reshape(values.shape)
    flat = rows[struck] * count + values[struck]
    counted = np.bincount(flat, minlength=parts * count).reshape(parts, count).astype(float)
    whole = counted.sum(axis=0) + 1.0
    whole /= whole.sum()
    total = counted.sum(axis=1, keepdims=True) + prior
    return np.asarray((counted + prior * whole) / total)


def _strike(chart: Chart, grid: Grid) -> Floats:
    parts, bars = len(grid.struck), len(chart.bars)
    place_of = _places(chart, grid)
    places = int(place_of.max()) + 1
    struck = np.zeros((parts, bars, places))
    struck[:, grid.bar, place_of] = grid.struck
    plays = plays_in(chart)
    band = struck.sum(axis=(0, 1))
    profile = struck.sum(axis=1) + _BAND * band / max(plays.sum(), 1)
    profile /= profile.sum(axis=1, keepdims=True)
    usual = struck.sum(axis=(1, 2)) / np.maximum(plays.sum(axis=1), 1)
    near = _neighbourhood(struck.sum(axis=2)) + _WHOLE_CHART * usual[:, None]
    busy = near / (_neighbourhood(plays.astype(float)) + _WHOLE_CHART)
    found = busy[:, grid.bar] * profile[:, place_of]
    known = plays.sum(axis=1, keepdims=True) / (plays.sum(axis=1, keepdims=True) + _OTHER_MUSIC)
    found = np.clip(known * found + (1 - known) * _general(chart, grid), _LEAST, _MOST)
    resting = grid.quiet >= grid.bar_length
    entries = (resting & grid.struck).sum(axis=1) + 0.5
    entry = np.clip(entries / (resting.sum(axis=1) + 5.0), _LEAST, _MOST)
    return np.asarray(np.where(resting, np.minimum(found, entry[:, None]), found))


def _general(chart: Chart, grid: Grid) -> Floats:
    """How likely any part is to strike at each column, by its place in the beat."""
    starts = np.array([bar.start for bar in chart.bars])
    eighth = max(1, chart.resolution // 2)
    return np.where((grid.ticks - starts[grid.bar]) % eighth == 0, _ON_AN_EIGHTH, _ELSEWHERE)


def _places(chart: Chart, grid: Grid) -> NDArray[np.int64]:
    """For each column a number for its place in the bar: bars of one length share their places."""
    starts = np.array([bar.start for bar in chart.bars])
    lengths = np.array([bar.length for bar in chart.bars])
    keys = np.stack([lengths[grid.bar], grid.ticks - starts[grid.bar]])
    return np.unique(keys, axis=1, return_inverse=True)[1].reshape(-1)


def _neighbourhood(values: Floats) -> Floats:
    """parts x bars: the sum over the bars around each, the nearer ones counting more."""
    fade = 0.5 ** (1 / _HALF_LIFE)
    after, before = values.T.copy(), values.T.copy()
    for bar in range(1, len(after)):
        after[bar] += fade * after[bar - 1]
        before[-1 - bar] += fade * before[-bar]
    return np.asarray((after + before - values.T).T)
