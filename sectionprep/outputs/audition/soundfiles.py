"""Sound as files: as loud as each other, never over full scale, written as it comes.

Loudness is the integrated one of EBU R 128 (ITU-R BS.1770), measured by pyloudnorm. What is longer
than two minutes is measured two minutes at a time, and those averaged with the same gates, so that
a chart of any length fits into memory.
"""

from __future__ import annotations

import io
import math
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import IO, BinaryIO

import numpy as np
import soundfile

from sectionprep.outputs.audition.mp3 import Mp3File
from sectionprep.outputs.audition.synth import RATE, Sound

SOUNDS = ("wav", "flac", "ogg", "mp3")
#: LUFS, as EBU R 128 asks of programmes: a section's peaks stay under full scale
LOUDNESS = -23.0
_KNEE, _CEILING = 0.5, 0.75  # of full scale: bent from here, never beyond; decoders overshoot
_SILENT, _GATE = -70.0, -10.0  # LUFS and LU: the gates of BS.1770
_PIECE = 120 * RATE  # samples
_LEAST = int(0.4 * RATE)  # samples: the shortest sound that has a loudness
_MEASURED = 3  # times that a sound is measured at most
_NEAR = 6.0  # LU: a sound so near to the common loudness need not be measured again
_USUAL, _SMALL = 40, 32  # kbit a second of MP3 files, and of such as are sent about: judgement
_COPY = 10 * RATE  # samples written at a time


class Meter:
    """Integrated loudness of a sound that comes in blocks."""

    def __init__(self) -> None:
        self._waiting: list[Sound] = []
        self._length = 0
        self._found: list[tuple[float, int]] = []

    def add(self, block: Sound) -> None:
        """Hear some more."""
        self._waiting.append(block)
        self._length += len(block)
        if self._length >= _PIECE:
            self._measure()

    def _measure(self) -> None:
        import pyloudnorm

        sound = np.concatenate(self._waiting)
        length = len(sound)
        if length < _LEAST:
            sound = np.pad(sound, (0, _LEAST - length))
        with np.errstate(divide="ignore"):
            level = float(pyloudnorm.Meter(RATE).integrated_loudness(sound.astype(np.float64)))
        if level > _SILENT:
            self._found.append((level, length))
        self._waiting, self._length = [], 0

    def loudness(self) -> float:
        """LUFS; minus infinity for silence."""
        if self._length and (not self._found or self._length >= _LEAST):
            self._measure()
        found = self._found
        for _ in range(2):
            if not found:
                return -math.inf
            total = sum(10 ** (level / 10) * length for level, length in found)
            mean = 10 * math.log10(total / sum(length for _, length in found))
            found = [(level, length) for level, length in found if level >= mean + _GATE]
        return mean


def write_sound(blocks: Iterable[Sound], path: Path) -> None:
    """Write a sound at the common loudness; the ending of `path` says which kind."""
    with path.open("w+b") as out:
        _write(blocks, out, path.suffix.removeprefix("."))


def wav(blocks: Iterable[Sound]) -> bytes:
    """A sound at the common loudness as a WAV file in memory: for what is short."""
    out = io.BytesIO()
    _write(blocks, out, "wav")
    return out.getvalue()


def mp3(blocks: Iterable[Sound]) -> bytes:
    """A sound at the common loudness as a small MP3 file in memory: for what is short."""
    out = io.BytesIO()
    _write(blocks, out, "mp3", _SMALL)
    return out.getvalue()


def _write(blocks: Iterable[Sound], target: BinaryIO, kind: str, kbit: int = _USUAL) -> None:
    with tempfile.TemporaryFile() as raw:
        for block in blocks:
            raw.write(block.tobytes())
        gain = _gain(raw)
        with _file(target, kind, kbit) as out:
            for sound in _copies(raw, gain):
                out.write(_within(sound))


def _file(target: BinaryIO, kind: str, kbit: int) -> Mp3File | soundfile.SoundFile:
    if kind == "mp3":
        return Mp3File(target, kbit)
    return soundfile.SoundFile(target, "w", RATE, 1, format=kind.upper())


def _gain(raw: IO[bytes]) -> float:
    """What brings a sound to the common loudness. It is brought near first and measured there: only
    the lower gate of the measure depends on how loud a sound is, and that lies 47 LU below, where
    nothing but silence is; what proves to be farther off is measured again as it will be."""
    power = [(float(np.square(s, dtype=np.float64).sum()), len(s)) for s in _copies(raw, 1.0)]
    total, length = (sum(column) for column in zip(*power, strict=True)) if power else (0.0, 0)
    if not total:
        return 1.0
    gain = 10 ** (LOUDNESS / 20) / math.sqrt(total / length)
    for _ in range(_MEASURED):
        meter = Meter()
        for sound in _copies(raw, gain):
            meter.add(sound)
        level = meter.loudness()
        if level <= _SILENT:
            return 1.0
        gain *= 10 ** ((LOUDNESS - level) / 20)
        if abs(LOUDNESS - level) < _NEAR:
            break
    return gain


def _copies(raw: IO[bytes], gain: float) -> Iterator[Sound]:
    """The sound in pieces, louder by `gain`."""
    raw.seek(0)
    while data := raw.read(4 * _COPY):
        yield gain * np.frombuffer(data, dtype=np.float32)


def _within(sound: Sound) -> Sound:
    """Peaks bent softly under the ceiling."""
    size = np.abs(sound)
    over = size > _KNEE
    if over.any():
        room = _CEILING - _KNEE
        bent = _KNEE + room * np.tanh((size[over] - _KNEE) / room)
        sound = sound.copy()
        sound[over] = np.sign(sound[over]) * bent
    return sound
