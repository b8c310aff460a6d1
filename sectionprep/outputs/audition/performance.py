"""From notes and plan to what is played: when, how long, how loud.

Swing ratio (long to short of a pair of eighths): about 1.5 to 1 at slow tempo, falling to 1 to 1
near 300 beats a minute (Friberg and Sundstrom for soloists, 2002, from memory; Corcoran and Frieler
2021 find 1.3 to 1 as the typical value over 456 solos, which this line meets at 190). The ride
cymbal's larger ratios are not for horns. A shuffle has two thirds of the beat, 2 to 1, at any
tempo: that is what the word means (common practice, no source). Sixteenths share the halves of the
beat as the eighths have it; triplets are in time.

Lengths: the marks' table in music/marks.py; an unmarked quarter in swing 0.55 of its value (M.
Kilpatrick: 1/3 to 2/3 of a beat). Loudness: accent +4 dB, rooftop accent +6, ghost -10, and up to
6 dB by weight: engineering judgement. Dynamics: dynamics.py.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sectionprep.music.chart import Chart
from sectionprep.music.clock import Clock
from sectionprep.music.instruments import HORNS
from sectionprep.music.marks import BY_NAME
from sectionprep.music.notes import Tone
from sectionprep.outputs.audition.dynamics import Loudness
from sectionprep.passages import Passage
from sectionprep.phrasing import PassagePlan, PlannedNote
from sectionprep.phrasing.styles import Style

_FLAT_LENGTH = 0.92  # of the written value, where nothing is brought out
_FLAT_DB = -12.0
_SHORT, _FULL = 0.55, 0.97  # of the written value: a note that is short by habit, one that is held
_DECIBELS = {
    "accent": 4.0,
    "strong-accent": 6.0,
    "soft-accent": 2.0,
    "tenuto": 1.0,
    "stress": 2.0,
    "unstress": -3.0,
    "ghost": -10.0,
}
_BY_WEIGHT = 6.0  # decibels between weight 0 and 1
_SHUFFLE = 2 / 3  # of the beat
_SOFTEST, _LOUDEST = -48.0, -1.0  # decibels under full scale
#: semitones from which a note slides in, and to which it slides at its end; judgement
_BEND_IN = {"scoop": -2.0, "plop": 3.0, "rip": -7.0, "smear": -3.0, "lift": -4.0}
_BEND_OUT = {"falloff": -7.0, "doit": 5.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """One played note. start, length in seconds; pitch sounding MIDI number; level in decibels
    under full scale; bend: semitones to slide to at the end (falls, doits) or from at the start
    (scoops, plops); swell: decibels by which it is louder at its end than at its start."""

    start: float
    length: float
    pitch: int
    level: float
    bend_in: float = 0.0
    bend_out: float = 0.0
    swell: float = 0.0


def swing_ratio(tempo: float) -> float:
    """Long to short for a pair of eighths."""
    return max(1.0, min(1.5, 1.5 - 0.5 * (tempo - 120) / 180))


class SwungTime:
    """Ticks to seconds, with swing: the off-beat eighth comes late, and with it the sixteenths
    beside it. Beats are counted from the bar line (in a pick-up towards the next one); bars in
    three-eighth beats do not swing."""

    def __init__(self, chart: Chart, clock: Clock, style: Style) -> None:
        self.chart, self.clock, self.style = chart, clock, style

    def at(self, tick: int) -> float:
        """Seconds from tick 0."""
        chart, beat = self.chart, self.chart.resolution
        if not self.style.swing or tick >= chart.bars[-1].end:
            return self.clock.second(tick / beat)
        bar = chart.bar_at(tick)
        origin = bar.end if bar.index == 0 and bar.length % beat else bar.start
        start = origin + (tick - origin) // beat * beat
        share = (tick - start) / beat
        compound = bar.meter.unit == 8 and bar.meter.beats % 3 == 0
        if share and not compound and (4 * share) % 1 == 0:
            late = self._late(start / beat)
            share = 2 * share * late if share <= 0.5 else late + (2 * share - 1) * (1 - late)
        return self.clock.second(start / beat + share)

    def _late(self, quarter: float) -> float:
        """Where in the beat the off-beat comes."""
        if self.style.name == "shuffle":
            return _SHUFFLE
        ratio = swing_ratio(self.clock.tempo_at(quarter))
        return ratio / (1 + ratio)


def play(
    chart: Chart,
    tones: Sequence[Tone],
    plan: PassagePlan | None,
    *,
    clock: Clock,
    style: Style,
    flat: bool | None = None,
    loudness: Loudness | None = None,
) -> list[Played]:
    """Play tones of one part. plan: the passage's plan, or None. flat: without any phrasing, as by
    default where there is no plan; dynamics are heard all the same."""
    time = SwungTime(chart, clock, style)
    wanted = {note.tone.onset: note for note in plan.notes} if plan else {}
    flat = plan is None if flat is None else flat
    onsets = sorted({tone.onset for tone in tones})
    found = []
    for tone in tones:
        level, swell = loudness.of(tone.onset, tone.end) if loudness else (0.0, 0.0)
        n = bisect_right(onsets, tone.onset)
        rest = onsets[n] - tone.end if n < len(onsets) else chart.resolution
        if flat:
            played = _flat(tone, time)
        else:
            played = _shaped(chart, tone, wanted.get(tone.onset), time, style, rest)
        level = max(_SOFTEST, min(played.level + level, _LOUDEST))
        found.append(replace(played, level=level, swell=min(swell, _LOUDEST - level)))
    return found


def _flat(tone: Tone, time: SwungTime) -> Played:
    start = time.at(tone.onset)
    length = (time.at(tone.end) - start) * _FLAT_LENGTH
    return Played(start=start, length=length, pitch=tone.pitch, level=_FLAT_DB - 2)


def _shaped(
    chart: Chart, tone: Tone, note: PlannedNote | None, time: SwungTime, style: Style, rest: int
) -> Played:
    start = time.at(tone.onset)
    written = time.at(tone.end) - start
    marks = note.marks if note else tone.marks
    share = _share(marks, note.length if note else "", tone, chart, style, rest)
    level = (
        _FLAT_DB
        - 2
        + _BY_WEIGHT * ((note.weight if note else 0.5) - 0.5)
        + sum(_DECIBELS.get(m, 0.0) for m in marks)
    )
    if note is not None and note.cutoff is not None:
        until = (time.at(note.cutoff) - start) / written
        share = until if share == _FULL else min(share, until)
    if "breath-mark" in marks:
        share = min(share, max(0.3, 1 - 0.25 / written))
    return Played(
        start=start,
        length=written * share,
        pitch=tone.pitch,
        level=level,
        bend_in=next((by for mark, by in _BEND_IN.items() if mark in marks), 0.0),
        bend_out=next((by for mark, by in _BEND_OUT.items() if mark in marks), 0.0),
    )


def _share(
    marks: frozenset[str], planned: str, tone: Tone, chart: Chart, style: Style, rest: int
) -> float:
    """Share of the written value that sounds: the marks', else as planned, else the habit of the
    style. rest: ticks of silence after the note."""
    lengths = [BY_NAME[m].length for m in marks if m in BY_NAME]
    spoken = [length for length in lengths if length is not None]
    if spoken:
        return min(spoken)
    if planned:
        return _SHORT if planned == "short" else _FULL
    if chart.parts[tone.head.part].chair.section not in HORNS or "accent" in marks:
        return _FULL
    quarter = tone.duration == chart.resolution and style.short_quarters
    closing = 2 * tone.duration <= chart.resolution and 2 * rest >= chart.resolution
    return _SHORT if quarter or (closing and style.name != "concert") else _FULL


def tones_in(chart: Chart, passage: Passage, part: int) -> list[Tone]:
    """The tones of one part inside a passage."""
    return list(chart.read_by(passage.seconds).between(part, passage.start, passage.end))
