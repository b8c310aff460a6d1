"""From tones to a line with its phrases: what the rules are given."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from operator import itemgetter

from sectionprep.music.chart import Bar, Chart
from sectionprep.music.in_force import index_in_force
from sectionprep.music.notes import Tone
from sectionprep.music.roadmap import leads_elsewhere
from sectionprep.phrasing.styles import Style
from sectionprep.phrasing.view.line import LineView
from sectionprep.phrasing.view.phrases import phrase_ends, slurs_over, triplets_in
from sectionprep.phrasing.view.silences import silences
from sectionprep.phrasing.view.spot import Spot


def felt_beat(chart: Chart, bar: int) -> int:
    """Ticks of the beat that lines are phrased in: a quarter, also where the metre counts halves or
    eighths, and a dotted quarter in metres of three eighths to a beat."""
    meter = chart.bars[bar].meter
    if meter.unit >= 8 and meter.beats % 3 == 0:
        return max(1, 12 * chart.resolution // meter.unit)
    return chart.resolution


def view_line(
    chart: Chart,
    tones: Sequence[Tone],
    style: Style,
    part: int,
    *,
    tutti: bool = False,
    elsewhere: Mapping[int, frozenset[int]] | None = None,
) -> LineView:
    """Look at consecutive tones of one part as a line. tutti: the band plays it. elsewhere: where
    bars lead to (roadmap), for who views many lines of a chart."""
    beat = felt_beat(chart, tones[0].bar)
    borders = sorted(phrase_ends(tones, beat))
    triplets = triplets_in(tones, chart)
    slurs = slurs_over(tones)
    before, after = silences(
        chart, part, tones, leads_elsewhere(chart) if elsewhere is None else elsewhere
    )
    spots: list[Spot] = []
    phrases: list[tuple[int, int]] = []
    first = 0
    for phrase, last in enumerate(borders):
        fine = _runs_in_sixteenths(tones[first : last + 1], chart.resolution, style)
        spots.extend(
            _spot(
                chart,
                tones,
                n,
                (before[n], after[n]),
                fine=fine,
                triplet=triplets[n],
                phrase=phrase,
                first=n == first,
                last=n == last,
                slur=slurs[n],
            )
            for n in range(first, last + 1)
        )
        phrases.append((first, last))
        first = last + 1
    return LineView(
        spots=tuple(spots),
        phrases=tuple(phrases),
        style=style,
        beat=beat,
        quarter=chart.resolution,
        tempo=chart.tempo_at(tones[0].onset if tones else 0),
        chords=chart.chords(part),
        sections=_sections(chart, tones),
        dynamics=_dynamics(chart, part, tones),
        tutti=tutti,
    )


def _sections(chart: Chart, tones: Sequence[Tone]) -> tuple[int, ...]:
    """Where a section opens among the bars of a line."""
    bars = chart.bars[tones[0].bar : tones[-1].bar + 1]
    return tuple(
        bar.start
        for bar in bars
        if bar.rehearsal or (bar.index and chart.bars[bar.index - 1].double_bar)
    )


def _dynamics(chart: Chart, part: int, tones: Sequence[Tone]) -> tuple[tuple[int, str], ...]:
    """The dynamics printed in a part up to the end of a line, from the one in force at its start
    on."""
    signs = chart.signs(part, "dynamic", 0, tones[-1].end)
    found = [(sign.onset, sign.value) for sign in signs]
    at = index_in_force(found, tones[0].onset, itemgetter(0))
    return tuple(found[max(at, 0) :])


def _runs_in_sixteenths(tones: Sequence[Tone], quarter: int, style: Style) -> bool:
    """True for a phrase whose sixteenths run: two of them in styles that think in sixteenths, else
    half of the phrase and four (a line in double time). Judgements."""
    sixteenths = sum(4 * tone.duration <= quarter and not tone.head.in_tuplet for tone in tones)
    if style.unit == "16th":
        return sixteenths >= 2
    return sixteenths >= 4 and 2 * sixteenths >= len(tones)


def _spot(
    chart: Chart,
    tones: Sequence[Tone],
    n: int,
    silence: tuple[float, float],
    *,
    fine: bool,
    triplet: int,
    phrase: int,
    first: bool,
    last: bool,
    slur: str,
) -> Spot:
    tone, bar = tones[n], chart.bars[tones[n].bar]
    pulse = felt_beat(chart, tone.bar)
    halves = chart.resolution if fine else 2 * pulse  # ticks of two beats
    offset = tone.onset - bar.start
    counted = offset + _missing(chart, bar)
    place = _counted(2 * counted, halves)
    odd = not fine and bar.length % (2 * pulse) == pulse
    before, after = silence
    return Spot(
        index=n,
        tone=tone,
        offset=offset,
        beat=place,
        length=2 * tone.duration / halves,
        quarters=tone.duration / chart.resolution,
        strong=place == 1 if odd else place.denominator == 1 and place.numerator % 2 == 1,
        pushed=counted % pulse > 0
        and counted % pulse + tone.duration > pulse
        and not tone.head.in_tuplet,
        before=2 * before / halves,
        after=2 * after / halves,
        rise=tone.pitch - tones[n - 1].pitch if n else 0,
        ahead=tones[n + 1].pitch - tone.pitch if n + 1 < len(tones) else 0,
        triplet=triplet,
        phrase=phrase,
        first=first,
        last=last,
        slur=slur,
        fine=fine,
        compound=pulse != chart.resolution and not fine,
    )


@lru_cache(maxsize=1024)
def _counted(ticks: int, beat: int) -> Fraction:
    """Ticks from the bar line as a beat, from 1."""
    return Fraction(ticks, beat) + 1


def _missing(chart: Chart, bar: Bar) -> int:
    """Ticks that a pick-up bar lacks at its front: its notes lead to the next bar line."""
    if bar.index:
        return 0
    return max(0, int(bar.meter.quarters * chart.resolution) - bar.length)
