"""Bars in which all who play do the same: the band on one stroke, a tutti in one rhythm, a chorale.

To a listener they are one group, whatever the parts do in the bars around. Passing notes do not
count there: a voice that goes to its next chord by step is with the chord that it leaves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sectionprep.music.chart import Chart
from sectionprep.passages.grid import Grid, plays_in
from sectionprep.passages.model import HIT_PARTS

_STEP = 2  # semitones: a whole tone


@dataclass(frozen=True, slots=True, kw_only=True)
class Tutti:
    """groups: for every bar all who play in it, where they are three or more and do the same, else
    nobody. passing: parts x columns, their passing notes there."""

    groups: tuple[frozenset[int], ...]
    passing: NDArray[np.bool_]


def find_tutti(chart: Chart, grid: Grid) -> Tutti:
    """The bars in which all who play do the same. Cost: parts x columns."""
    passing = passing_notes(chart, grid)
    edges = np.searchsorted(grid.bar, np.arange(len(chart.bars) + 1)).tolist()
    groups = []
    for bar, plays in enumerate(plays_in(chart).T):
        rows = [row for row in np.flatnonzero(plays).tolist() if grid.staff[row] == row]
        columns = range(edges[bar], edges[bar + 1])
        groups.append(
            frozenset(rows) if _is_tutti(grid, passing, rows, columns) else frozenset[int]()
        )
    whole = np.array([bool(group) for group in groups])
    return Tutti(groups=tuple(groups), passing=passing & whole[grid.bar])


def passing_notes(chart: Chart, grid: Grid) -> NDArray[np.bool_]:
    """parts x columns: notes off the beat, over before the next beat, that are reached and left by
    step (passing and neighbour notes as harmony books define them: S. Kostka and D. Payne, Tonal
    Harmony, from memory)."""
    beats = np.array([max(1, int(bar.meter.pulse * chart.resolution)) for bar in chart.bars])
    starts = np.array([bar.start for bar in chart.bars])
    off = (grid.ticks - starts[grid.bar]) % beats[grid.bar]
    found = np.zeros(grid.struck.shape, dtype=bool)
    for row, struck in enumerate(grid.struck):
        columns = np.flatnonzero(struck)
        steps = np.abs(np.diff(grid.pitch[row, columns]))
        by_step = (steps > 0) & (steps <= _STEP)
        here = off[columns]
        short = (here > 0) & (here + grid.length[row, columns] <= beats[grid.bar[columns]])
        found[row, columns[1:-1]] = short[1:-1] & by_step[:-1] & by_step[1:]
    return found


def _is_tutti(grid: Grid, passing: NDArray[np.bool_], rows: list[int], columns: range) -> bool:
    if len(rows) < HIT_PARTS:
        return False
    first = _skeleton(grid, passing, rows[0], columns)
    return bool(first) and all(_skeleton(grid, passing, row, columns) == first for row in rows[1:])


def _skeleton(
    grid: Grid, passing: NDArray[np.bool_], row: int, columns: range
) -> list[tuple[int, int]]:
    """Onsets and ends (ticks) of what a part strikes in a bar, passing notes counted with the note
    that they leave."""
    found: list[tuple[int, int]] = []
    for column in columns:
        if not grid.struck_at[column][row]:
            continue
        tick = int(grid.ticks[column])
        end = tick + grid.length_at[column][row]
        if found and passing[row, column] and found[-1][1] == tick:
            found[-1] = (found[-1][0], end)
        else:
            found.append((tick, end))
    return found
