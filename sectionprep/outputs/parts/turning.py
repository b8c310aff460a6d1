"""Seconds of rest for a player to turn a page in, by the clock: at every bar line, and where the
road map goes on elsewhere than on the next line.

Who plays time from slashes has a hand free where no figure is to be caught: a drummer keeps the
cymbal going, who comps leaves a beat out. A bass that walks has none, nor has a soloist. Common
practice, a judgement; a rest is better where there is one.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection
from dataclasses import replace

from sectionprep.drawing.paging.turns import TURN_SECONDS, Jump
from sectionprep.music.chart import Chart, Part
from sectionprep.music.roadmap import leads_elsewhere
from sectionprep.outputs.parts.rhythm_choice import slash_bars

Playing = list[tuple[int, int]]


def plain_time(part: Part, cued: Collection[int]) -> frozenset[int]:
    """Bars in which a player has a hand free: slashes and no figure. cued: bars with a rhythm
    cue."""
    if part.chair.section != "rhythm" or part.chair.instrument.key == "bass":
        return frozenset()
    return slash_bars(part) - frozenset(cued)


def _playing(part: Part, plain: Collection[int] = ()) -> Playing:
    """Onset and end of all for which a player needs both hands, in order. plain: bars of time."""
    return sorted(
        (n.onset, n.end)
        for n in part.notes
        if not n.is_rest and not n.is_cue and n.duration and n.bar not in plain
    )


def free_at_bar_ends(
    chart: Chart, part: Part, plain: Collection[int]
) -> tuple[tuple[float, ...], frozenset[int]]:
    """Seconds to turn in around each bar line, and the bars (indices) at whose ends they are not of
    rest, but of plain time, since there is too little rest. plain: bars of time."""
    rests = rests_at_bar_ends(chart, part)
    if not plain:
        return rests, frozenset()
    free = rests_at_bar_ends(chart, part, plain)
    in_time = frozenset(n for n, rest in enumerate(rests) if rest < TURN_SECONDS and rest < free[n])
    return tuple(free[n] if n in in_time else rest for n, rest in enumerate(rests)), in_time


def rests_at_bar_ends(chart: Chart, part: Part, plain: Collection[int] = ()) -> tuple[float, ...]:
    """Seconds of rest around each bar line: from the last note's end before it to the next note
    after it. plain: bars of time that count as rests."""
    playing = _playing(part, plain)
    found: list[float] = []
    at = 0
    quiet_since = 0
    total = chart.bars[-1].end
    for bar in chart.bars:
        while at < len(playing) and playing[at][0] < bar.end:
            quiet_since = max(quiet_since, playing[at][1])
            at += 1
        following = playing[at][0] if at < len(playing) else total
        found.append(
            max(0.0, chart.seconds(quiet_since, following)) if quiet_since <= bar.end else 0.0
        )
    return tuple(found)


class RoadTurns:
    """The jumps of one chart: found once, timed for each part."""

    def __init__(self, chart: Chart) -> None:
        self.chart = chart
        self.jumps = [
            (here, there, self._name(here, there))
            for here, then in sorted(leads_elsewhere(chart).items())
            for there in sorted(then)
            if there != here + 1
        ]

    def _name(self, here: int, there: int) -> str:
        """What a player calls it."""
        words = {
            sign.value
            for part in self.chart.parts
            for sign in part.directions
            if sign.kind == "jump" and sign.bar == here and "to coda" not in sign.value.lower()
        }
        if there > here:
            return "another ending" if self.chart.bars[there].endings else "to the coda"
        return min(words, default="repeat")

    def of(self, part: Part, plain: Collection[int] = ()) -> tuple[Jump, ...]:
        """Each jump with the seconds of rest that this part has around it; of plain time where
        there is too little rest. plain: bars of time."""
        rests = self._timed(_playing(part))
        free = self._timed(_playing(part, plain)) if plain else rests
        return tuple(
            replace(hand, in_time=True) if rest.seconds < min(TURN_SECONDS, hand.seconds) else rest
            for rest, hand in zip(rests, free, strict=True)
        )

    def _timed(self, playing: Playing) -> list[Jump]:
        """Each jump with the seconds around it in which nothing of this is played."""
        onsets = [onset for onset, _ in playing]
        found = []
        for here, there, name in self.jumps:
            leaves, goes_on = self.chart.bars[here].end, self.chart.bars[there].start
            held = max((end for _, end in playing[: bisect_left(onsets, leaves)]), default=0)
            after = bisect_left(onsets, goes_on)
            begins = onsets[after] if after < len(onsets) else self.chart.bars[-1].end
            seconds = self.chart.seconds(min(held, leaves), leaves)
            seconds += self.chart.seconds(goes_on, begins)
            found.append(Jump(leaves=here, to=there, seconds=seconds, name=name))
        return found
