"""Seconds of rest for a player to turn a page in, by the clock: at every bar line, and where the
road map goes on elsewhere than on the next line."""

from __future__ import annotations

from bisect import bisect_left

from sectionprep.drawing.paging.lines_and_pages import Jump
from sectionprep.music.chart import Chart, Part
from sectionprep.music.roadmap import leads_elsewhere

Playing = list[tuple[int, int]]


def _playing(part: Part) -> Playing:
    """Onset and end of all that a player plays, in order."""
    return sorted(
        (n.onset, n.end) for n in part.notes if not n.is_rest and not n.is_cue and n.duration
    )


def rests_at_bar_ends(chart: Chart, part: Part) -> tuple[float, ...]:
    """Seconds of rest around each bar line: from the last note's end before it to the next note
    after it."""
    playing = _playing(part)
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

    def of(self, part: Part) -> tuple[Jump, ...]:
        """Each jump with the seconds of rest that this part has around it."""
        if not self.jumps:
            return ()
        playing = _playing(part)
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
        return tuple(found)
