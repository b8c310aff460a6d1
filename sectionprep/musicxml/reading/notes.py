"""What one `<note>` says, wherever it stands: pitch, length, articulations, jazz marks, ghosted
heads, slurs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from lxml import etree

from sectionprep.errors import NotAScore
from sectionprep.music.marks import BY_NAME, as_one, named_by
from sectionprep.music.pitch import SEMITONES, Pitch
from sectionprep.musicxml.document import Document, local_name, tag_of
from sectionprep.musicxml.numbers import decimal, whole
from sectionprep.musicxml.slashes import BEATS, NOTHING

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


def as_slash(said: Written, role: str) -> Written:
    """What a note in a slash region says. role: what is printed for it."""
    return said._replace(
        is_slash=True,
        is_rest=False,
        is_hidden=role == NOTHING or (said.is_hidden and role != BEATS),
    )


class NoteReader:
    """Reads the notes of one document."""

    def __init__(self, document: Document, where: str) -> None:
        self.where = where
        self.document = document
        self.pitches: dict[tuple[tuple[object, str | None], ...], tuple[Pitch, int]] = {}
        self.known: dict[Written, Written] = {}  # many notes say the same, and are kept for a while

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
        said = _read_notations(notations) if notations else _NOTHING
        marks = said.marks
        if head is not None and head.get("parentheses") == "yes":
            marks |= {"ghost"}
        written = Written(
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
            marks=as_one(marks),
            slur_starts=said.slur_starts,
            slur_stops=said.slur_stops,
            in_tuplet="time-modification" in children,
            has_fermata=said.has_fermata,
            is_hidden=element.get("print-object") == "no"
            or (head is not None and (head.text or "").strip() == "none"),
        )
        return self.known.setdefault(written, written)

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


class _Notations(NamedTuple):
    """What the `<notations>` of one note say. slur_starts, slur_stops: their numbers."""

    marks: frozenset[str] = _NO_MARKS
    slur_starts: tuple[int, ...] = ()
    slur_stops: tuple[int, ...] = ()
    has_fermata: bool = False


_NOTHING = _Notations()


def _read_notations(notations: Iterable[etree._Element]) -> _Notations:
    """Marks are those of the table in music/marks.py."""
    marks: set[str] = set()
    slurs: dict[str, tuple[int, ...]] = {"start": (), "stop": ()}
    fermata = False
    for block in notations:
        for element in block:
            kind = tag_of(element)
            if kind in _HOMES:
                marks.update(_marks_in(element, kind))
            elif kind == "slur" and (end := element.get("type") or "") in slurs:
                slurs[end] += (whole(element.get("number"), 1),)
            elif kind == "fermata":
                fermata = True
    if {"tenuto", "staccato"} <= marks:  # the pair is one mark in MusicXML: detached-legato
        marks -= {"tenuto", "staccato"}
        marks.add("detached-legato")
    return _Notations(frozenset(marks), slurs["start"], slurs["stop"], fermata)


def _marks_in(element: etree._Element, home: str) -> Iterator[str]:
    """Names of the marks that are at home in this element."""
    for mark in element:
        name = tag_of(mark)
        if name in BY_NAME and BY_NAME[name].home == home:
            yield name
        elif name.startswith("other-") and (
            meant := named_by(mark.get("smufl") or "", mark.text or "")
        ):
            yield meant
