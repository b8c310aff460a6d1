"""Unison, octaves or soli along a stretch, and what a chord of a soli is called."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from functools import lru_cache
from statistics import median

import numpy as np
from numpy.typing import NDArray

from sectionprep.passages.grid import Grid

TEXTURES = ("unison", "octaves", "soli", "rhythm")
_UNISON, _OCTAVES, _SOLI, _PAD = range(4)
#: cost of a column of this kind (row) in a state (column); judgement, in odd notes
_COSTS = {
    "unison": (0.0, 0.7, 0.9, 1.2),
    "octaves": (1.6, 0.0, 0.9, 1.2),
    "one off": (0.8, 0.8, 0.35, 0.8),
    "soli": (1.8, 1.8, 0.0, 1.6),
    "held": (1.8, 1.8, 1.0, 0.0),
    "alone": (0.0, 0.0, 0.0, 0.0),
}
_CHANGE = 3.5  # four notes in octaves are a run of their own
HELD = 2  # quarter notes: from here on a harmonised note is padding, not a line; judgement


def column_kind(pitches: Sequence[int]) -> str:
    """How the notes struck together relate: unison, octaves, soli; "one off" when one of three or
    more leaves a common line (a wrong note, perhaps); "alone" for a single note."""
    return _kind_of(tuple(pitches)) if len(pitches) > 1 else "alone"


@lru_cache(8192)  # a chart strikes the same chords again and again
def _kind_of(pitches: tuple[int, ...]) -> str:
    if len(set(pitches)) == 1:
        return "unison"
    classes = Counter(p % 12 for p in pitches)
    if len(classes) == 1:
        return "octaves"
    if len(pitches) >= 3 and classes.most_common(1)[0][1] == len(pitches) - 1:
        return "one off"
    return "soli"


def texture_runs(
    grid: Grid, parts: Sequence[int], attacks: Sequence[int], quarter: int
) -> list[tuple[str, int, int]]:
    """Runs (texture, first, last) over positions in `attacks`, by the cheapest path over the
    stretch. quarter: ticks of a quarter note, to tell held chords from a line."""
    rows = list(parts)
    beats = np.array(
        [
            median(lengths) / quarter if lengths else 0.0
            for lengths in struck_lengths(grid, rows, attacks)
        ]
    )
    held = beats >= HELD
    kinds = [column_kind(pitches) for pitches in struck_pitches(grid, rows, attacks)]
    kinds = [
        "held" if kind == "soli" and long else kind for kind, long in zip(kinds, held, strict=True)
    ]
    costs = np.array([_COSTS[kind] for kind in kinds])
    costs[held, _SOLI] *= np.minimum(
        beats[held] / HELD, 2.0
    )  # the longer a chord, the less it is a line
    path = _cheapest(costs)
    runs: list[tuple[str, int, int]] = []
    start = 0
    for n in range(1, len(path) + 1):
        if n == len(path) or path[n] != path[start]:
            first, last = start, n - 1
            if path[start] in (
                _UNISON,
                _OCTAVES,
            ):  # a harmonised chord at either end is no part of a common line
                while first < last and kinds[first] in ("soli", "held"):
                    first += 1
                while last > first and kinds[last] in ("soli", "held"):
                    last -= 1
            runs.append((TEXTURES[path[start]], first, last))
            start = n
    return runs


def struck_pitches(grid: Grid, rows: Sequence[int], columns: Sequence[int]) -> list[list[int]]:
    """For each column the pitches that these parts strike there, in the order of the parts."""
    return _where_struck(grid.pitch_at, grid, rows, columns)


def struck_lengths(grid: Grid, rows: Sequence[int], columns: Sequence[int]) -> list[list[int]]:
    """The same for their lengths in ticks."""
    return _where_struck(grid.length_at, grid, rows, columns)


def _where_struck(
    values: list[list[int]], grid: Grid, rows: Sequence[int], columns: Sequence[int]
) -> list[list[int]]:
    found = []
    for column in columns:
        here, struck = values[column], grid.struck_at[column]
        found.append([here[row] for row in rows if struck[row]])
    return found


def _cheapest(costs: NDArray[np.float64]) -> list[int]:
    count, states = costs.shape
    total = costs[0].copy()
    back = np.zeros((count, states), dtype=int)
    change = np.full((states, states), _CHANGE)
    np.fill_diagonal(change, 0.0)
    for n in range(1, count):
        ways = total[:, None] + change
        back[n] = ways.argmin(axis=0)
        total = ways.min(axis=0) + costs[n]
    state = int(total.argmin())
    path = [state]
    for n in range(count - 1, 0, -1):
        state = int(back[n][state])
        path.append(state)
    return path[::-1]


def voicing_of(pitches: Sequence[int]) -> str:
    """Name of a harmonised chord (sounding MIDI numbers, any order).

    Definitions as taught in arranging tutorials (D. Bristol, solisax; P. Coats, Orchestration for
    Saxophones; Gustavus jazz pedagogy pages): close = all different notes within an octave below
    the lead; drop 2 = second voice from the top lowered an octave; drop 2 and 4 = second and fourth
    lowered; cluster = close with neighbouring seconds throughout; wide = wider than these. "lead
    doubled below" when the lead's note is also played an octave or more below.
    """
    low = min(pitches)
    return _voicing(tuple(sorted({p - low for p in pitches}, reverse=True)))


@lru_cache(8192)
def _voicing(voices: tuple[int, ...]) -> str:
    if len({p % 12 for p in voices}) == 1:
        return "unison" if len(voices) == 1 else "octaves"
    lead = voices[0]
    upper: list[int] = []
    for p in voices:  # a note doubled below counts once, where it is highest
        if all((p - above) % 12 for above in upper):
            upper.append(p)
    name = _shape(upper)
    return f"{name}, lead doubled below" if any((lead - p) % 12 == 0 for p in voices[1:]) else name


def _is_close(voices: Sequence[int]) -> bool:
    return all(a > b for a, b in itertools.pairwise(voices)) and voices[0] - voices[-1] < 12


def _shape(voices: list[int]) -> str:
    if len(voices) == 1:
        return "octaves"
    if len(voices) == 2:
        return "two-part"
    steps = [a - b for a, b in itertools.pairwise(voices)]
    if _is_close(voices):
        if len(voices) >= 3 and all(step <= 2 for step in steps):
            return "cluster"
        return "close"
    if len(voices) >= 4:
        top, *rest = voices
        if _is_close([top, rest[-1] + 12, *rest[:-1]]):
            return "drop 2"
        if len(voices) == 4 and _is_close([top, rest[1] + 12, rest[0], rest[2] + 12]):
            return "drop 2 and 4"
        if _is_close([top, rest[0], rest[-1] + 12, *rest[1:-1]]):
            return "drop 3"
    elif _is_close([voices[0], voices[2] + 12, voices[1]]):
        return "open triad"
    return "wide"


def summary(names: Sequence[str]) -> str:
    """The two most frequent voicings with their share: "drop 2, lead doubled below (71 %), close
    (20 %)"."""
    if not names:
        return ""
    counted = Counter(names).most_common(2)
    return "; ".join(
        f"{name} ({round(100 * n / len(names))} %)" for name, n in counted if n * 5 >= len(names)
    )
