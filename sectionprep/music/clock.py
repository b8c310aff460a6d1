"""From written time to seconds and back, through every change of tempo. The one clock: page turns,
breath, endurance, rehearsal minutes and sound all read it. Swing is not its matter: it moves notes
inside a beat and no beat."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass

#: quarters a minute where the chart states none: a moderate tempo; judgement
TEMPO_IF_SILENT = 120.0


@dataclass(frozen=True, slots=True)
class Clock:
    """Tempos by place: quarters from the start at which each begins (the first is 0), quarters a
    minute, and the second at which it begins."""

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
        """The tempo in force at a place, in quarters a minute."""
        return self.tempos[max(0, bisect_right(self.quarters, quarter) - 1)]

    def at_a_share(self, share: float) -> Clock:
        """The same clock with every tempo at a share of its own (.8 for a slower practice)."""
        return Clock(
            self.quarters,
            tuple(tempo * share for tempo in self.tempos),
            tuple(start / share for start in self.starts),
        )


def steady(tempo: float) -> Clock:
    """One tempo throughout."""
    return Clock((0.0,), (tempo,), (0.0,))


def clock_of(tempos: Mapping[float, float]) -> Clock:
    """A clock from tempos (quarters a minute) by the place in quarters at which each begins. Before
    the first one its own holds; without any, a moderate one."""
    places = sorted(place for place in tempos if tempos[place] > 0)
    first = tempos[places[0]] if places else TEMPO_IF_SILENT
    quarters, speeds, starts = [0.0], [first], [0.0]
    for place in places:
        starts.append(starts[-1] + (place - quarters[-1]) * 60 / speeds[-1])
        quarters.append(place)
        speeds.append(tempos[place])
    if len(places) and places[0] == 0:
        del quarters[0], speeds[0], starts[0]
    return Clock(tuple(quarters), tuple(speeds), tuple(starts))
