"""What a listener would say of each bar: which parts move together in it.

For every two parts the evidence of each bar is weighed with that of its neighbours (a bar may be
one of a run, or a chance meeting), then the parts of a bar are gathered into groups, the surest
pairs first.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sectionprep.music.chart import Chart
from sectionprep.music.instruments import HORNS, UNKNOWN
from sectionprep.passages.chance import Floats
from sectionprep.passages.grid import Grid
from sectionprep.passages.groups import gather
from sectionprep.passages.model import BarGroup
from sectionprep.passages.odds import Evidence, odds_of
from sectionprep.passages.texture import HELD, column_kind, struck_lengths, struck_pitches

#: How much one bar can say, in nats: notes of one bar are no independent witnesses. From annotated
#: scores (tests/outside); between half and twice of each the figures move by less than .005.
_RHYTHM_SAYS, _LENGTH_SAYS, _PITCH_SAYS = 1.4, 1.05, 1.0
_HELD_SAYS = 0.7  # where both parts only hold notes on
#: Parts of one section are a little likelier together, players of one instrument (both flutes, all
#: trumpets) twice that, and winds with strings less so: they are two choirs, and what one plays
#: with the other is heard as a doubling by it. A prior, never a rule.
_SAME_SECTION, _SAME_INSTRUMENT, _OTHER_CHOIR = 0.15, 0.3, -0.3
_CHANGES = 0.2  # chance that two parts meet or part at a bar line
_CHANGES_TEXTURE = 0.15  # from harmony to one line or back
_LINE = -0.6  # odds from which two parts of a group share one line: judgement, favours saying so
_NEVER_MET = -8.0  # two parts that never strike together; judgement
_NO_CHANCE = 1e-300  # stands for none, whose logarithm would be no number
_BLOCK = 1500  # pairs at once: bounds memory


def bar_groups(
    chart: Chart, grid: Grid, evidence: Evidence, plays: NDArray[np.bool_]
) -> tuple[tuple[BarGroup, ...], ...]:
    """The groups of every bar, outer before inner."""
    first, second = _pairs(grid)
    if not len(first):
        return tuple(() for _ in chart.bars)
    edges = np.searchsorted(grid.bar, np.arange(len(chart.bars) + 1)).tolist()
    columns = [range(*pair) for pair in pairwise(edges)]
    tutti = plays & np.array([bool(group) for group in evidence.tutti.groups])
    together, line = _pair_odds(chart, grid, evidence, first, second, tutti)
    staff = np.array(grid.staff)
    unknown = np.where(staff[:, None] == staff, -np.inf, _NEVER_MET)
    found: list[tuple[BarGroup, ...]] = []
    for bar in range(len(chart.bars)):
        known = _matrix(together[:, bar], first, second, unknown)
        lines = _matrix(line[:, bar], first, second, unknown)
        whole = evidence.tutti.groups[bar]
        here = [whole] if whole else gather(known, np.flatnonzero(plays[:, bar]).tolist(), 0.0)
        groups = (g for group in here for g in _described(chart, grid, group, lines, columns[bar]))
        found.append(tuple(groups))
    return tuple(found)


def _pairs(grid: Grid) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """All pairs that strike together at least once; two players on one staff are none."""
    struck = grid.struck.astype(np.float32)
    first, second = np.triu_indices(len(struck), k=1)
    staff = np.array(grid.staff)
    keep = ((struck @ struck.T)[first, second] >= 1) & (staff[first] != staff[second])
    return first[keep], second[keep]


def _pair_odds(
    chart: Chart,
    grid: Grid,
    evidence: Evidence,
    first: NDArray[np.int64],
    second: NDArray[np.int64],
    tutti: NDArray[np.bool_],
) -> tuple[Floats, Floats]:
    """pairs x bars: log odds of together against apart, and of one line against anything else.
    tutti: parts x bars, the part plays and all who play do the same."""
    held = _held(chart)
    together, line = [], []
    for start in range(0, len(first), _BLOCK):
        one, other = first[start : start + _BLOCK], second[start : start + _BLOCK]
        members = np.stack([one, other], axis=1)
        prior = _priors(chart, one, other)
        logs = _smoothed(_bar_evidence(evidence, members, grid, held, prior, tutti))
        together.append(np.logaddexp(logs[..., 1], logs[..., 2]) - logs[..., 0])
        line.append(logs[..., 2] - np.logaddexp(logs[..., 0], logs[..., 1]))
    return np.concatenate(together), np.concatenate(line)


def _priors(chart: Chart, one: NDArray[np.int64], other: NDArray[np.int64]) -> Floats:
    """Of pairs, by their instruments and sections."""
    instruments = np.array([part.chair.instrument.key for part in chart.parts])
    sections = np.array([part.chair.section for part in chart.parts])
    is_wind = np.isin(sections, sorted(HORNS))
    choirs = np.where(is_wind[one] & is_wind[other], 0.0, _OTHER_CHOIR)
    section = np.where(sections[one] == sections[other], _SAME_SECTION, choirs)
    same = (instruments[one] == instruments[other]) & (instruments[one] != UNKNOWN.key)
    return np.where(same, _SAME_INSTRUMENT, section)


def _bar_evidence(
    evidence: Evidence,
    members: NDArray[np.int64],
    grid: Grid,
    held: NDArray[np.int64],
    prior: Floats,
    tutti: NDArray[np.bool_],
) -> Floats:
    """pairs x bars x (apart, same rhythm, one line), log likelihoods."""
    odds = odds_of(evidence, members.tolist(), motion=False)
    edges = np.searchsorted(grid.bar, np.arange(held.shape[1] + 1))

    def said(values: Floats, most: float) -> Floats:
        sums = np.cumsum(np.pad(values, ((0, 0), (1, 0))), axis=1)
        return np.asarray(most * np.tanh((sums[:, edges[1:]] - sums[:, edges[:-1]]) / most))

    rhythm = said(0.7 * odds.rhythm, _RHYTHM_SAYS) + said(0.7 * odds.length, _LENGTH_SAYS)
    # who does as all do has all that a bar can say for it: so has, a little, the bar beside
    everybody_does = tutti[members].all(axis=1) & (rhythm != 0)
    rhythm = np.where(everybody_does, _RHYTHM_SAYS + _LENGTH_SAYS, rhythm)
    rhythm += np.where(rhythm != 0, prior[:, None], 0)
    line = said(0.5 * odds.pitch, _PITCH_SAYS)
    line += np.where(line != 0, 2 * prior[:, None], 0)
    silent = said(np.abs(odds.pitch) + np.abs(odds.length), 1e9) == 0
    line = np.where(silent, _held_lines(members, held), line)
    return np.stack([np.zeros_like(rhythm), rhythm, rhythm + line], axis=2)


def _held_lines(members: NDArray[np.int64], held: NDArray[np.int64]) -> Floats:
    """pairs x bars: two notes held into the bar are one line if they are the same note."""
    one, other = held[members[:, 0]], held[members[:, 1]]
    both = (one >= 0) & (other >= 0)
    return np.where(both, np.where(one == other, _HELD_SAYS, -_HELD_SAYS), 0.0)


def _held(chart: Chart) -> NDArray[np.int64]:
    """parts x bars: pitch class of the note that sounds on from the bar before, or -1."""
    found = np.full((len(chart.lines), len(chart.bars)), -1, dtype=np.int64)
    starts = [bar.start for bar in chart.bars]
    for row, line in enumerate(chart.lines):
        for tone in line:
            after = bisect_right(starts, tone.onset)
            found[row, after : bisect_left(starts, tone.end)] = tone.pitch % 12
    return found


def _smoothed(evidence: Floats) -> Floats:
    """Log posterior of each state in each bar, from the bars before and after (forward, backward).
    Worked out in likelihoods, each bar's scaled so that they stay numbers."""
    apart, texture = _CHANGES, _CHANGES_TEXTURE
    steps = np.array(
        [
            [1 - apart, apart / 2, apart / 2],
            [apart, 1 - apart - texture, texture],
            [apart, texture, 1 - apart - texture],
        ]
    )
    pairs, bars, states = evidence.shape
    said = np.exp(evidence - evidence.max(axis=2, keepdims=True)).transpose(1, 0, 2).copy()
    ahead = np.empty_like(said)
    state = np.broadcast_to([0.6, 0.2, 0.2], (pairs, states))
    for bar in range(bars):
        state = state @ steps * said[bar]
        state /= state.sum(axis=1, keepdims=True)
        ahead[bar] = state
    state = np.ones((pairs, states))
    for bar in range(bars - 1, -1, -1):
        ahead[bar] *= state
        state = (said[bar] * state) @ steps.T
        state /= state.sum(axis=1, keepdims=True)
    ahead /= ahead.sum(axis=2, keepdims=True)
    return np.asarray(np.log(np.maximum(ahead, _NO_CHANCE)).transpose(1, 0, 2))


