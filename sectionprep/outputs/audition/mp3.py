"""MP3 files by LAME, at the pace of its quick settings.

An encoder begins with samples of its own. The first frame therefore carries no sound but the tag
that players of MP3 read (a common practice since the LAME encoder, no standard): how many frames
and bytes follow, and how many samples at either end are not ours. So a page's clock, its click and
its loops agree with the sound to the sample, and a player can find any second without reading all.
"""

from __future__ import annotations

from typing import Protocol, Self

import lameenc
import numpy as np

from sectionprep.outputs.audition.synth import RATE, Sound

_QUICK = 7  # of 0, the slowest, to 9: a fifth of the time of 2, and no more noise on our sounds
_FRAME = 576  # samples of a frame at our rate (MPEG-2, layer III)
_AHEAD = 576  # samples that LAME begins with; decoders add their own by themselves
_AUDIO = 13  # bytes of a frame before its data: head, and side information of one channel
_LARGEST = 0xFFF  # samples that the tag can say for one end


class Target(Protocol):
    """What can be written to, and over."""

    def write(self, data: bytes, /) -> int: ...

    def seek(self, to: int, whence: int = 0, /) -> int: ...


class Mp3File:
    """One channel at a constant rate. target: written from its beginning; kbit: a second, 32 to 64,
    in thousands."""

    def __init__(self, target: Target, kbit: int) -> None:
        self._out, self._step = target, _FRAME * kbit * 125 / RATE
        self._samples = self._bytes = 0
        self._first = b""
        self._lame = lameenc.Encoder()
        self._lame.set_channels(1)
        self._lame.set_in_sample_rate(RATE)
        self._lame.set_out_sample_rate(RATE)
        self._lame.set_bit_rate(kbit)
        self._lame.set_quality(_QUICK)
        self._lame.silence()
        self._out.write(bytes(int(self._step)))  # the tag's place

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if not self._samples:
            self.write(np.zeros(1, dtype=np.float32))
        self._keep(bytes(self._lame.flush()))
        self._out.seek(0)
        self._out.write(self._tag())

    def write(self, sound: Sound) -> None:
        """Some more of the sound, within full scale."""
        self._samples += len(sound)
        whole = np.rint(np.clip(sound, -1, 1) * 32767).astype("<i2")
        self._keep(bytes(self._lame.encode(whole.tobytes())))

    def _keep(self, data: bytes) -> None:
        self._first = self._first or data[:4]
        self._bytes += len(data)
        self._out.write(data)

    def _tag(self) -> bytes:
        frames = round(self._bytes / self._step)
        behind = min(max(frames * _FRAME - _AHEAD - self._samples, 0), _LARGEST)
        size = int(self._step)
        head = bytes((*self._first[:2], self._first[2] & 0xFD, self._first[3]))  # no padding
        tag = head.ljust(_AUDIO, b"\0") + b"Info" + (3).to_bytes(4)  # frames and bytes follow
        tag += frames.to_bytes(4) + (self._bytes + size).to_bytes(4)
        tag += b"LAME3.100" + b"\x01" + bytes(9)  # constant rate; no gain said
        tag += bytes((0, 40)) + (_AHEAD << 12 | behind).to_bytes(3) + bytes(4)
        tag += (self._bytes + size).to_bytes(4) + bytes(2)
        tag += _checksum(tag).to_bytes(2)
        return tag.ljust(size, b"\0")


def _checksum(data: bytes) -> int:
    """CRC-16 with the polynomial 8005, bits turned round, as the tag has it."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc
