"""What one `<note>` says, wherever it stands: pitch, length, articulations, jazz marks, ghosted
heads, slurs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from lxml import etree

from sectionprep.errors import NotAScore
from sectionprep.music.marks import BY_NAME, as_one, named_by
from sectionprep.music.pitch import SEMITONES, Pitch
from sectionprep.musicxml.document import Document, local_name, tag_of
from sectionprep.musicxml.numbers import decimal, whole

_HOMES = ("articulations", "technical", "ornaments")
_NO_MARKS: frozenset[str] = frozenset()


class Written(NamedTuple):
    """A note before anybody knows when it sounds. length: the text of its `<duration>`, None where
    it has none; midi: number of the written pitch."""

    length: str | None
    pitch: Pitch | None
    midi: int
    is_rest: bool
    is_chord: bool
    is_grace: bool
    is_cue: bool
    is_unpitched: bool
    is_slash: bool
    tie_start: bool
    tie_stop: bool
    voice: str
    staff: int
    marks: frozenset[str]
    slur_starts: tuple[int, ...]
    slur_stops: tuple[int, ...]
    in_tuplet: bool
    has_fermata: bool
    is_hidden: bool = False


class NoteReader:
    """Reads the notes of one document."""

    def __init__(self, document: Document, where: str) -> None:
        self.where = where
        self.document = document
        self.pitches: dict[tuple[tuple[object, str | None], ...], tuple[Pitch, int]] = {}

    def read(self, element: etree._Element) -> Written:
        """What a note says."""
        children: dict[str, etree._Element] = {}
        ties: tuple[str, ...] = ()
        notations: tuple[etree._Element, ...] = ()
        for child in element:
            tag = local_name(child.tag)
            if tag == "tie":
                ties += (child.get("type") or "",)
            elif tag == "notations":
                notations += (child,)
            else:
                children.setdefault(tag, child)
        pitch, midi = self._pitch(children["pitch"]) if "pitch" in children else (None, 0)
        head, voice, length = (children.get(name) for name in ("notehead", "voice", "duration"))
        starts, stops = _slur_ends(notations)
        return Written(
            length=None if length is None else length.text or "",
            pitch=pitch,
            midi=midi,
            is_rest="rest" in children,
            is_chord="chord" in children,
            is_grace="grace" in children,
            is_cue="cue" in children,
            is_unpitched="unpitched" in children,
            is_slash=head is not None and (head.text or "").strip() == "slash",
            tie_start="start" in ties,
            tie_stop="stop" in ties,
            voice=(voice.text or "1").strip() if voice is not None else "1",
            staff=_staff(children.get("staff")),
            marks=_marks(notations, head),
            slur_starts=starts,
            slur_stops=stops,
            in_tuplet="time-modification" in children,
            has_fermata=any(tag_of(inner) == "fermata" for block in notations for inner in block),
            is_hidden=element.get("print-object") == "no"
            or (head is not None and (head.text or "").strip() == "none"),
        )

    def _pitch(self, element: etree._Element) -> tuple[Pitch, int]:
        """The written pitch and its MIDI number."""
        key = tuple([(child.tag, child.text) for child in element])
        found = self.pitches.get(key)
        if found is None:
            texts = {local_name(tag): text for tag, text in key}
            step, alter, octave = (texts.get(name) or "" for name in ("step", "alter", "octave"))
            pitch = self._new_pitch(element, step, alter, octave)
            found = self.pitches[key] = (pitch, pitch.midi)
        return found

    def _new_pitch(self, element: etree._Element, said: str, altered: str, height: str) -> Pitch:
        step = said.strip().upper()
        try:
            alter = float(decimal(altered.strip()) or 0)
            octave = int(height.strip()[:6])
            SEMITONES[step]
        except (KeyError, ValueError) as error:
            what = f"step {said!r:.20}, alter {altered!r:.20}, octave {height!r:.20}"
            raise self._refused(element, f"this pitch is none: {what}.") from error
        if not (-2 <= octave <= 12 and -6 <= alter <= 6):
            what = f"a pitch in octave {octave} with alteration {alter:g} cannot be played."
            raise self._refused(element, what)
        return Pitch(step, alter, octave)

    def _refused(self, element: etree._Element, what: str) -> NotAScore:
        return NotAScore(
            what,
            where=f"{self.where}, {self.document.place(element)}",
            remedy="Correct that note in the score and export it again.",
        )


def _staff(element: etree._Element | None) -> int:
    value = decimal(element.text) if element is not None else None
    return int(value) if value is not None and abs(value) < 10**9 else 1


def _marks(notations: Iterable[etree._Element], notehead: etree._Element | None) -> frozenset[str]:
    """Names of the marks on one note, out of the table in music/marks.py."""
    found: set[str] = set()
    for block in notations:
        for home in block:
            if tag_of(home) in _HOMES:
                for mark in home:
                    name = tag_of(mark)
                    if name in BY_NAME and BY_NAME[name].home == tag_of(home):
                        found.add(name)
                    elif name.startswith("other-") and (
                        meant := named_by(mark.get("smufl") or "", mark.text or "")
                    ):
                        found.add(meant)
    if notehead is not None and notehead.get("parentheses") == "yes":
        found.add("ghost")
    if {"tenuto", "staccato"} <= found:  # the pair is one mark in MusicXML: detached-legato
        found -= {"tenuto", "staccato"}
        found.add("detached-legato")
    return as_one(frozenset(found)) if found else _NO_MARKS


def _slur_ends(notations: Iterable[etree._Element]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Numbers of the slurs that start and that stop on one note."""
    starts: list[int] = []
    stops: list[int] = []
    for block in notations:
        for element in block:
            if tag_of(element) == "slur":
                number = whole(element.get("number"), 1)
                if element.get("type") == "start":
                    starts.append(number)
                elif element.get("type") == "stop":
                    stops.append(number)
    return tuple(starts), tuple(stops)
