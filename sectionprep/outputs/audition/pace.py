"""From written time to seconds and back, through every change of tempo."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from sectionprep.music.chart import Chart
from sectionprep.phrasing.view import TEMPO_IF_SILENT


@dataclass(frozen=True, slots=True)
class Pace:
    """Tempos by place: quarters from the start at which each begins (the first is 0), beats
    (quarters) a minute, and the second at which it begins."""

    quarters: tuple[float, ...]
    tempos: tuple[float, ...]
    starts: tuple[float, ...]

    def second(self, quarter: float) -> float:
        """Seconds from the start to a place in quarters."""
        n = max(0, bisect_right(self.quarters, quarter) - 1)
        return self.starts[n] + (quarter - self.quarters[n]) * 60 / self.tempos[n]

    def quarter(self, second: float) -> float:
        """The place in quarters that is reached at a second."""
        n = max(0, bisect_right(self.starts, second) - 1)
        return self.quarters[n] + (second - self.starts[n]) * self.tempos[n] / 60

    def tempo_at(self, quarter: float) -> float:
        """The tempo in force at a place."""
        return self.tempos[max(0, bisect_right(self.quarters, quarter) - 1)]


def steady(tempo: float) -> Pace:
    """One tempo throughout."""
    return Pace((0.0,), (tempo,), (0.0,))


def pace_of(chart: Chart, share: float = 1.0) -> Pace:
    """The chart's tempos, each taken at a share of its own. A chart that is silent goes at a
    moderate tempo."""
    found: dict[int, float] = {0: chart.tempo or TEMPO_IF_SILENT}
    for part in chart.parts:
        for sign in part.directions:
            if sign.kind == "metronome":
                found[sign.onset] = float(sign.value)
    quarters: list[float] = []
    tempos: list[float] = []
    starts: list[float] = []
    second, before = 0.0, 0.0
    for tick in sorted(found):
        quarter = tick / chart.resolution
        if quarters:
            second += (quarter - before) * 60 / tempos[-1]
        quarters.append(quarter)
        tempos.append(found[tick] * share)
        starts.append(second)
        before = quarter
    return Pace(tuple(quarters), tuple(tempos), tuple(starts))
