"""A small synthesiser of our own: reed, trumpet, trombone, strings that are plucked or struck, and
a drum set; clear enough to hear short from long.

It works through the time in blocks, so that neither a long chart nor a long note needs memory for
more than one of them. A short note that comes again is played once and kept: a chart of 7,000 has
fewer than 2,000 different ones. What makes a tone less of a test tone is all judgement: a breath of
noise at the attack and brightness that follow loudness, vibrato on long notes, players of a section
a few milliseconds apart (the same ones in every run), a little room.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from sectionprep.outputs.audition.performance import Played

RATE = 22_050
Sound = NDArray[np.float32]
_BLOCK = 10 * RATE  # samples
_HARMONICS = {
    "saxes": (1.0, 0.62, 0.55, 0.30, 0.24, 0.12, 0.08),
    "woodwinds": (1.0, 0.3, 0.4, 0.15, 0.1),
    "trumpets": (0.7, 0.9, 0.8, 0.62, 0.45, 0.30, 0.2, 0.12),
    "trombones": (1.0, 0.8, 0.5, 0.32, 0.18, 0.1),
    "rhythm": (1.0, 0.5, 0.3, 0.15, 0.08),
    "other": (1.0, 0.4, 0.2, 0.1),
}
DRUMS = "drums"  # the section whose pitches are General MIDI's percussion keys
_ATTACK, _RELEASE = 0.012, 0.035  # seconds
_SHORT = 1.0  # seconds: longer notes are not kept, so that those kept need 190 MB at the very most
_APART = 0.004  # seconds by which the players of a section differ, standard deviation
_VIBRATO_FROM, _VIBRATO_HZ, _VIBRATO = 0.45, 5.2, 0.18  # seconds, a second, semitones
_RING = {"rhythm": 0.7}  # seconds in which a plucked or struck tone fades to a third
#: the room: (seconds, share) of its first echoes
_ROOM = ((0.017, 0.07), (0.029, 0.06), (0.043, 0.05), (0.061, 0.04), (0.083, 0.03))
_FULL = 0.16  # of full scale: one voice at level 0


@dataclass(slots=True)
class _Sounding:
    """A note while it sounds. phase: where its wave has come to, in radians."""

    section: str
    note: Played
    start: int
    phase: float = 0.0

    @property
    def stop(self) -> int:
        """The sample after its last."""
        length = _DRUM_TAIL if self.section == DRUMS else self.note.length + _RELEASE
        return self.start + max(int(length * RATE), 64)


def blocks(
    voices: Sequence[tuple[str, Iterable[Played]]],
    seconds: float,
    clicks: Sequence[tuple[float, bool]] = (),
    *,
    room: bool = True,
    spread: bool = True,
) -> Iterator[Sound]:
    """Mix voices (section name, notes in order of their starts) into one channel, block by block.
    clicks: (second, is the first beat of a bar). room: with echoes. spread: the first voice leads,
    the others are apart from it; else all are in time."""
    coming = heapq.merge(
        *(_begun(section, n * spread, notes) for n, (section, notes) in enumerate(voices)),
        key=attrgetter("start"),
    )
    following = next(coming, None)
    sounding: list[_Sounding] = []
    ticks = sorted(clicks)
    far = int(_ROOM[-1][0] * RATE) if room else 0
    before = np.zeros(far, dtype=np.float32)
    total = max(1, int(seconds * RATE))
    for first in range(0, total, _BLOCK):
        last = min(first + _BLOCK, total)
        dry = np.zeros(last - first, dtype=np.float32)
        while following is not None and following.start < last:
            sounding.append(following)
            following = next(coming, None)
        for one in sounding:
            _add(dry, one, first, last)
        sounding = [one for one in sounding if one.stop > last]
        for second, strong in ticks:
            at = int(second * RATE)
            if first <= at < last:
                click = _click(strong)[: last - at]
                dry[at - first : at - first + len(click)] += click
        if not room:
            yield dry
            continue
        heard = np.concatenate((before, dry))
        wet = dry.copy()
        for delay, share in _ROOM:
            back = far - int(delay * RATE)
            wet += share * heard[back : back + len(dry)]
        before = heard[len(heard) - far :]
        yield wet


def render(
    voices: Sequence[tuple[str, Sequence[Played]]],
    seconds: float,
    clicks: Sequence[tuple[float, bool]] = (),
    *,
    room: bool = True,
) -> Sound:
    """All blocks at once: for what is short."""
    return np.concatenate(list(blocks(voices, seconds, clicks, room=room)))


def apart(section: str, player: int, notes: Iterable[Played]) -> Iterator[Played]:
    """Notes as one of several players has them: some milliseconds off, the same in every run.
    player: 0 leads, and is in time; so are drums."""
    spread = np.random.default_rng(player)
    for note in notes:
        if player and section != DRUMS:
            late = float(np.clip(spread.normal(0.0, _APART), -0.008, 0.008))
            yield replace(note, start=max(0.0, note.start + late))
        else:
            yield note


def _begun(section: str, player: int, notes: Iterable[Played]) -> Iterator[_Sounding]:
    """Notes with their first samples."""
    ordered = sorted(notes, key=attrgetter("start")) if isinstance(notes, list) else notes
    for note in apart(section, player, ordered):
        yield _Sounding(section, note, max(0, int(note.start * RATE)))


def _add(out: Sound, one: _Sounding, first: int, last: int) -> None:
    """What of a note falls into the samples from first to last."""
    begin, end = max(one.start, first), min(one.stop, last)
    if begin >= end:
        return
    note = one.note
    if one.section == DRUMS:
        hit = _drum(note.pitch)[begin - one.start : end - one.start]
        out[begin - first : begin - first + len(hit)] += 10 ** (note.level / 20) * hit
    elif note.length <= _SHORT:
        bends = (note.bend_in, note.bend_out, note.swell)
        kept = _kept(one.section, one.stop - one.start, note.pitch, round(note.level, 3), *bends)
        out[begin - first : end - first] += kept[begin - one.start : end - one.start]
    else:
        time = np.arange(begin - one.start, end - one.start) / RATE
        out[begin - first : end - first] += _tone(one, time)


@lru_cache(maxsize=2048)
def _kept(section: str, samples: int, pitch: int, level: float, *bends: float) -> Sound:
    """A short note from its first sample to its last. bends: in, out, and the swell."""
    length = max(samples / RATE - _RELEASE, 0.0)
    into, out, swell = bends
    note = Played(
        start=0.0,
        length=length,
        pitch=pitch,
        level=level,
        bend_in=into,
        bend_out=out,
        swell=swell,
    )
    one = _Sounding(section, note, 0)
    return _tone(one, np.arange(samples) / RATE).astype(np.float32)


def _bend(note: Played, time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Semitones by which a note is off its pitch."""
    bend = np.zeros(len(time))
    if note.bend_in:
        bend += note.bend_in * np.exp(-time / 0.04)
    if note.bend_out:
        start = note.length * 0.45
        bend += (
            note.bend_out * np.clip((time - start) / max(note.length - start, 0.05), 0, 1) ** 1.5
        )
    return bend