def _matrix(
    odds: Floats, first: NDArray[np.int64], second: NDArray[np.int64], unknown: Floats
) -> Floats:
    table = unknown.copy()
    table[first, second] = table[second, first] = odds
    return table


def _described(
    chart: Chart, grid: Grid, group: frozenset[int], lines: Floats, columns: range
) -> list[BarGroup]:
    rows = sorted(group)
    striking = [sum(map(grid.struck_at[column].__getitem__, rows)) for column in columns]
    attacks = [columns[n] for n, count in enumerate(striking) if 2 * count > len(rows)]
    attacks = attacks or [columns[n] for n, count in enumerate(striking) if count]
    inner = [
        BarGroup(texture=line_texture(grid, double, attacks), parts=tuple(sorted(double)))
        for double in gather(lines, rows, _LINE)
    ]
    if len(inner) == 1 and len(inner[0].parts) == len(rows):
        return inner
    lengths = list(itertools.chain.from_iterable(struck_lengths(grid, rows, attacks)))
    mean = sum(lengths) / len(lengths) / chart.resolution if lengths else HELD
    return [BarGroup(texture="rhythm" if mean >= HELD else "soli", parts=tuple(rows)), *inner]


def line_texture(grid: Grid, group: frozenset[int], attacks: Sequence[int]) -> str:
    """ "unison" or "octaves", whatever is more frequent at these columns."""
    rows = sorted(group)
    kinds = Counter(column_kind(pitches) for pitches in struck_pitches(grid, rows, attacks))
    return "unison" if kinds["unison"] > kinds["octaves"] + kinds["soli"] // 2 else "octaves"
