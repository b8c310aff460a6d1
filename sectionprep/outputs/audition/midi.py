"""The same played notes as a MIDI file: one track a part, tempo, meter, key, markers, General MIDI
programs."""

from __future__ import annotations

import io
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sectionprep.music.chart import Chart
from sectionprep.music.clock import Clock
from sectionprep.music.timing import Meter
from sectionprep.musicxml.copies.transposing import fifths_up
from sectionprep.outputs.audition.performance import Played
from sectionprep.outputs.audition.road import Piece

_TICKS = 480
_BEND_RANGE = 12  # semitones


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One part. program: General MIDI program counted from 1."""

    name: str
    program: int
    notes: Sequence[Played]


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """Meter and key from a second on. fifths: of the sounding key."""

    second: float
    meter: Meter
    fifths: int


_KEYS = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")


def signatures_of(chart: Chart, clock: Clock, pieces: Sequence[Piece] = ()) -> list[Signature]:
    """Every meter and key of the chart, at the bar where it begins to hold; with pieces, in played
    time."""
    keys = _sounding_keys(chart)
    found: list[Signature] = []
    bars = (
        [(chart.bars[n], piece) for piece in pieces for n in range(piece.first, piece.last + 1)]
        if pieces
        else [(bar, None) for bar in chart.bars]
    )
    for bar, piece in bars:
        fifths = (
            keys[max(0, bisect_right([tick for tick, _ in keys], bar.start) - 1)][1] if keys else 0
        )
        if not found or (bar.meter, fifths) != (found[-1].meter, found[-1].fifths):
            second = clock.second(bar.start / chart.resolution) + (
                piece.second - piece.written[0] if piece else 0.0
            )
            found.append(Signature(second=second, meter=bar.meter, fifths=fifths))
    return found


def _sounding_keys(chart: Chart) -> list[tuple[int, int]]:
    """The sounding key by tick, from the first part that has one: the written key without what its
    transposition adds."""
    part = next((part for part in chart.parts if part.keys), None)
    if part is None:
        return []
    return [
        (tick, written - (0 if chart.concert else fifths_up(part.transposition_at(tick))))
        for tick, written in part.keys
    ]


def midi_file(
    tracks: Sequence[Track],
    clock: Clock,
    markers: Sequence[tuple[float, str]],
    signatures: Sequence[Signature],
) -> bytes:
    """A type 1 file. clock: its tempos; markers: (second, text)."""
    import mido

    def tick_of(second: float) -> int:
        return round(clock.quarter(second) * _TICKS)

    events: list[tuple[int, object]] = []
    for quarter, tempo in zip(clock.quarters, clock.tempos, strict=True):
        events.append(
            (round(quarter * _TICKS), mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(tempo)))
        )
    for sign in signatures:
        at = tick_of(sign.second)
        unit = 2 ** max(0, sign.meter.unit.bit_length() - 1)
        events.append(
            (
                at,
                mido.MetaMessage(
                    "time_signature", numerator=min(sign.meter.beats, 255), denominator=unit
                ),
            )
        )
        if -7 <= sign.fifths <= 7:
            events.append((at, mido.MetaMessage("key_signature", key=_KEYS[sign.fifths + 7])))
    events += [
        (tick_of(second), mido.MetaMessage("marker", text=_plain(text))) for second, text in markers
    ]
    head = mido.MidiTrack()
    now = 0
    for at, message in sorted(events, key=lambda event: event[0]):
        head.append(message.copy(time=max(0, at - now)))  # type: ignore[attr-defined]
        now = max(now, at)
    file = mido.MidiFile(type=1, ticks_per_beat=_TICKS)
    file.tracks.append(head)
    for number, track in enumerate(tracks):
        file.tracks.append(_track(track, _channel(number), tick_of))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _plain(text: str) -> str:
    return text.encode("latin-1", "replace").decode("latin-1")


def _channel(number: int) -> int:
    channel = number % 15
    return channel + 1 if channel >= 9 else channel  # channel 10 is for drums


def _track(track: Track, channel: int, tick_of: Callable[[float], int]) -> object:
    import mido

    events: list[tuple[int, int, object]] = []
    for note in track.notes:
        start = tick_of(note.start)
        stop = max(tick_of(note.start + note.length), start + 1)
        velocity = max(8, min(127, round(127 * 10 ** (note.level / 40))))
        events.append(
            (
                start,
                2,
                mido.Message("note_on", channel=channel, note=note.pitch % 128, velocity=velocity),
            )
        )
        events.append(
            (stop, 0, mido.Message("note_off", channel=channel, note=note.pitch % 128, velocity=0))
        )
        for bend, where in ((note.bend_in, start), (note.bend_out, (start + stop) // 2)):
            if bend:
                value = max(-8192, min(8191, round(8192 * bend / _BEND_RANGE)))
                back = start + (stop - start) // 6 if where == start else stop
                events.append((where, 1, mido.Message("pitchwheel", channel=channel, pitch=value)))
                events.append((back, 1, mido.Message("pitchwheel", channel=channel, pitch=0)))
    made = mido.MidiTrack()
    made.append(mido.MetaMessage("track_name", name=_plain(track.name), time=0))
    made.append(
        mido.Message("program_change", channel=channel, program=max(0, track.program - 1), time=0)
    )
    for control, value in ((101, 0), (100, 0), (6, _BEND_RANGE)):
        made.append(
            mido.Message("control_change", channel=channel, control=control, value=value, time=0)
        )
    now = 0
    for tick, _, message in sorted(events, key=lambda e: (e[0], e[1])):
        made.append(message.copy(time=tick - now))  # type: ignore[attr-defined]
        now = tick
    return made
