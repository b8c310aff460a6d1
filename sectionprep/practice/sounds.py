"""The takes of each passage as small sound files: every part is played once, and the takes are
mixed from that.

MP3, since every telephone plays it. A take begins at the bar line before the passage and ends with
its last bar, so that bars can be looped; tempo, count-in and click are the page's.
"""

from __future__ import annotations

import tempfile
from bisect import bisect_left
from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from sectionprep.music.chart import Chart
from sectionprep.music.clock import Clock
from sectionprep.outputs.audition.band import Band, Voice
from sectionprep.outputs.audition.performance import Played
from sectionprep.outputs.audition.road import Piece, laid_out, length_of, pieces_of
from sectionprep.outputs.audition.soundfiles import write_sound
from sectionprep.outputs.audition.synth import Sound, blocks
from sectionprep.passages import Passage

_TAIL = 0.4  # seconds for the last note to die away
_KIND = "mp3"


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """Seconds of a take. bars: (printed number, second) of each bar line; beats: (second, first of
    its bar); end: of the last bar."""

    bars: tuple[tuple[str, float], ...]
    beats: tuple[tuple[float, bool], ...]
    end: float


def times_of(chart: Chart, pieces: Sequence[Piece], clock: Clock) -> Times:
    """When bars and beats come in a take of these pieces."""
    bars, beats = [], []
    for piece in pieces:
        move = piece.second - piece.written[0]
        for bar in chart.bars[piece.first : piece.last + 1]:
            bars.append((bar.number, round(clock.second(bar.start / chart.resolution) + move, 3)))
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


def passage_sounds(band: Band, voices: Sequence[Voice], passage: Passage, folder: Path) -> None:
    """Write the takes of a passage for all its players: NAME_band; for each part NAME_N_me,
    NAME_N_lead (with the lead) and NAME_N_section (the section without it). voices: of the whole
    band in written time. N: the part's number from 1."""
    piece = piece_of(band.chart, passage)
    labels = [band.chart.parts[p].label for p in passage.parts]
    sounds = {voice.name: _played(voice, piece) for voice in voices}
    total = np.sum(list(sounds.values()), axis=0)
    _write(total, folder / f"{passage.id}_band.{_KIND}")
    own = {part: sounds[label] for part, label in zip(passage.parts, labels, strict=True)}
    section = np.sum(list(own.values()), axis=0)
    for part, sound in own.items():
        stem = f"{passage.id}_{part + 1:02d}"
        _write(sound, folder / f"{stem}_me.{_KIND}")
        if part != passage.lead:
            _write(sound + own[passage.lead], folder / f"{stem}_lead.{_KIND}")
        if len(own) > 1:
            _write(section - sound, folder / f"{stem}_section.{_KIND}")


def whole_sounds(
    chart: Chart, voices: Sequence[Voice], folder: Path, without: Sequence[int]
) -> None:
    """The whole chart as its road map runs: chart_band, and chart_N_without for these parts."""
    pieces = pieces_of(chart, chart.clock)

    def played(left: Container[str]) -> Iterator[Sound]:
        return blocks(
            [(v.section, laid_out(v.notes, pieces) if v.name in left else ()) for v in voices],
            length_of(pieces) + _TAIL,
        )

    with tempfile.TemporaryFile() as kept:  # a long chart does not fit into memory

        def keep(sound: Iterator[Sound]) -> Iterator[Sound]:
            for block in sound:
                kept.write(block.tobytes())
                yield block

        everybody = {v.name for v in voices}
        write_sound(keep(played(everybody)), folder / f"chart_band.{_KIND}")
        for part in without:
            kept.seek(0)
            own = played({chart.parts[part].label})
            rest = (np.frombuffer(kept.read(mine.nbytes), np.float32) - mine for mine in own)
            write_sound(rest, folder / f"chart_{part + 1:02d}_without.{_KIND}")


def _played(voice: Voice, piece: Piece) -> Sound:
    """A voice inside a piece. What is held beyond its end ends with it."""
    start, end = piece.written
    first = bisect_left(voice.notes, start - 1e-6, key=_start)
    last = bisect_left(voice.notes, end - 1e-6, first, key=_start)
    notes = [
        replace(
            note, start=note.start - start, length=max(0.02, min(note.length, end - note.start))
        )
        for note in voice.notes[first:last]
    ]
    return np.concatenate(list(blocks([(voice.section, notes)], end - start + _TAIL)))


def _start(note: Played) -> float:
    return note.start


def _write(sound: Sound, path: Path) -> None:
    write_sound([sound.astype(np.float32)], path)
