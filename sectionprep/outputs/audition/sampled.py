"""Sampled instruments: a General MIDI sound font (SoundFont 2), played by FluidSynth.

FluidSynth is foreign code and a font is a file of somebody's: both work in a process of their own
(apart.py), so that neither can bring us down. Without them our own synthesiser plays.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Sequence
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from sectionprep.apart import Apart, Died
from sectionprep.errors import BadArgument
from sectionprep.outputs.audition.band import Voice
from sectionprep.outputs.audition.midi import BEND_RANGE, MESSAGES, Event, events
from sectionprep.outputs.audition.performance import Played
from sectionprep.outputs.audition.road import Piece, laid_out
from sectionprep.outputs.audition.soundfiles import write_sound
from sectionprep.outputs.audition.synth import DRUMS, RATE, Sound, apart, blocks

#: where systems keep the font that programs should take when nobody says another
_USUAL = (
    Path("/usr/share/sounds/sf2/default-GM.sf2"),
    Path("/usr/share/soundfonts/default.sf2"),
    Path("/usr/local/share/soundfonts/default.sf2"),
)
_BLOCK = 10 * RATE  # samples
_A_SECOND = 960  # steps in which events are placed
_DRUM_BANK = 128  # of General MIDI fonts
_PATIENCE = 120.0  # seconds of processor time to load a font and play a passage, and as many again
_GAIN = 0.4


def usual_font() -> Path | None:
    """The system's default font, where FluidSynth can be used at all."""
    if find_spec("fluidsynth") is None:
        return None
    return next((path for path in _USUAL if path.is_file()), None)


def font_at(name: str) -> Path:
    """The font that a person names. Raises BadArgument."""
    path = Path(name)
    if path.exists() and not path.is_file():
        raise BadArgument(
            f"--instruments is no ordinary file: {name}.", remedy="Name a sound font (.sf2)."
        )
    try:
        with path.open("rb") as file:
            head = file.read(12)
    except OSError as error:
        raise BadArgument(
            f"--instruments cannot be opened: {name} ({error.strerror}).",
            remedy="Name a sound font (.sf2), auto or own.",
        ) from error
    if head[:4] != b"RIFF" or head[8:] != b"sfbk":
        raise BadArgument(
            f"--instruments is no sound font: {name}.", remedy="Name a file that ends in .sf2."
        )
    if find_spec("fluidsynth") is None:
        raise BadArgument(
            "--instruments needs the extra 'sound'.",
            remedy="Install sectionprep[sound] and FluidSynth, or say --instruments own.",
        )
    return path


class Player:
    """Writes sounds with a font, in a process that it keeps. lost: why it does so no more."""

    def __init__(self, font: Path) -> None:
        self.font, self.lost = font, ""
        self._apart = Apart(1)

    def __enter__(self) -> Player:
        return self

    def __exit__(self, *error: object) -> None:
        self._apart.__exit__(*error)

    def write(
        self,
        voices: Sequence[Voice],
        seconds: float,
        clicks: Sequence[tuple[float, bool]],
        path: Path,
        pieces: Sequence[Piece] = (),
    ) -> None:
        """Write one sound; by our own synthesiser once the font has failed. pieces: the order in
        which the notes are played, if it is not that in which they stand."""
        if not self.lost:
            try:
                self._apart.submit(
                    _write,
                    self.font,
                    list(voices),
                    seconds,
                    list(clicks),
                    path,
                    tuple(pieces),
                    seconds=_PATIENCE + seconds,
                ).result()
                return
            except (Died, ImportError, OSError, UnicodeError) as error:
                self.lost = str(error)
        heard = [(v.section, laid_out(v.notes, pieces) if pieces else v.notes) for v in voices]
        write_sound(blocks(heard, seconds, clicks), path)


def _write(
    font: Path,
    voices: list[Voice],
    seconds: float,
    clicks: list[tuple[float, bool]],
    path: Path,
    pieces: tuple[Piece, ...],
) -> None:
    write_sound(sampled(font, voices, seconds, clicks, pieces), path)


def sampled(
    font: Path,
    voices: Sequence[Voice],
    seconds: float,
    clicks: Sequence[tuple[float, bool]] = (),
    pieces: Sequence[Piece] = (),
    *,
    spread: bool = True,
) -> Iterator[Sound]:
    """What `synth.blocks` does, with samples: each voice on a channel of its own. pieces: as of
    `Player.write`."""
    import fluidsynth

    synth = fluidsynth.Synth(gain=_GAIN, samplerate=RATE)
    # only the samples of the programs that play: a usual font has 150 MB
    synth.setting("synth.dynamic-sample-loading", 1)
    number = synth.sfload(str(font))
    if number < 0:
        raise OSError(f"{font.name} could not be read as a sound font")
    todo = []
    for channel, voice in enumerate(voices):
        drums = voice.section == DRUMS
        synth.program_select(channel, number, _DRUM_BANK if drums else 0, voice.program - 1)
        for control, value in ((101, 0), (100, 0), (6, BEND_RANGE), (11, 90)):
            synth.cc(channel, control, value)
        notes = laid_out(voice.notes, pieces) if pieces else voice.notes
        todo.append(_in_time(voice.section, notes, channel, channel * spread))
    coming = heapq.merge(*todo, key=lambda one: (one[0][:2], one[1]))
    following = next(coming, None)
    at = 0
    total = max(1, int(seconds * RATE))
    for dry in blocks([], seconds, clicks, room=False):
        end = min(at + len(dry), total)
        heard = []
        while at < end:
            upto = end
            while following is not None:
                (step, _, kind, first, second), channel = following
                when = step * RATE // _A_SECOND
                if when > at:
                    upto = min(end, when)
                    break
                _send(synth, channel, kind, first, second)
                following = next(coming, None)
            both = synth.get_samples(upto - at).astype(np.float32)
            heard.append((both[0::2] + both[1::2]) / 65536)
            at = upto
        yield (np.concatenate(heard) + dry).astype(np.float32)
    synth.delete()


_ROOM = 2 * _A_SECOND // 100  # steps by which a note may begin before the one ahead of it


def _in_time(
    section: str, notes: Iterable[Played], channel: int, player: int
) -> Iterator[tuple[Event, int]]:
    """The events of a voice in the order of time, with its channel, made as they come. player: as
    of `synth.apart`."""
    drums = section == DRUMS
    waiting: list[tuple[int, int, int, Event]] = []
    count = 0
    for note in apart(section, player, notes):
        begins = round(note.start * _A_SECOND)
        while waiting and waiting[0][0] < begins - _ROOM:
            yield heapq.heappop(waiting)[3], channel
        for event in events(note, lambda at: round(at * _A_SECOND), drums):
            count += 1
            heapq.heappush(waiting, (event[0], event[1], count, event))
    while waiting:
        yield heapq.heappop(waiting)[3], channel


def _send(synth: object, channel: int, kind: str, first: int, second: int) -> None:
    getattr(synth, MESSAGES[kind])(channel, *((first, second) if kind in _TWO else (first,)))


_TWO = ("note_on", "control_change")
