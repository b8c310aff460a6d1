"""Which takes each passage has for each of its players.

A take begins at the bar line before the passage and ends with its last bar, so that bars can be
looped; tempo, count-in and click are the page's.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sectionprep.music.chart import Chart
from sectionprep.music.clock import Clock
from sectionprep.outputs.audition.band import Band, Voice
from sectionprep.outputs.audition.performance import Played
from sectionprep.outputs.audition.road import Piece, length_of, pieces_of
from sectionprep.passages import Passage
from sectionprep.practice.takes import SoundJob, TakeFolders, make_takes

_RHYTHM = ("rhythm", "percussion")  # sections that a band can be heard without
_TAIL = 0.4  # seconds for the last note to die away


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """Seconds of a take. bars: (printed number, second, index) of each bar; beats: (second, first
    of its bar); end: of the last bar."""

    bars: tuple[tuple[str, float, int], ...]
    beats: tuple[tuple[float, bool], ...]
    end: float


def times_of(chart: Chart, pieces: Sequence[Piece], clock: Clock) -> Times:
    """When bars and beats come in a take of these pieces."""
    bars, beats = [], []
    for piece in pieces:
        move = piece.second - piece.written[0]
        for bar in chart.bars[piece.first : piece.last + 1]:
            start = clock.second(bar.start / chart.resolution) + move
            bars.append((bar.number, round(start, 3), bar.index))
            step = bar.meter.pulse * chart.resolution
            for n in range(max(1, round(bar.length / step))):
                second = clock.second(float(bar.start + n * step) / chart.resolution) + move
                beats.append((round(second, 3), n == 0))
    return Times(bars=tuple(bars), beats=tuple(beats), end=round(length_of(pieces), 3))


def piece_of(chart: Chart, passage: Passage) -> Piece:
    """The bars of a passage, as a take plays them."""
    first, last = chart.place(passage.start).index, chart.end_place(passage.end).index
    start, end = (
        chart.clock.second(tick / chart.resolution)
        for tick in (chart.bars[first].start, chart.bars[last].end)
    )
    return Piece(first, last, (start, end), 0.0)


def passage_sounds(
    band: Band, voices: Sequence[Voice], passage: Passage, place: TakeFolders
) -> dict[str, str]:
    """Write the takes of a passage for all its players: NAME_band and, without the rhythm section,
    NAME_horns; for each part NAME_N_me, NAME_N_lead (with the lead) and NAME_N_section (the section
    without it). voices: of the whole band in written time; N: the part's number from 1. The key of
    each take by its name."""
    piece = piece_of(band.chart, passage)
    start, end = piece.written
    inside = [_inside(voice, piece) for voice in voices]
    number = {voice.name: n for n, voice in enumerate(voices)}
    own = {part: number[band.chart.parts[part].label] for part in passage.parts}
    takes = _of_the_band(band.chart, passage.id, voices)
    for part, n in own.items():
        stem = f"{passage.id}_{part + 1:02d}"
        takes.append(SoundJob(f"{stem}_me", frozenset((n,))))
        if part != passage.lead:
            takes.append(SoundJob(f"{stem}_lead", frozenset((n, own[passage.lead]))))
        if len(own) > 1:
            takes.append(SoundJob(f"{stem}_section", frozenset(own.values()) - {n}))
    lead = own.get(passage.lead)
    return make_takes(takes, inside, end - start + _TAIL, place, lead=lead)


def whole_sounds(
    chart: Chart, voices: Sequence[Voice], without: Sequence[int], place: TakeFolders
) -> dict[str, str]:
    """The whole chart as its road map runs: chart_band, chart_horns, and chart_N_without for these
    parts. The key of each take by its name."""
    pieces = pieces_of(chart, chart.clock)
    takes = _of_the_band(chart, "chart", voices)
    everybody = frozenset(range(len(voices)))
    for part in without:
        n = next(n for n, voice in enumerate(voices) if voice.name == chart.parts[part].label)
        takes.append(SoundJob(f"chart_{part + 1:02d}_without", everybody - {n}))
    return make_takes(takes, voices, length_of(pieces) + _TAIL, place, pieces)


def _of_the_band(chart: Chart, name: str, voices: Sequence[Voice]) -> list[SoundJob]:
    """The whole band, and the band without its rhythm section where it has one."""
    everybody = frozenset(range(len(voices)))
    rhythm = {part.label for part in chart.parts if part.chair.section in _RHYTHM}
    horns = frozenset(n for n in everybody if voices[n].name not in rhythm)
    takes = [SoundJob(f"{name}_band", everybody)]
    return takes + ([SoundJob(f"{name}_horns", horns)] if has_horns(chart) else [])


def has_horns(chart: Chart) -> bool:
    """True where the band can be heard without its rhythm section."""
    return len({part.chair.section in _RHYTHM for part in chart.parts}) > 1


def _inside(voice: Voice, piece: Piece) -> Voice:
    """A voice inside a piece. What is held beyond its end ends with it."""
    start, end = piece.written
    first = bisect_left(voice.notes, start - 1e-6, key=_start)
    last = bisect_left(voice.notes, end - 1e-6, first, key=_start)
    notes = tuple(
        replace(
            note, start=note.start - start, length=max(0.02, min(note.length, end - note.start))
        )
        for note in voice.notes[first:last]
    )
    return replace(voice, notes=notes)


def _start(note: Played) -> float:
    return note.start
