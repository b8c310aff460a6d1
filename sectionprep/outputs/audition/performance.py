"""From notes and plan to what is played: when, how long, how loud.

Swing ratio (long to short of a pair of eighths): about 1.5 to 1 at slow tempo, falling to 1 to 1
near 300 beats a minute (Friberg and Sundstrom for soloists, 2002, from memory; Corcoran and Frieler
2021 find 1.3 to 1 as the typical value over 456 solos, which this line meets at 190). The ride
cymbal's larger ratios are not for horns. Lengths: the marks' table in music/marks.py; an unmarked
quarter in swing 0.55 of its value (M. Kilpatrick: 1/3 to 2/3 of a beat). Loudness: accent +4 dB,
rooftop accent +6, ghost -10, and up to 6 dB by weight: engineering judgement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sectionprep.music.chart import Chart, Tone
from sectionprep.music.clock import Clock
from sectionprep.music.marks import BY_NAME
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """One played note. start, length in seconds; pitch sounding MIDI number; level in decibels
    under full scale; bend: semitones to slide to at the end (falls, doits) or from at the start
    (scoops, plops)."""

    start: float
    length: float
    pitch: int
    level: float
    bend_in: float = 0.0
    bend_out: float = 0.0


def swing_ratio(tempo: float) -> float:
    """Long to short for a pair of eighths."""
    return max(1.0, min(1.5, 1.5 - 0.5 * (tempo - 120) / 180))


class SwungTime:
    """Ticks to seconds, with swing: the off-beat eighth comes late, everything else is in time."""

    def __init__(self, chart: Chart, clock: Clock, swing: bool) -> None:
        self.beat, self.clock, self.swing = chart.resolution, clock, swing

    def at(self, tick: int) -> float:
        """Seconds from tick 0."""
        beat, rest = divmod(tick, self.beat)
        share = rest / self.beat
        if self.swing and abs(share - 0.5) < 1e-9:
            ratio = swing_ratio(self.clock.tempo_at(beat))
            share = ratio / (1 + ratio)
        return self.clock.second(beat + share)


def play(
    chart: Chart, tones: Sequence[Tone], plan: PassagePlan | None, *, clock: Clock, style: Style
) -> list[Played]:
    """Play tones of one part. plan: the passage's plan, or None for flat."""
    time = SwungTime(chart, clock, style.swing)
    wanted = {note.tone.onset: note for note in plan.notes} if plan else {}
    return [
        _one(chart, tone, wanted.get(tone.onset), time, style, flat=plan is None) for tone in tones
    ]


def _one(
    chart: Chart, tone: Tone, note: PlannedNote | None, time: SwungTime, style: Style, *, flat: bool
) -> Played:
    start, end = time.at(tone.onset), time.at(tone.end)
    written = end - start
    if flat:
        return Played(start=start, length=written * _FLAT_LENGTH, pitch=tone.pitch, level=_FLAT_DB)
    marks = note.marks if note else tone.marks
    share = _share(marks, note.length if note else "", tone, chart, style)
    level = (
        _FLAT_DB
        - 2
        + _BY_WEIGHT * ((note.weight if note else 0.5) - 0.5)
        + sum(_DECIBELS.get(m, 0.0) for m in marks)
    )
    if note is not None and note.cutoff is not None:
        share = min(share, (time.at(note.cutoff) - start) / written)
    if "breath-mark" in marks:
        share = min(share, max(0.3, 1 - 0.25 / written))
    return Played(
        start=start,
        length=written * share,
        pitch=tone.pitch,
        level=min(level, -1.0),
        bend_in=-2.0 if "scoop" in marks else 3.0 if "plop" in marks else 0.0,
        bend_out=-7.0 if "falloff" in marks else 5.0 if "doit" in marks else 0.0,
    )


def _share(marks: frozenset[str], planned: str, tone: Tone, chart: Chart, style: Style) -> float:
    """Share of the written value that sounds: the marks', else as planned, else the habit of the
    style."""
    lengths = [BY_NAME[m].length for m in marks if m in BY_NAME]
    spoken = [length for length in lengths if length is not None]
    if spoken:
        return min(spoken)
    habit = tone.duration == chart.resolution and style.short_quarters and "accent" not in marks
    short = planned == "short" if planned else habit
    return _SHORT if short else _FULL


def tones_in(chart: Chart, passage: Passage, part: int) -> list[Tone]:
    """The tones of one part inside a passage."""
    return list(chart.between(part, passage.start, passage.end))
