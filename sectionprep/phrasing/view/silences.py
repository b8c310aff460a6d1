"""The silence before and after each note of a line, as the road map runs."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from itertools import pairwise
from operator import attrgetter

from sectionprep.music.chart import Chart
from sectionprep.music.notes import Tone

END = 90.0  # beats: what lies beyond the first and the last note of a part


def silences(
    chart: Chart, part: int, tones: Sequence[Tone], elsewhere: Mapping[int, frozenset[int]]
) -> tuple[list[float], list[float]]:
    """Ticks of silence before and after each of these tones in their part; what lies beyond the
    part's own first and last note, when the chart has no bar there, is endless. After a bar that at
    some time goes back, the shortest silence counts: a note that runs on once must not be cut
    off."""
    line = chart.lines[part]
    at = bisect_left(line, tones[0].onset, key=_onset)
    before = [float(tone.onset - last.end) for last, tone in pairwise(tones)]
    first = tones[0].onset - line[at - 1].end if at else END * chart.resolution
    after = [_silence_after(chart, line, at + n, elsewhere) for n in range(len(tones))]
    return [max(float(first), 0.0), *before], after


def _silence_after(
    chart: Chart, line: Sequence[Tone], n: int, elsewhere: Mapping[int, frozenset[int]]
) -> float:
    tone = line[n]
    bar = chart.bar_at(tone.end - 1)
    then = line[n + 1] if n + 1 < len(line) else None
    to_line = bar.end - tone.end
    beyond = elsewhere.get(bar.index)
    if beyond is not None and (then is None or then.onset >= bar.end):
        return float(to_line + min(_lead_in(chart, line, index) for index in beyond))
    if then is not None:
        return float(then.onset - tone.end)
    left = chart.bars[-1].end - tone.end
    return float(left) if left > 0 else END * chart.resolution


def _lead_in(chart: Chart, line: Sequence[Tone], index: int) -> int:
    """Ticks from a bar line to the first note of the bar, the whole bar if it has none."""
    bar = chart.bars[index]
    at = bisect_left(line, bar.start, key=_onset)
    return min(line[at].onset - bar.start, bar.length) if at < len(line) else bar.length


_onset = attrgetter("onset")
