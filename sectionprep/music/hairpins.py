"""Printed hairpins, from where to where they run."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterable, Iterator, Sequence
from operator import attrgetter
from typing import NamedTuple

from sectionprep.music.notes import Direction, Tone

KINDS = ("crescendo", "diminuendo")
_onset, _start = attrgetter("onset"), attrgetter("start")


class Pin(NamedTuple):
    """A complete hairpin, in ticks. signs: its beginning and its end in the document; none for one
    that is only wished for."""

    start: int
    stop: int
    kind: str
    signs: tuple[Direction, ...] = ()

    def like(self, other: Pin, quarter: int) -> bool:
        """The same to a reader: ends less than a quarter note apart. quarter: in ticks; the bound
        is a judgement."""
        near = abs(self.start - other.start) < quarter and abs(self.stop - other.stop) < quarter
        return near and self.kind == other.kind

    def meets(self, other: Pin) -> bool:
        """The two cannot stand over one line: they overlap."""
        return self.start < other.stop and other.start < self.stop

    def within(self, line: Sequence[Tone], end: int) -> Pin:
        """As far as a part can follow it: to the end of its last note under it, and not beyond
        `end`."""
        last = bisect_left(line, self.stop, key=_onset) - 1
        sounding = line[last].end if last >= 0 else self.stop
        return self._replace(stop=min(self.stop, end, max(sounding, self.start)))


class Pins:
    """Hairpins in order of their beginnings, to be asked for those that are near another."""

    def __init__(self, pins: Iterable[Pin] = ()) -> None:
        self._pins = sorted(pins, key=_start)
        self._longest = max((pin.stop - pin.start for pin in self._pins), default=0)

    def __iter__(self) -> Iterator[Pin]:
        return iter(self._pins)

    def add(self, pin: Pin) -> None:
        """Take up one more."""
        insort(self._pins, pin, key=_start)
        self._longest = max(self._longest, pin.stop - pin.start)

    def touching(self, start: int, stop: int) -> list[Pin]:
        """Those that reach into a stretch, its ends included."""
        first = bisect_left(self._pins, start - self._longest, key=_start)
        end = bisect_right(self._pins, stop, key=_start)
        return [pin for pin in self._pins[first:end] if pin.stop >= start]

    def meeting(self, pin: Pin) -> list[Pin]:
        """Those that cannot stand over one line with this one."""
        return [other for other in self.touching(pin.start, pin.stop) if pin.meets(other)]

    def has_like(self, pin: Pin, quarter: int) -> bool:
        """Whether one of them is the same to a reader. quarter: in ticks."""
        first = bisect_left(self._pins, pin.start - quarter, key=_start)
        end = bisect_right(self._pins, pin.start + quarter, key=_start)
        return any(pin.like(other, quarter) for other in self._pins[first:end])


def pins_of(wedges: Iterable[Direction], end: float = math.inf) -> list[Pin]:
    """The complete hairpins that begin before `end` (a tick), in order of their ends. wedges: of
    one part, in order of time; the ends are joined by their numbers."""
    opened: dict[int, Direction] = {}
    found: list[Pin] = []
    for sign in wedges:
        if sign.onset >= end and not opened:
            break
        if sign.value in KINDS and sign.onset < end:
            opened[sign.number] = sign
        elif sign.value == "stop" and sign.number in opened:
            start = opened.pop(sign.number)
            found.append(Pin(start.onset, sign.onset, start.value, (start, sign)))
    return found
