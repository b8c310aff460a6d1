"""The chart as it is played: its bars in the order of the road map, laid end to end."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from sectionprep.music.chart import Chart
from sectionprep.music.clock import Clock
from sectionprep.music.roadmap import playing_order
from sectionprep.outputs.audition.performance import Played


@dataclass(frozen=True, slots=True)
class Piece:
    """Bars played one after the other as they are written. first, last: bar indices; written:
    (start, end) in seconds of written time; second: when it begins in played time."""

    first: int
    last: int
    written: tuple[float, float]
    second: float


#: a road map is followed for so many times the bars of the chart, or this many bars: all of it
#: repeated and once more from the beginning is four times; judgement
_TIMES, _BARS = 4, 1000
#: minutes after which a road map that is cut anyway ends: no band plays one chart for longer;
#: judgement
LONGEST = 10


def most_bars(chart: Chart) -> int:
    """Bars played after which a road map is followed no further."""
    return max(_TIMES * len(chart.bars), _BARS)


def is_cut(chart: Chart) -> bool:
    """True when the road map goes on beyond what is played."""
    most = most_bars(chart)
    return len(playing_order(chart, most + 1)) > most


def pieces_of(chart: Chart, clock: Clock) -> tuple[Piece, ...]:
    """The road map as runs of bars; one that goes on beyond what is played ends sooner where its
    bars are long."""
    found: list[Piece] = []
    second = 0.0
    most = most_bars(chart)
    order = playing_order(chart, most + 1)
    longest = 60.0 * LONGEST if len(order) > most else math.inf
    for first, last in _runs(order[:most]):
        if second >= longest:
            break
        start, end = (
            clock.second(tick / chart.resolution)
            for tick in (chart.bars[first].start, chart.bars[last].end)
        )
        found.append(Piece(first, last, (start, end), second))
        second += end - start
    return tuple(found)


def _runs(order: Sequence[int]) -> Iterable[tuple[int, int]]:
    start = 0
    for n in range(1, len(order) + 1):
        if n == len(order) or order[n] != order[n - 1] + 1:
            yield order[start], order[n - 1]
            start = n


def length_of(pieces: Sequence[Piece]) -> float:
    """Seconds that the chart takes."""
    return pieces[-1].second + pieces[-1].written[1] - pieces[-1].written[0] if pieces else 0.0


def laid_out(notes: Sequence[Played], pieces: Sequence[Piece]) -> Iterator[Played]:
    """Notes in written time, in every place where they are played. notes: in order of their
    starts."""
    starts = [note.start for note in notes]
    for piece in pieces:
        first = bisect_left(starts, piece.written[0] - 1e-6)
        for note in notes[first : bisect_left(starts, piece.written[1] - 1e-6, first)]:
            yield replace(note, start=note.start - piece.written[0] + piece.second)


def played_at(second: float, pieces: Sequence[Piece]) -> list[float]:
    """Every moment of played time that answers to a moment of written time."""
    return [
        second - piece.written[0] + piece.second
        for piece in pieces
        if piece.written[0] - 1e-6 <= second < piece.written[1] - 1e-6
    ]


def played_clock(chart: Chart, clock: Clock, pieces: Sequence[Piece]) -> Clock:
    """The tempos in played time."""
    quarters: list[float] = []
    tempos: list[float] = []
    starts: list[float] = []
    passed = 0.0
    for piece in pieces:
        first, last = (
            chart.bars[piece.first].start / chart.resolution,
            chart.bars[piece.last].end / chart.resolution,
        )
        for quarter in (first, *(q for q in clock.quarters if first < q < last)):
            if not tempos or clock.tempo_at(quarter) != tempos[-1]:
                quarters.append(passed + quarter - first)
                tempos.append(clock.tempo_at(quarter))
                starts.append(piece.second + clock.second(quarter) - piece.written[0])
        passed += last - first
    return Clock(tuple(quarters), tuple(tempos), tuple(starts))
