"""A small synthesiser of our own: three tones (reed, trumpet, trombone), clear enough to hear short
from long."""

from __future__ import annotations

import io
import wave
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sectionprep.errors import BadArgument
from sectionprep.outputs.audition.performance import Played

RATE = 22_050
_HARMONICS = {
    "saxes": (1.0, 0.62, 0.55, 0.30, 0.24, 0.12, 0.08),
    "trumpets": (0.7, 0.9, 0.8, 0.62, 0.45, 0.30, 0.2, 0.12),
    "trombones": (1.0, 0.8, 0.5, 0.32, 0.18, 0.1),
    "other": (1.0, 0.4, 0.2, 0.1),
}
_ATTACK, _RELEASE = 0.012, 0.035  # seconds


def render(
    voices: Sequence[tuple[str, Sequence[Played]]],
    seconds: float,
    clicks: Sequence[tuple[float, bool]] = (),
) -> NDArray[np.float32]:
    """Mix voices (section name, notes) into one channel, -1..1. clicks: (second, is the first beat
    of a bar)."""
    out = np.zeros(int((seconds + 0.5) * RATE) + 1, dtype=np.float32)
    for section, notes in voices:
        for note in notes:
            sound = _tone(section, note)
            at = int(note.start * RATE)
            out[at : at + len(sound)] += sound[: max(0, len(out) - at)]
    for second, first in clicks:
        sound = _click(first)
        at = int(second * RATE)
        out[at : at + len(sound)] += sound[: max(0, len(out) - at)]
    peak = float(np.abs(out).max()) if len(out) else 0.0
    return out * (0.9 / peak) if peak > 0.9 else out


def _tone(section: str, note: Played) -> NDArray[np.float32]:
    count = max(int((note.length + _RELEASE) * RATE), 64)
    time = np.arange(count) / RATE
    bend = np.zeros(count)
    if note.bend_in:
        bend += note.bend_in * np.exp(-time / 0.04)
    if note.bend_out:
        start = note.length * 0.45
        bend += (
            note.bend_out * np.clip((time - start) / max(note.length - start, 0.05), 0, 1) ** 1.5
        )
    frequency = 440.0 * 2 ** ((note.pitch - 69 + bend) / 12)
    phase = 2 * np.pi * np.cumsum(frequency) / RATE
    loud = 10 ** (note.level / 20)
    bright = 0.6 + 1.1 * loud  # louder is brighter
    sound = np.zeros(count)
    for n, strength in enumerate(_HARMONICS.get(section, _HARMONICS["other"]), start=1):
        if frequency.max() * n < RATE / 2:
            sound += strength * bright ** (n - 1) * np.sin(n * phase)
    envelope = np.minimum(time / _ATTACK, 1.0) * (0.8 + 0.2 * np.exp(-time / 0.12))
    envelope *= np.clip((note.length + _RELEASE - time) / _RELEASE, 0, 1)
    return (0.16 * loud * sound * envelope).astype(np.float32)


def _click(first: bool) -> NDArray[np.float32]:
    time = np.arange(int(0.03 * RATE)) / RATE
    return (
        0.12 * np.sin(2 * np.pi * (1600 if first else 1100) * time) * np.exp(-time / 0.006)
    ).astype(np.float32)


SOUNDS = ("wav", "flac", "ogg", "mp3")


def encoded(sound: NDArray[np.float32], kind: str) -> bytes:
    """The sound as a file: WAV by ourselves, the compressed kinds through soundfile. Raises
    BadArgument without it."""
    if kind == "wav":
        return wav(sound)
    try:
        import soundfile
    except ImportError as error:
        raise BadArgument(
            f"--sound {kind} needs the extra 'sound'.",
            remedy="Install sectionprep[sound], or take wav.",
        ) from error
    out = io.BytesIO()
    soundfile.write(out, np.clip(sound, -1, 1), RATE, format=kind.upper())
    return out.getvalue()


def wav(sound: NDArray[np.float32]) -> bytes:
    """16-bit mono WAV."""
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())
    return out.getvalue()
