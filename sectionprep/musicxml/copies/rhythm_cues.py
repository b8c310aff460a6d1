"""What the horns hit, small and over the slashes of a rhythm-section part: their rhythm on one
height, stems up, with the marks and who plays."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from lxml import etree

from sectionprep.musicxml.copies.cues import cue_id, divisions_at, first_voice, tied
from sectionprep.musicxml.copies.part import measures_of
from sectionprep.musicxml.document import Document, tag_of

_KEPT = ("duration", "type", "dot", "time-modification")
#: just over the top line of the staff, by clef: as display step and octave
_OVER = {"F4": ("B", "3"), "F3": ("D", "4"), "C3": ("A", "4"), "C4": ("F", "4")}
_OVER_TREBLE = ("G", "5")
VOICE = "2"
_WORDS_SIZE = "9"


@dataclass(frozen=True, slots=True, kw_only=True)
class RhythmCue:
    """One bar (index) of a cue. part_id, occurrence: of the part whose rhythm is shown; notes: by
    address of each of its notes to be shown, the articulations to print there; clef: of the staff
    that shows it; words: who plays, "" where that is known; staves: of the reader's part."""

    bar: int
    part_id: str
    occurrence: int
    notes: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    clef: str = "G2"
    words: str = ""
    staves: int = 1


def add_rhythm_cue(measure: etree._Element, document: Document, cue: RhythmCue) -> None:
    """Put the cue as a second voice over the notes of a measure."""
    source = measures_of(document, cue.part_id, cue.occurrence)
    if cue.bar >= len(source):
        return
    voice = list(_voice(source, document, cue))
    if not any(element.tag == "note" for element in voice):
        return
    own = [e for e in measure if e.tag in ("note", "backup", "forward")]
    used = _length(own)
    backup = etree.SubElement(measure, "backup")
    etree.SubElement(backup, "duration").text = str(used)
    theirs = divisions_at(source, cue.bar)
    if theirs:
        _divisions(measure, theirs)
    measure.extend(voice)


def _voice(
    source: list[etree._Element], document: Document, cue: RhythmCue
) -> Iterator[etree._Element]:
    """The cue's notes, and the white between them."""
    white = 0
    beat = int(divisions_at(source, cue.bar) or 1)
    said = not cue.words
    rings = False  # the note before is shown, and held on
    for note in source[cue.bar]:
        if tag_of(note) != "note" or not first_voice(note):
            continue
        address = document.addresses[id(note)]
        kinds = {tie.get("type") for tie in note if tag_of(tie) == "tie"}
        held_on = rings and "stop" in kinds
        if address not in cue.notes and not held_on:
            white += _duration(note)
            rings = False
            continue
        yield from _white(white, 0 if said else beat, cue)
        white, said = 0, True
        small = _small(note, cue, address)
        if held_on:
            tied(small, "stop")
        rings = "start" in kinds and _goes_on(note)
        if rings:
            tied(small, "start")
        yield small


def _white(length: int, beat: int, cue: RhythmCue) -> Iterator[etree._Element]:
    """Nothing for a while, and a beat before its end, where there is room over the slashes, who
    plays. beat: 0 where that is known."""
    before = min(length, beat)
    for part in (length - before, before):
        if part:
            forward = etree.Element("forward")
            etree.SubElement(forward, "duration").text = str(part)
            etree.SubElement(forward, "voice").text = VOICE
            yield forward
        if beat:
            yield _who(cue)
            beat = 0


def _goes_on(note: etree._Element) -> bool:
    """True where another note of the voice follows in the bar."""
    return any(tag_of(e) == "note" and first_voice(e) for e in note.itersiblings())


def _small(note: etree._Element, cue: RhythmCue, address: int) -> etree._Element:
    small = etree.Element("note", id=cue_id(address))
    etree.SubElement(small, "cue")
    step, octave = _OVER.get(cue.clef, _OVER_TREBLE)
    height = etree.SubElement(small, "unpitched")
    etree.SubElement(height, "display-step").text = step
    etree.SubElement(height, "display-octave").text = octave
    for name in _KEPT:
        for child in (c for c in note if tag_of(c) == name):
            if name == "type":
                etree.SubElement(small, "voice").text = VOICE
            twin = copy.deepcopy(child)
            for inner in twin.iter():
                inner.tag = tag_of(inner) if isinstance(inner.tag, str) else inner.tag
            twin.tail = None
            if name == "type":
                twin.set("size", "cue")
            small.append(twin)
    etree.SubElement(small, "stem").text = "up"
    if cue.staves > 1:
        etree.SubElement(small, "staff").text = "1"
    if marks := cue.notes.get(address, ()):
        notations = etree.SubElement(small, "notations")
        articulations = etree.SubElement(notations, "articulations")
        for mark in marks:
            etree.SubElement(articulations, mark, placement="above")
    return small


def _who(cue: RhythmCue) -> etree._Element:
    direction = etree.Element("direction", placement="above")
    kind = etree.SubElement(direction, "direction-type")
    words = etree.SubElement(kind, "words")
    words.set("font-size", _WORDS_SIZE)
    words.text = cue.words
    return direction


def _divisions(measure: etree._Element, count: str) -> None:
    attributes = etree.SubElement(measure, "attributes")
    etree.SubElement(attributes, "divisions").text = count


def _duration(note: etree._Element) -> int:
    text = next((c.text for c in note if tag_of(c) == "duration"), "0")
    return int(float(text or 0))


def _length(elements: list[etree._Element]) -> int:
    """How far from its beginning a measure has been written."""
    at = 0
    for element in elements:
        if element.tag == "backup":
            at -= _duration(element)
        elif element.find("chord") is None and element.find("grace") is None:
            at += _duration(element)
    return at
