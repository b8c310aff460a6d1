"""How loud a part is at each moment, by its written dynamics and hairpins and those of the plan.

One step between neighbours (p, mp, mf, f) is 4.5 dB: judgement, so that p and ff lie 18 dB apart
and a pad stays under a shout on a telephone's loudspeaker, too.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable

from sectionprep.music.chart import Chart
from sectionprep.music.hairpins import Pin, Pins, pins_of
from sectionprep.phrasing import PassagePlan

STEP = 4.5  # decibels between neighbouring dynamics
_SCALE = ("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff")
LEVELS = {name: STEP * (n - _SCALE.index("mf")) for n, name in enumerate(_SCALE)}
#: struck loud, then at once soft: (the note's beginning, what holds after it)
_SUDDEN = {
    "fp": (LEVELS["f"], LEVELS["p"]),
    "sfp": (LEVELS["ff"], LEVELS["p"]),
    "sfzp": (LEVELS["ff"], LEVELS["p"]),
    "sfpp": (LEVELS["ff"], LEVELS["pp"]),
    "pf": (LEVELS["p"], LEVELS["f"]),
}
#: one note louder than what holds
_STRUCK = frozenset({"sf", "sfz", "sffz", "fz", "rf", "rfz"})
_STRUCK_BY = 5.0  # decibels; judgement


class Loudness:
    """Decibels against mf by tick, for one part. Before the first dynamic mf holds."""

    def __init__(self, chart: Chart, part: int, plans: Iterable[PassagePlan] = ()) -> None:
        plans = tuple(plans)
        self._stretches: list[tuple[int, float, int, float]] = []
        self._begins: list[int] = []
        self._struck: set[int] = set()
        signs = [(sign.onset, sign.value) for sign in chart.signs(part, "dynamic")]
        printed = {tick for tick, _ in signs}
        signs += [
            (d.tick, d.value) for plan in plans for d in plan.dynamics if d.tick not in printed
        ]
        pins = Pins(pins_of(chart.signs(part, "wedge")))
        for wished in (Pin(h.start, h.stop, h.kind) for plan in plans for h in plan.hairpins):
            if not pins.meeting(wished):
                pins.add(wished)
        self._read(sorted(signs), sorted(pins), chart.resolution)

    def _read(self, signs: list[tuple[int, str]], pins: list[Pin], quarter: int) -> None:
        events: list[tuple[int, int, str | Pin]] = [(tick, 0, value) for tick, value in signs]
        events += [(pin.start, 1, pin) for pin in pins if pin.stop > pin.start]
        ticks = [tick for tick, _ in signs]
        for tick, _, event in sorted(events, key=lambda e: e[:2]):
            if isinstance(event, Pin):
                now = self.at(tick)
                aim = now + (STEP if event.kind == "crescendo" else -STEP)
                n = bisect_right(ticks, tick)
                if n < len(signs) and signs[n][0] <= event.stop + quarter:
                    goal = LEVELS.get(signs[n][1], now)
                    aim = goal if (goal - now) * (aim - now) > 0 else aim
                self._add(tick, now, event.stop, aim)
            elif event in _STRUCK:
                self._struck.add(tick)
            elif event in _SUDDEN:
                first, then = _SUDDEN[event]
                self._add(tick, first, tick + quarter, then)
            elif event in LEVELS:
                self._add(tick, LEVELS[event], tick, LEVELS[event])

    def _add(self, start: int, first: float, stop: int, last: float) -> None:
        self._begins.append(start)
        self._stretches.append((start, first, stop, last))

    def at(self, tick: int) -> float:
        """What holds at a tick."""
        n = bisect_right(self._begins, tick) - 1
        if n < 0:
            return 0.0
        start, first, stop, last = self._stretches[n]
        if tick >= stop:
            return last
        return first + (last - first) * (tick - start) / (stop - start)

    def of(self, onset: int, end: int) -> tuple[float, float]:
        """A note's level, and by how much it swells until its end."""
        struck = _STRUCK_BY if onset in self._struck else 0.0
        return self.at(onset) + struck, self.at(max(onset, end - 1)) - self.at(onset)