def _tone(one: _Sounding, time: NDArray[np.float64]) -> NDArray[np.float64]:
    note, section = one.note, one.section
    bend = _bend(note, time)
    if section not in _RING and note.length > 1.5 * _VIBRATO_FROM:
        depth = np.clip((time - _VIBRATO_FROM) / 0.4, 0, 1) * _VIBRATO
        bend += depth * np.sin(2 * np.pi * _VIBRATO_HZ * time)
    frequency = 440.0 * 2 ** ((note.pitch - 69 + bend) / 12)
    phase = one.phase + 2 * np.pi * np.cumsum(frequency) / RATE
    one.phase = float(phase[-1]) % (2 * np.pi)
    decibels = note.level + note.swell * np.clip(time / max(note.length, 0.01), 0, 1)
    loud = 10 ** (decibels / 20)
    bright = 0.4 + 0.75 * np.minimum(1.0, loud * 2)
    top = float(frequency.max())
    double = 2 * np.cos(phase)
    wave, lower, strong = np.sin(phase), np.zeros(len(time)), np.ones(len(time))
    sound, power = np.zeros(len(time)), np.zeros(len(time))
    for n, strength in enumerate(_HARMONICS.get(section, _HARMONICS["other"]), start=1):
        if top * n >= RATE / 2:
            break
        sound += strength * strong * wave
        power += (strength * strong) ** 2
        wave, lower = double * wave - lower, wave  # sin((n+1)x) = 2 cos x sin nx - sin((n-1)x)
        strong = strong * bright
    sound /= np.sqrt(power + 1e-9)  # brightness is not loudness
    breath = _noise()
    first = round(float(time[0]) * RATE)
    if first < len(breath) and section not in _RING:
        part = breath[first : first + len(time)]
        sound[: len(part)] += 0.9 * np.minimum(1.0, loud[: len(part)] * 2) * part
    envelope = np.minimum(time / _ATTACK, 1.0) * (0.8 + 0.2 * np.exp(-time / 0.12))
    if section in _RING:
        envelope *= np.exp(-time / _RING[section])
    envelope *= np.clip((note.length + _RELEASE - time) / _RELEASE, 0, 1)
    return _FULL * loud * sound * envelope


@cache
def _noise() -> NDArray[np.float64]:
    """The breath before a tone speaks."""
    time = np.arange(int(0.04 * RATE)) / RATE
    white = np.random.default_rng(7).normal(0, 1, len(time))
    return np.diff(white, prepend=0.0) * 0.25 * np.exp(-time / 0.012)


_DRUM_TAIL = 0.6  # seconds
#: General MIDI percussion key -> (seconds in which it fades to a third, frequency of its skin in
#: Hz, share of noise, how far the noise is bright: 0 dull to 2)
_KIT = {
    36: (0.12, 62.0, 0.1, 0),
    37: (0.03, 900.0, 0.5, 1),
    38: (0.09, 190.0, 0.8, 1),
    41: (0.2, 90.0, 0.1, 0),
    42: (0.025, 0.0, 0.5, 2),
    44: (0.03, 0.0, 0.4, 2),
    45: (0.18, 120.0, 0.1, 0),
    46: (0.16, 0.0, 0.5, 2),
    48: (0.15, 160.0, 0.1, 0),
    49: (0.3, 0.0, 0.8, 2),
    51: (0.2, 0.0, 0.35, 2),
}


@cache
def _drum(key: int) -> NDArray[np.float32]:
    fades, skin, noise, bright = _KIT.get(key, _KIT[38])
    time = np.arange(int(_DRUM_TAIL * RATE)) / RATE
    sound = noise * np.random.default_rng(key).normal(0, 0.5, len(time))
    for _ in range(bright):
        sound = np.diff(sound, prepend=0.0) * 0.7
    if skin:
        sound += np.sin(2 * np.pi * skin * time * (1 + 0.3 * np.exp(-time / 0.03)))
    return (0.5 * sound * np.exp(-time / fades) * np.minimum(time / 0.001, 1)).astype(np.float32)


@cache
def _click(first: bool) -> Sound:
    time = np.arange(int(0.03 * RATE)) / RATE
    return (
        0.05 * np.sin(2 * np.pi * (1600 if first else 1100) * time) * np.exp(-time / 0.006)
    ).astype(np.float32)
