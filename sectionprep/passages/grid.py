"""The chart as a grid: one row per part, one column per moment at which anybody strikes a note."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sectionprep.music.chart import Chart
from sectionprep.music.notes import Tone
from sectionprep.passages.players import staves_of

_Ints = NDArray[np.int64]
_Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """parts x columns matrices. ticks: onset of each column; struck: a tone begins here; pitch: its
    sounding MIDI number (0 elsewhere); length: its duration in ticks; quiet: ticks since the part
    last sounded, counted back from this column (0 while it sounds). bar, bar_length: index of the
    column's bar and its length in ticks. staff: for each row the part that has its staff (two
    players may share one). passing: passing notes that are no slips (none until
    `everybody.py` has found them). alone: a note here is not struck by the second player on the
    staff, who has notes in this bar. struck_at, pitch_at, length_at: the same as lists by column,
    for looking at a few notes."""

    ticks: _Ints
    struck: _Bools
    pitch: _Ints
    length: _Ints
    quiet: _Ints
    bar: _Ints
    bar_length: _Ints
    staff: tuple[int, ...]
    passing: _Bools
    alone: _Bools
    struck_at: list[list[bool]]
    pitch_at: list[list[int]]
    length_at: list[list[int]]


def build_grid(chart: Chart) -> Grid:
    """Lay all lines on one grid. Cost: parts x columns."""
    ticks = np.array(sorted({tone.onset for line in chart.lines for tone in line}), dtype=np.int64)
    shape = (len(chart.lines), len(ticks))
    struck = np.zeros(shape, dtype=bool)
    pitch = np.zeros(shape, dtype=np.int64)
    length = np.zeros(shape, dtype=np.int64)
    quiet = np.zeros(shape, dtype=np.int64)
    for row, line in enumerate(chart.lines):
        if not line:
            quiet[row] = ticks + 10**9
            continue
        _fill(row, line, ticks, struck, pitch, length, quiet)
    starts = np.array([bar.start for bar in chart.bars], dtype=np.int64)
    bar = np.searchsorted(starts, ticks, side="right") - 1
    lengths = np.array([bar.length for bar in chart.bars], dtype=np.int64)
    return Grid(
        ticks=ticks,
        struck=struck,
        pitch=pitch,
        length=length,
        quiet=quiet,
        bar=bar,
        bar_length=lengths[bar],
        staff=staves_of(chart),
        passing=np.zeros(shape, dtype=bool),
        alone=_alone(chart, ticks, struck, bar),
        struck_at=struck.T.tolist(),
        pitch_at=pitch.T.tolist(),
        length_at=length.T.tolist(),
    )


def _fill(
    row: int,
    line: tuple[Tone, ...],
    ticks: _Ints,
    struck: _Bools,
    pitch: _Ints,
    length: _Ints,
    quiet: _Ints,
) -> None:
    onsets = np.array([tone.onset for tone in line], dtype=np.int64)
    ends = np.array([tone.end for tone in line], dtype=np.int64)
    columns = np.searchsorted(ticks, onsets)
    struck[row, columns] = True
    pitch[row, columns] = [tone.pitch for tone in line]
    length[row, columns] = ends - onsets
    # Silence before a column: since the end of the last tone that began before it.
    before = np.searchsorted(onsets, ticks, side="left") - 1
    last_end = np.where(before >= 0, np.maximum.accumulate(ends)[np.maximum(before, 0)], -(10**9))
    quiet[row] = np.maximum(0, ticks - last_end)


def _alone(chart: Chart, ticks: _Ints, struck: _Bools, bar: _Ints) -> _Bools:
    found = np.zeros(struck.shape, dtype=bool)
    for row, second in chart.second_lines.items():
        plays = np.isin(bar, [tone.bar for tone in second])
        strikes = np.isin(ticks, [tone.onset for tone in second])
        found[row] = struck[row] & plays & ~strikes
    return found


def plays_in(chart: Chart) -> NDArray[np.bool_]:
    """parts x bars: the part sounds in that bar."""
    starts = np.array([bar.start for bar in chart.bars])
    found = np.zeros((len(chart.lines), len(chart.bars)), dtype=bool)
    for row, line in enumerate(chart.lines):
        if not line:
            continue
        onsets = np.array([tone.onset for tone in line])
        ends = np.array([tone.end for tone in line])
        first = np.searchsorted(starts, onsets, side="right") - 1
        last = np.searchsorted(starts, np.maximum(ends - 1, onsets), side="right") - 1
        edges = np.zeros(len(starts) + 1)
        np.add.at(edges, first, 1)
        np.add.at(edges, last + 1, -1)
        found[row] = np.cumsum(edges)[:-1] > 0
    return found
