"""Sound as files: as loud as each other, never over full scale, written as it comes.

Loudness is the integrated one of EBU R 128 (ITU-R BS.1770), with the filters of pyloudnorm, heard
as it comes, so that a chart of any length fits into memory; the tests hold it against pyloudnorm's
own measure of the whole.
"""

from __future__ import annotations

import io
import math
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import IO, BinaryIO

import numpy as np
import soundfile

from sectionprep.errors import DestinationError
from sectionprep.outputs.audition.mp3 import Mp3File
from sectionprep.outputs.audition.synth import RATE, Sound

SOUNDS = ("wav", "flac", "ogg", "mp3")
#: LUFS, as EBU R 128 asks of programmes: a section's peaks stay under full scale
LOUDNESS = -23.0
_KNEE, _CEILING = 0.5, 0.75  # of full scale: bent from here, never beyond; decoders overshoot
_SILENT, _GATE = -70.0, -10.0  # LUFS and LU: the gates of BS.1770
_STEP, _GATED = RATE // 10, 4  # samples; and how many such steps a gated block of BS.1770 has
_LEAST = int(0.4 * RATE)  # samples: the shortest sound that has a loudness
_MEASURED = 3  # times that a sound is measured at most
_NEAR = 6.0  # LU: a sound so near to the common loudness need not be measured again
_USUAL, _SMALL = 40, 32  # kbit a second of MP3 files, and of such as are sent about: judgement
_COPY = 10 * RATE  # samples written at a time

Weighted = np.ndarray[tuple[int], np.dtype[np.float64]]


class LoudnessMeter:
    """Integrated loudness of a sound that comes in blocks, of any length: it keeps ten numbers a
    second."""

    def __init__(self) -> None:
        import pyloudnorm

        # the K weighting of BS.1770: a shelf for the head, and a high pass
        shelf = pyloudnorm.IIRfilter(4.0, 1 / math.sqrt(2), 1500.0, RATE, "high_shelf")
        high = pyloudnorm.IIRfilter(0.0, 0.5, 38.0, RATE, "high_pass")
        self._stages = [(f.b, f.a, np.zeros(2)) for f in (shelf, high)]
        self._rest: Weighted = np.zeros(0)  # what has not filled a step yet
        self._power: list[float] = []  # of each step
        self._length = 0

    def add(self, block: Sound) -> None:
        """Hear some more."""
        from scipy.signal import lfilter  # type: ignore[import-untyped]

        self._length += len(block)
        heard: Weighted = block.astype(np.float64)
        for n, (b, a, state) in enumerate(self._stages):
            heard, state = lfilter(b, a, heard, zi=state)
            self._stages[n] = b, a, state
        heard = np.concatenate((self._rest, heard))
        steps = len(heard) // _STEP
        whole = heard[: steps * _STEP].reshape(steps, _STEP)
        self._power += np.einsum("ij,ij->i", whole, whole).tolist()
        self._rest = heard[steps * _STEP :].copy()

    def loudness(self) -> float:
        """LUFS; minus infinity for silence."""
        if 0 < self._length < _LEAST:
            self.add(np.zeros(_LEAST - self._length, dtype=np.float32))
        gated = np.convolve(self._power, np.ones(_GATED), "valid") if self._power else np.zeros(0)
        gated = gated / (_GATED * _STEP)
        gated = gated[gated > _power_at(_SILENT)]
        if len(gated):
            gated = gated[gated > _power_at(_level_of(gated.mean()) + _GATE)]
        return _level_of(gated.mean()) if len(gated) else -math.inf


def _level_of(power: float) -> float:
    """LUFS of a mean square, as BS.1770 has it."""
    return -0.691 + 10 * math.log10(power)


def _power_at(level: float) -> float:
    return float(10 ** ((level + 0.691) / 10))


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
    with _raw(blocks) as raw:
        gain = _gain(raw)
        told = _Told(target)
        try:
            with _file(told, kind, kbit) as out:
                for sound in _copies(raw, gain):
                    out.write(_within(sound))
        except (AssertionError, soundfile.SoundFileError):  # how the library says that it was short
            if told.why is None:
                raise
        if told.why is not None:
            raise told.why


def _raw(blocks: Iterable[Sound]) -> IO[bytes]:
    """A sound as it is played, in a file without a name. Raises DestinationError where the system's
    folder for such files has no room."""
    try:
        raw = tempfile.TemporaryFile()  # noqa: SIM115
    except OSError as error:
        raise _no_room(error) from error
    try:
        for block in blocks:
            data = block.tobytes()
            try:
                raw.write(data)
                raw.flush()
            except OSError as error:
                raise _no_room(error) from error
    except BaseException:
        with suppress(OSError):  # what waits to be written finds no room, either
            raw.close()
        raise
    return raw


def _no_room(error: OSError) -> DestinationError:
    return DestinationError(
        f"a sound cannot be kept there while it is made ({error.strerror or error}).",
        where=tempfile.gettempdir(),
        remedy="Make room there, or name another folder in TMPDIR.",
    )


class _Told:
    """A file that keeps why it could not be written: the sound library writes from C, where what
    is raised is printed and lost."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self.why: OSError | None = None
        self.read, self.tell = file.read, file.tell

    def write(self, data: bytes) -> int:
        """How many bytes were written; none where that failed."""
        try:
            return self._file.write(data)
        except OSError as error:
            self.why = self.why or error
            return 0

    def seek(self, to: int, whence: int = 0) -> int:
        """As of a file; what waits to be written is written first."""
        try:
            return self._file.seek(to, whence)
        except OSError as error:
            self.why = self.why or error
            return 0


def _file(target: _Told, kind: str, kbit: int) -> Mp3File | soundfile.SoundFile:
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
        meter = LoudnessMeter()
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
