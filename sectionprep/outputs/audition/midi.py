"""The same played notes as a MIDI file: one track a part, tempo, meter, key, markers, General MIDI
programs."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sectionprep.music.chart import Chart
from sectionprep.music.clock import Clock
from sectionprep.music.in_force import in_force
from sectionprep.music.timing import Meter
from sectionprep.musicxml.copies.transposing import fifths_up
from sectionprep.outputs.audition.performance import Played
from sectionprep.outputs.audition.road import Piece

_TICKS = 480
BEND_RANGE = 12  # semitones
#: what a player of MIDI calls these kinds of messages
MESSAGES = {
    "note_on": "noteon",
    "note_off": "noteoff",
    "pitchwheel": "pitch_bend",
    "control_change": "cc",
}
_DRUMS = 9  # General MIDI's channel 10, counted from 0
_EXPRESSION, _PLAIN = 11, 90  # the controller of swells, and where it rests
_STEPS = 8  # of a bend or a swell


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One part. program: General MIDI program counted from 1; drums: it is a drum set."""

    name: str
    program: int
    notes: Iterable[Played]
    drums: bool = False


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
        fifths = in_force(keys, bar.start, before=keys[0][1] if keys else 0)
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
    for track, channel in zip(tracks, channels(tracks), strict=True):
        file.tracks.append(_Track(track, channel, tick_of))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _plain(text: str) -> str:
    return text.encode("latin-1", "replace").decode("latin-1")


def channels(tracks: Sequence[Track]) -> list[int]:
    """A channel for each part, from 0; drums have General MIDI's own. More parts than channels
    share one by their programs."""
    free = [channel for channel in range(16) if channel != _DRUMS]
    programs = list(dict.fromkeys(track.program for track in tracks if not track.drums))
    alone = sum(not track.drums for track in tracks) <= len(free)
    given = iter(free)

    def channel(track: Track) -> int:
        if track.drums:
            return _DRUMS
        return next(given) if alone else free[programs.index(track.program) % len(free)]

    return [channel(track) for track in tracks]


#: (tick, order among events of one tick, kind of message, its value, its second value)
Event = tuple[int, int, str, int, int]


class _Track:
    """One part as messages, made while they are written."""

    def __init__(self, track: Track, channel: int, tick_of: Callable[[float], int]) -> None:
        self._track, self._channel, self._tick_of = track, channel, tick_of

    def __iter__(self) -> Iterator[Any]:
        import mido

        channel, program = self._channel, max(0, self._track.program - 1)
        yield mido.MetaMessage("track_name", name=_plain(self._track.name), time=0)
        yield mido.Message("program_change", channel=channel, program=program, time=0)
        for control, value in ((101, 0), (100, 0), (6, BEND_RANGE), (_EXPRESSION, _PLAIN)):
            yield mido.Message(
                "control_change", channel=channel, control=control, value=value, time=0
            )
        now, drums = 0, self._track.drums
        for tick, _, kind, first, second in sorted(
            event for note in self._track.notes for event in events(note, self._tick_of, drums)
        ):
            fields = {
                "note_on": {"note": first, "velocity": second},
                "note_off": {"note": first, "velocity": 0},
                "pitchwheel": {"pitch": first},
                "control_change": {"control": first, "value": second},
            }[kind]
            yield mido.Message(kind, channel=channel, time=max(0, tick - now), **fields)
            now = max(now, tick)


def events(note: Played, tick_of: Callable[[float], int], drums: bool) -> Iterator[Event]:
    """A note's messages, bends and swells in steps. tick_of: second to tick."""
    start = tick_of(note.start)
    stop = max(tick_of(note.start + note.length), start + 1)
    velocity = max(1, min(127, round(127 * 10 ** (note.level / 40))))
    yield start, 2, "note_on", note.pitch % 128, velocity
    yield stop, 0, "note_off", note.pitch % 128, 0
    if drums:
        return
    length = stop - start
    if note.bend_in:
        for n in range(_STEPS + 1):
            share = max(0.0, 1 - n / _STEPS)
            at = start + min(length // 2, _TICKS // 4) * n // _STEPS
            yield at, 1, "pitchwheel", _wheel(note.bend_in * share), 0
    if note.bend_out:
        for n in range(1, _STEPS + 1):
            at = start + length // 2 + (length - length // 2) * n // _STEPS - 1
            yield max(at, start), 1, "pitchwheel", _wheel(note.bend_out * (n / _STEPS) ** 1.5), 0
        yield stop, 1, "pitchwheel", 0, 0
    if abs(note.swell) >= 1:
        for n in range(1, _STEPS + 1):
            value = round(_PLAIN * 10 ** (note.swell * n / _STEPS / 40))
            at = start + length * n // (_STEPS + 1)
            yield at, 1, "control_change", _EXPRESSION, max(1, min(127, value))
        yield stop, 1, "control_change", _EXPRESSION, _PLAIN


def _wheel(semitones: float) -> int:
    return max(-8192, min(8191, round(8192 * semitones / BEND_RANGE)))
