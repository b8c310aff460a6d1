"""Takes as small sound files: what sounds together is played once, and the takes are mixed from
that, piece by piece, so that neither a long passage nor a long chart has to fit into memory.

A take is known by what sounds in it. One that an earlier run has made, whole or killed, is not made
again. The players of a section are some milliseconds apart, each in the same way in all takes of a
passage: who hears the section without them, and then themselves, hears the same section.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from sectionprep.outputs import audition
from sectionprep.outputs.audition.band import Voice
from sectionprep.outputs.audition.performance import Played
from sectionprep.outputs.audition.road import Piece, laid_out
from sectionprep.outputs.audition.sampled import sampled
from sectionprep.outputs.audition.soundfiles import write_sound
from sectionprep.outputs.audition.synth import RATE, Sound, apart, blocks

KIND = "mp3"  # every telephone plays it
KEPT = ".sectionprep-takes"  # folder of takes that a killed run leaves in the destination
LIST = "takes.json"
_BLOCK = 10 * RATE  # samples read at a time
#: section (which tone), General MIDI program, notes in order of their starts
Part = tuple[str, int, Iterable[Played]]


@dataclass(frozen=True, slots=True)
class SoundJob:
    """A sound file to be made. name: without its ending; voices: numbers of those that sound."""

    name: str
    voices: frozenset[int]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeFolders:
    """Where takes go. sound: folder to write to; kept: folder where they wait for a run to end;
    before: takes of earlier runs by their keys; font: a sound font whose instruments play."""

    sound: Path
    kept: Path
    before: Mapping[str, Path]
    font: Path | None = None


def earlier_takes(folder: Path) -> dict[str, Path]:
    """Takes that earlier runs into a folder have made, by their keys: those of a whole run that
    still are as it left them, and those of a killed one."""
    found = {path.stem: path for path in (folder / KEPT).glob(f"*.{KIND}")}
    try:
        rows = json.loads((folder / "sound" / LIST).read_bytes())["takes"]
        listed = {folder / "sound" / Path(name).name: row for name, row in rows.items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return found  # no list, or none of ours: all is made anew
    for path, row in listed.items():
        if isinstance(row, list) and len(row) == 2 and path.is_file() and _sum(path) == row[1]:
            found.setdefault(str(row[0]), path)
    return found


def write_list(sound: Path, keys: Mapping[str, str]) -> None:
    """Write down what each take holds. keys: by name of the take."""
    rows = {
        f"{name}.{KIND}": [key, _sum(sound / f"{name}.{KIND}")]
        for name, key in sorted(keys.items())
    }
    (sound / LIST).write_text(json.dumps({"takes": rows}, indent=0), encoding="utf-8")


def make_takes(
    takes: Iterable[SoundJob],
    voices: Sequence[Voice],
    seconds: float,
    place: TakeFolders,
    pieces: Sequence[Piece] = (),
    lead: int | None = None,
) -> dict[str, str]:
    """Write takes of these voices, all of one length; the key of each by its name. A take that is
    known is copied. pieces: the road map by which the notes are laid out, none where they are;
    lead: number of the voice that is in time."""
    takes = tuple(takes)
    players = [0 if n == lead else n + 1 for n in range(len(voices))]
    prints = [
        _print(voice, place.font, pieces, player)
        for voice, player in zip(voices, players, strict=True)
    ]
    keys = {take.name: _key(take, prints, seconds, place.font) for take in takes}
    known = dict(place.before)
    missing = []
    for take in takes:
        key = keys[take.name]
        if key not in known:
            known[key] = place.kept / f"{key}.{KIND}"
            missing.append(take)
    if missing:
        with tempfile.TemporaryDirectory(dir=place.kept) as room:
            stems = _Stems(Path(room), seconds)
            for group in _groups(missing, len(voices)):
                played = [_laid_out(voices[n], pieces, players[n]) for n in group]
                stems.keep(frozenset(group), _played(played, seconds, place.font))
            for take in missing:
                half = Path(room) / f"half.{KIND}"
                write_sound(stems.mixed(take), half)
                os.replace(half, known[keys[take.name]])
    for take in takes:
        shutil.copyfile(known[keys[take.name]], place.sound / f"{take.name}.{KIND}")
    return keys


def _groups(takes: Sequence[SoundJob], voices: int) -> list[list[int]]:
    """Voices that sound in the same takes, together."""
    together: dict[frozenset[int], list[int]] = {}
    for n in range(voices):
        where = frozenset(k for k, take in enumerate(takes) if n in take.voices)
        if where:
            together.setdefault(where, []).append(n)
    return list(together.values())


class _Stems:
    """What sounds together in all takes, played once and kept on the disk while they are mixed."""

    def __init__(self, room: Path, seconds: float) -> None:
        self._room, self._length = room, max(1, int(seconds * RATE))
        self._files: dict[Path, frozenset[int]] = {}

    def keep(self, voices: frozenset[int], sound: Iterable[Sound]) -> None:
        """Keep what these voices play."""
        path = self._room / f"stem{len(self._files)}"
        with path.open("wb") as file:
            for block in sound:
                file.write(block.tobytes())
        self._files[path] = voices

    def mixed(self, take: SoundJob) -> Iterator[Sound]:
        """A take, block by block."""
        files = [path.open("rb") for path, group in self._files.items() if group <= take.voices]
        try:
            for first in range(0, self._length, _BLOCK):
                total = np.zeros(min(_BLOCK, self._length - first), dtype=np.float32)
                for file in files:
                    total += np.frombuffer(file.read(4 * len(total)), dtype=np.float32)
                yield total
        finally:
            for file in files:
                file.close()


def _laid_out(voice: Voice, pieces: Sequence[Piece], player: int) -> Part:
    notes = laid_out(voice.notes, pieces) if pieces else voice.notes
    return voice.section, voice.program, apart(voice.section, player, notes)


def _played(parts: Sequence[Part], seconds: float, font: Path | None) -> Iterator[Sound]:
    if font is not None:
        voices = [Voice(section, "", program, tuple(notes)) for section, program, notes in parts]
        return sampled(font, voices, seconds, spread=False)
    return blocks([(section, notes) for section, _, notes in parts], seconds, spread=False)


def _key(take: SoundJob, prints: Sequence[str], seconds: float, font: Path | None) -> str:
    held = sorted(prints[n] for n in take.voices)
    return _hash(_recipe(), repr(_font(font)), f"{seconds:.6f}", *held)


def _print(voice: Voice, font: Path | None, pieces: Sequence[Piece], player: int) -> str:
    tone = (voice.section, voice.program if font is not None else 0, pieces, player)
    return _hash(repr(tone), *(repr(note) for note in voice.notes))


def _font(font: Path | None) -> tuple[str, int, int] | None:
    if font is None:
        return None
    facts = font.stat()
    return font.name, facts.st_size, facts.st_mtime_ns


@cache
def _recipe() -> str:
    """Another one whenever our sounds are made in another way."""
    room = Path(audition.__file__).parent
    return _hash(*(path.read_text(encoding="utf-8") for path in sorted(room.glob("*.py"))))


def _hash(*texts: str) -> str:
    made = hashlib.sha256()
    for text in texts:
        made.update(text.encode("utf-8") + b"\0")
    return made.hexdigest()[:32]


def _sum(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
