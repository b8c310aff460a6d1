"""Dynamics said again, in parentheses, where a player may have lost them: at the entry after a long
rest, and where a D.S. or a jump to the coda goes on. On sheets only (common practice, no source).
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from itertools import pairwise

from sectionprep.drawing.paging.turns import Jump
from sectionprep.music.chart import Chart, Part
from sectionprep.music.notes import Tone

_LONG = 8  # bars of rest, as for a cue; judgement
#: of an accent, not of what follows: the dynamic before it still holds
_PASSING = frozenset({"sf", "sfz", "sffz", "sfp", "sfpp", "fz", "rf", "rfz", "fp", "pf", "sfzp"})


def reminders(chart: Chart, part: Part, jumps: tuple[Jump, ...]) -> dict[int, str]:
    """Dynamic by the address of the note at which it is said again. jumps: of the road map, between
    bars."""
    if part.staves > 1:
        return {}
    held = _Held(chart, part)
    found = {}
    for tone, before in _entries(chart, part, jumps):
        value = held.at(before)
        if value and not held.said_again(tone):
            found[tone.head.address] = value
    return found


def _entries(chart: Chart, part: Part, jumps: tuple[Jump, ...]) -> Iterator[tuple[Tone, int]]:
    """Where a player needs reminding, and up to which tick the dynamics count that hold there."""
    line = chart.lines[part.index]
    for before, tone in pairwise(line):
        if tone.bar - chart.bar_at(before.end - 1).index - 1 >= _LONG:
            yield tone, tone.onset
    onsets = [tone.onset for tone in line]
    for jump in jumps:
        if jump.name in ("repeat", "another ending"):
            continue
        n = bisect_left(onsets, chart.bars[jump.to].start)
        if n < len(line):
            ahead = jump.to > jump.leaves  # to a coda: what held where one leaves still holds
            yield line[n], chart.bars[jump.leaves].end if ahead else line[n].onset


class _Held:
    """Which dynamic holds in a part."""

    def __init__(self, chart: Chart, part: Part) -> None:
        self.chart = chart
        signs = chart.signs(part.index, "dynamic")
        self.signs = [sign.onset for sign in signs]
        lasting = [sign for sign in signs if sign.value.split()[-1] not in _PASSING]
        self.lasting = [sign.onset for sign in lasting]
        self.values = [sign.value for sign in lasting]
        self.wedges = [sign.onset for sign in chart.signs(part.index, "wedge")]

    def at(self, tick: int) -> str:
        """The dynamic that holds up to a tick; "" where none does or a hairpin has changed it."""
        n = bisect_left(self.lasting, tick) - 1
        if n < 0:
            return ""
        moved = bisect_left(self.wedges, tick) > bisect_left(self.wedges, self.lasting[n])
        return "" if moved else self.values[n]

    def said_again(self, tone: Tone) -> bool:
        """True where a dynamic stands in the bar of an entry, or a hairpin begins at it."""
        start = self.chart.bars[tone.bar].start
        beside = bisect_left(self.signs, tone.end) > bisect_left(self.signs, start)
        return beside or tone.onset in self.wedges
