"""Groups followed around the bars in which they were met: apart, same rhythm, or one line at every
column. Far from there nobody asks, and to look everywhere would cost the square of the bars."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sectionprep.passages.chance import Floats
from sectionprep.passages.followed import LINE, RHYTHM, Followed
from sectionprep.passages.grid import Grid
from sectionprep.passages.odds import Evidence, odds_of

#: Prices in nats. To begin or end togetherness costs as much as two or three plain coincidences,
#: after a bar of silence or at a section's start much less. Judgements, held against planted
#: charts.
_CHANGE = 4.0
_CHANGE_AT_SEAM = 1.0
_CHANGE_OF_TEXTURE = 3.0
_COLUMN_SAYS = 20.0  # against: nothing that happens at one moment parts a group
#: A group is followed from so many bars before those in which it was met to as many after them, and
#: further where it is still together there. Of 2,961 passages of quartets, madrigals and symphonies
#: 3 differ from those that come of following through the whole chart (27 with 8 bars).
_AROUND = 24
_CELLS = 500_000  # groups x columns at once: bounds memory


@dataclass(frozen=True, slots=True)
class _Window:
    """Where a group is followed: from bar `start` to before bar `stop`; bars: those in which it was
    met anywhere."""

    group: frozenset[int]
    bars: frozenset[int]
    start: int
    stop: int

    @property
    def key(self) -> tuple[frozenset[int], int, int]:
        """Tells it from others."""
        return self.group, self.start, self.stop


def follow(
    grid: Grid,
    evidence: Evidence,
    groups: Mapping[frozenset[int], set[int]],
    seams: frozenset[int],
) -> list[Followed]:
    """Every group in windows around the bars in which it was met. seams: columns at which a section
    of the chart begins."""
    bars = int(grid.bar[-1]) + 1
    windows = {group: _windows(group, met, bars) for group, met in groups.items()}
    found: dict[tuple[frozenset[int], int, int], Followed] = {}
    waiting = [window for its in windows.values() for window in its]
    while waiting:
        for window, followed in _followed(grid, evidence, waiting, seams):
            found[window.key] = followed
        waiting = []
        for group, its in windows.items():
            wider = _joined(_wider(grid, window, found[window.key]) for window in its)
            waiting += [window for window in wider if window.key not in found]
            windows[group] = wider
    return [found[window.key] for its in windows.values() for window in its]


def _windows(group: frozenset[int], met: set[int], bars: int) -> list[_Window]:
    """Of a chart of so many bars."""
    everywhere = frozenset(met)
    return _joined(
        _Window(group, everywhere, max(0, bar - _AROUND), min(bars, bar + 1 + _AROUND))
        for bar in sorted(met)
    )


def _joined(windows: Iterable[_Window]) -> list[_Window]:
    """Windows of one group, in order of time: those that overlap are one."""
    found: list[_Window] = []
    for window in windows:
        if found and window.start <= found[-1].stop:
            old = found.pop()
            window = replace(old, stop=max(old.stop, window.stop))
        found.append(window)
    return found


def _wider(grid: Grid, window: _Window, followed: Followed) -> _Window:
    """Longer on each side on which the group is still together."""
    before, after = followed.goes_on(grid.bar)
    more = window.stop - window.start
    return replace(
        window,
        start=max(0, window.start - before * more),
        stop=min(int(grid.bar[-1]) + 1, window.stop + after * more),
    )


def _followed(
    grid: Grid, evidence: Evidence, windows: Sequence[_Window], seams: frozenset[int]
) -> Iterator[tuple[_Window, Followed]]:
    """The windows followed, those of like length at once."""
    starts = np.searchsorted(grid.bar, [window.start for window in windows])
    widths = np.searchsorted(grid.bar, [window.stop for window in windows]) - starts
    order = np.argsort(-widths, kind="stable")
    while len(order):
        here, order = np.split(order, [max(1, _CELLS // int(widths[order[0]]))])
        part = [windows[n] for n in here.tolist()]
        yield from _at_once(grid, evidence, part, starts[here], widths[here], seams)


def _at_once(
    grid: Grid,
    evidence: Evidence,
    windows: Sequence[_Window],
    starts: NDArray[np.int64],
    widths: NDArray[np.int64],
    seams: frozenset[int],
) -> Iterator[tuple[_Window, Followed]]:
    """starts, widths: of each window in columns; those less wide than the first are filled up with
    columns that say nothing."""
    places = np.arange(int(widths[0]))
    columns = np.minimum(starts[:, None] + places, len(grid.ticks) - 1)
    odds = odds_of(evidence, [sorted(window.group) for window in windows], columns)
    rhythm = odds.rhythm + odds.length
    weights = np.stack([np.zeros_like(rhythm), rhythm + odds.motion, rhythm + odds.pitch], axis=1)
    weights = np.maximum(weights, -_COLUMN_SAYS)
    weights *= (places < widths[:, None])[:, None]
    rests, pauses = (_rests(grid, windows, columns, share) for share in (1, 2))
    cheap = rests | np.isin(columns, sorted(seams))
    states = _decode(weights, cheap, np.where(starts > 0, 0.0, -_CHANGE_AT_SEAM))
    chosen = np.take_along_axis(weights, states[:, None, :].astype(np.int64), axis=1)[:, 0]
    for n, (window, first, width) in enumerate(
        zip(windows, starts.tolist(), widths.tolist(), strict=True)
    ):
        yield (
            window,
            Followed(
                window.group,
                window.bars,
                states[n, :width],
                chosen[n, :width],
                rests[n, :width],
                pauses[n, :width],
                grid.struck,
                first,
            ),
        )


def _rests(
    grid: Grid, windows: Sequence[_Window], columns: NDArray[np.int64], share: int
) -> NDArray[np.bool_]:
    """windows x columns: nobody in the group has sounded for a bar divided by `share`."""
    asleep = share * grid.quiet >= grid.bar_length
    return np.stack(
        [
            asleep[sorted(window.group)][:, where].all(axis=0)
            for window, where in zip(windows, columns, strict=True)
        ]
    )


def _decode(weights: Floats, cheap: NDArray[np.bool_], begins: Floats) -> NDArray[np.int8]:
    """The likeliest states of each group. weights: groups x states x columns, in nats; begins: for
    each group, of being together before the first column."""
    groups, states, columns = weights.shape
    prices = np.full((states, states), _CHANGE)
    prices[RHYTHM, LINE] = prices[LINE, RHYTHM] = _CHANGE_OF_TEXTURE
    np.fill_diagonal(prices, 0.0)
    usual = prices[:, :, None]
    at_seam = np.minimum(prices, _CHANGE_AT_SEAM)[:, :, None]
    evidence = np.ascontiguousarray(weights.transpose(2, 1, 0))
    pointers = np.zeros((columns, states, groups), dtype=np.int8)
    score = np.zeros((states, groups))
    score[1:] = begins
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
