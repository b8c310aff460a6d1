"""Who joins a passage for a while without being a member: a trumpet that doubles the altos for four
bars."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sectionprep.music.chart import Chart
from sectionprep.passages.followed import presence, scores_of
from sectionprep.passages.grid import Grid
from sectionprep.passages.model import Guest, Passage

_LEAST_BARS = 4  # a shorter meeting is one by chance, or no news to a director; judgement
_LEAST_NOTES = 8  # and so is one of a few notes
_ONE_LINE = (
    0.75  # share of notes on the lead's pitch class from which a guest doubles it; judgement
)


def with_guests(chart: Chart, grid: Grid, passages: Sequence[Passage]) -> tuple[Passage, ...]:
    """The passages, each with those who join it for four bars or more and are in no other then.
    Who goes with two passages at once is told as a guest of the surer one."""
    found = [_with_guests(chart, grid, passage, passages) for passage in passages]
    taken: list[Guest] = []
    for n in sorted(range(len(found)), key=lambda n: -found[n].odds):
        alone = tuple(guest for guest in found[n].guests if not _is_elsewhere(guest, taken))
        taken += alone
        found[n] = replace(found[n], guests=alone)
    return tuple(found)


def _is_elsewhere(guest: Guest, taken: Sequence[Guest]) -> bool:
    return any(
        other.part == guest.part and other.start < guest.end and guest.start < other.end
        for other in taken
    )


def _with_guests(
    chart: Chart, grid: Grid, passage: Passage, passages: Sequence[Passage]
) -> Passage:
    first, last = np.searchsorted(grid.ticks, [passage.attacks[0], passage.attacks[-1]]).tolist()
    busy = {
        part
        for other in passages
        if other.start < passage.end and passage.start < other.end
        for part in other.parts
    }
    attacks = np.zeros(last - first + 1, dtype=bool)
    attacks[np.searchsorted(grid.ticks, passage.attacks) - first] = True
    found = []
    for part in range(len(grid.struck)):
        if part in busy or not grid.struck[part, first : last + 1].any():
            continue
        found += _visits(chart, grid, passage, part, first, attacks)
    return replace(passage, guests=tuple(found)) if found else passage


def _visits(
    chart: Chart,
    grid: Grid,
    passage: Passage,
    part: int,
    first: int,
    attacks: np.ndarray[tuple[int], np.dtype[np.bool_]],
) -> list[Guest]:
    struck = grid.struck[part, first : first + len(attacks)]
    present = presence(scores_of(struck, attacks))
    edges = np.flatnonzero(np.diff(present.astype(np.int8), prepend=0, append=0))
    found = []
    for start, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        common = first + start + np.flatnonzero(struck[start:stop] & attacks[start:stop])
        if len(common) < _LEAST_NOTES:
            continue
        begin = int(grid.ticks[common[0]])
        end = int(grid.ticks[common[-1]] + grid.length[part, common[-1]])
        if end - begin < (_LEAST_BARS - 1) * int(grid.bar_length[common[0]]):
            continue
        found.append(
            Guest(
                part=part,
                start=begin,
                end=end,
                texture=_texture(grid, passage.lead, part, common.tolist()),
            )
        )
    return found


def _texture(grid: Grid, lead: int, part: int, columns: Sequence[int]) -> str:
    gaps = [grid.pitch[part, c] - grid.pitch[lead, c] for c in columns if grid.struck[lead, c]]
    if not gaps or sum(gap % 12 == 0 for gap in gaps) < _ONE_LINE * len(gaps):
        return "soli"
    return "unison" if Counter(int(gap) for gap in gaps).most_common(1)[0][0] == 0 else "octaves"


def say_guests(chart: Chart, passage: Passage) -> str:
    """ "with Trumpet 2 (unison, bar 20 to bar 23)", or nothing."""
    said = [
        f"{_label(chart, guest)} ({guest.texture}, bar {chart.place(guest.start).bar} to "
        f"bar {chart.end_place(guest.end).bar})"
        for guest in passage.guests
    ]
    return f"with {', '.join(said)}" if said else ""


def _label(chart: Chart, guest: Guest) -> str:
    part = chart.parts[guest.part]
    return (part.second if guest.second else part).label
