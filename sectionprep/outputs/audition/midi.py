"""The same played notes as a MIDI file: one track a part, tempo, meter, key, markers, General MIDI programs."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from sectionprep.music.chart import Chart
from sectionprep.outputs.audition.performance import Played

_TICKS = 480
_BEND_RANGE = 12  # semitones


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One part. program: General MIDI program counted from 1."""

    name: str
    program: int
    notes: Sequence[Played]


def midi_file(chart: Chart, tracks: Sequence[Track], tempo: float, markers: Sequence[tuple[float, str]]) -> bytes:
    """A type 1 file. markers: (second, text)."""
    import mido

    per_second = _TICKS * tempo / 60
    file = mido.MidiFile(type=1, ticks_per_beat=_TICKS)
    head = mido.MidiTrack()
    meter = chart.bars[0].meter
    head.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(tempo), time=0))
    unit = 2 ** max(0, meter.unit.bit_length() - 1)
    head.append(mido.MetaMessage("time_signature", numerator=min(meter.beats, 255), denominator=unit, time=0))
    at = 0
    for second, text in sorted(markers):
        tick = round(second * per_second)
        head.append(mido.MetaMessage("marker", text=_plain(text), time=max(0, tick - at)))
        at = max(at, tick)
    file.tracks.append(head)
    for number, track in enumerate(tracks):
        file.tracks.append(_track(track, _channel(number), per_second))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _plain(text: str) -> str:
    return text.encode("latin-1", "replace").decode("latin-1")


def _channel(number: int) -> int:
    channel = number % 15
    return channel + 1 if channel >= 9 else channel  # channel 10 is for drums


def _track(track: Track, channel: int, per_second: float) -> object:
    import mido

    events: list[tuple[int, int, object]] = []
    for note in track.notes:
        start, stop = round(note.start * per_second), max(round((note.start + note.length) * per_second), round(note.start * per_second) + 1)
        velocity = max(8, min(127, round(127 * 10 ** (note.level / 40))))
        events.append((start, 2, mido.Message("note_on", channel=channel, note=note.pitch % 128, velocity=velocity)))
        events.append((stop, 0, mido.Message("note_off", channel=channel, note=note.pitch % 128, velocity=0)))
        for bend, where in ((note.bend_in, start), (note.bend_out, (start + stop) // 2)):
            if bend:
                value = max(-8192, min(8191, round(8192 * bend / _BEND_RANGE)))
                back = start + (stop - start) // 6 if where == start else stop
                events.append((where, 1, mido.Message("pitchwheel", channel=channel, pitch=value)))
                events.append((back, 1, mido.Message("pitchwheel", channel=channel, pitch=0)))
    made = mido.MidiTrack()
    made.append(mido.MetaMessage("track_name", name=_plain(track.name), time=0))
    made.append(mido.Message("program_change", channel=channel, program=max(0, track.program - 1), time=0))
    for control, value in ((101, 0), (100, 0), (6, _BEND_RANGE)):
        made.append(mido.Message("control_change", channel=channel, control=control, value=value, time=0))
    now = 0
    for tick, _, message in sorted(events, key=lambda e: (e[0], e[1])):
        made.append(message.copy(time=tick - now))  # type: ignore[attr-defined]
        now = tick
    return made
