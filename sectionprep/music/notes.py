"""What stands in a chart: notes, the tones of a line as they are heard, slurs, and signs between
the notes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from sectionprep.music.pitch import Pitch


class Note(NamedTuple):
    """One `<note>` element: a note, a chord member, a rest, a grace or a cue note. A named tuple,
    because there are many thousands: a frozen dataclass of this width takes four times as long to
    make.

    address: its ordinal among all notes of the document, from 0. onset, duration: ticks from the
    chart's start (0 for grace notes). pitch: as written; sounding: MIDI number, None for rests and
    unpitched notes. is_hidden: not to be printed, or not its head.
    """

    address: int
    part: int
    bar: int
    onset: int
    duration: int
    pitch: Pitch | None
    sounding: int | None
    is_rest: bool = False
    is_chord: bool = False
    is_grace: bool = False
    is_cue: bool = False
    is_unpitched: bool = False
    is_slash: bool = False
    tie_start: bool = False
    tie_stop: bool = False
    voice: str = "1"
    staff: int = 1
    marks: frozenset[str] = frozenset()
    slur_starts: tuple[int, ...] = ()
    slur_stops: tuple[int, ...] = ()
    in_tuplet: bool = False
    has_fermata: bool = False
    is_hidden: bool = False

    @property
    def end(self) -> int:
        """Tick at which the note stops."""
        return self.onset + self.duration


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """A sign between the notes. kind: dynamic, wedge, words, rehearsal, segno, coda, metronome,
    swing, mute, chord, jump. value: "mf", "crescendo", "stop", the words, the letter, the chord
    symbol. address: ordinal of its `<direction>` in the document, -1 for signs that live elsewhere;
    alone: the element holds nothing else, so it may be replaced."""

    kind: str
    value: str
    part: int
    bar: int
    onset: int
    staff: int = 1
    number: int = 1
    address: int = -1
    alone: bool = False


class Tone(NamedTuple):
    """A note of a line as it is heard: ties joined, chord reduced to its top, no grace and no cue
    notes.

    pitch: sounding MIDI number of the top; pitches: all of the chord, high to low. notes: the tied
    notes of the top, the struck one first. marks: all of the tone, on whichever note of its chord
    and tie they stand, with slur-start and slur-stop. chord: every note of the tone in the order of
    the document, members of chords and ties alike; the same as notes where there is no chord.
    """

    onset: int
    duration: int
    bar: int
    pitch: int
    pitches: tuple[int, ...]
    notes: tuple[Note, ...]
    slurs_from: bool = False
    slurs_to: bool = False
    marks: frozenset[str] = frozenset()
    chord: tuple[Note, ...] = ()

    @property
    def end(self) -> int:
        """Tick at which the tone stops."""
        return self.onset + self.duration

    @property
    def head(self) -> Note:
        """The note that is struck; marks on the attack live here."""
        return self.notes[0]

    @property
    def has_fermata(self) -> bool:
        """True when a fermata stands on any of its notes."""
        return any(note.has_fermata for note in self.chord)


class Slur(NamedTuple):
    """A complete slur of a part's line. start, stop: onsets of its first and last tones; number:
    its own in the file; first, last: addresses of the notes that carry its ends."""

    start: int
    stop: int
    number: int
    first: int
    last: int
