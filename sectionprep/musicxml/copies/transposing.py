"""A part of a concert-pitch score, rewritten as its player must read it. Works on the engraver's
copy only."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from lxml import etree

from sectionprep.music.pitch import Pitch, Transposition
from sectionprep.musicxml.copies.accidentals import SIGNS, in_key, pitch_of
from sectionprep.musicxml.document import tag_of


def fifths_up(transposition: Transposition) -> int:
    """How far the written key lies from the concert key on the circle of fifths (alto sax: +3)."""
    steps = (-transposition.chromatic * 7) % 12
    return steps - 12 if steps > 6 else steps


class WrittenPart:
    """Rewrites measures one after the other; keeps the key. The accidentals are to be made anew
    (accidentals.py). changes: what the player reads from these measures (counted from 0) on, after
    taking up another instrument."""

    def __init__(
        self,
        transposition: Transposition,
        clef: str,
        changes: Mapping[int, tuple[Transposition, str]] | None = None,
    ) -> None:
        self.transposition = transposition
        self.clef = clef
        self.changes = changes or {}
        self.concert = 0
        self.fifths = fifths_up(transposition)
        self.measures = 0

    def rewrite(self, measure: etree._Element) -> None:
        """Change one measure in place."""
        if self.measures in self.changes:
            self.transposition, self.clef = self.changes[self.measures]
            _say_key(measure, self.concert)
        self.measures += 1
        for element in measure:
            tag = tag_of(element)
            if tag == "attributes":
                self._attributes(element)
            elif tag == "note":
                self._note(element)
            elif tag == "harmony":
                self._harmony(element)

    def _attributes(self, element: etree._Element) -> None:
        for name in ("transpose", "for-part"):
            for old in element.findall(name):
                element.remove(old)
        for fifths in element.iterfind("key/fifths"):
            self.concert = int(float((fifths.text or "0").strip() or 0))
            value = self.concert + fifths_up(self.transposition)
            if abs(value) > 7:  # the same key with fewer signs
                value -= 12 if value > 0 else -12
            fifths.text = str(value)
            self.fifths = value
        if self.clef in ("G2", "F4"):
            for clef in element.findall("clef"):
                for child in list(clef):
                    clef.remove(child)
                etree.SubElement(clef, "sign").text = self.clef[0]
                etree.SubElement(clef, "line").text = self.clef[1]

    def _note(self, note: etree._Element) -> None:
        element = note.find("pitch")
        if element is None:
            return
        written = _as_read(self.transposition, pitch_of(element), self.fifths)
        for child in list(element):
            element.remove(child)
        etree.SubElement(element, "step").text = written.step
        if written.alter:
            etree.SubElement(element, "alter").text = f"{written.alter:g}"
        etree.SubElement(element, "octave").text = str(written.octave)

    def _harmony(self, harmony: etree._Element) -> None:
        for kind in ("root", "bass"):
            for element in harmony.findall(kind):
                step, alter = element.find(f"{kind}-step"), element.find(f"{kind}-alter")
                if step is None:
                    continue
                value = float(alter.text or 0) if alter is not None else 0.0
                written = respell(
                    self.transposition.written_pitch(Pitch((step.text or "C").strip(), value, 4))
                )
                step.text = written.step
                if alter is not None:
                    element.remove(alter)
                if written.alter:
                    sign = etree.Element(f"{kind}-alter")
                    sign.text = f"{written.alter:g}"
                    element.insert(element.index(step) + 1, sign)


@lru_cache(4096)
def _as_read(transposition: Transposition, sounding: Pitch, fifths: int) -> Pitch:
    """The written pitch, in plain names but for what the key has: E sharp is no odd name in C sharp
    major."""
    written = transposition.written_pitch(sounding)
    return written if written.alter == in_key(fifths, written.step) else respell(written)


def _say_key(measure: etree._Element, fifths: int) -> None:
    """State the key in a measure that does not."""
    attributes = measure.find("attributes")
    if attributes is None:
        attributes = etree.Element("attributes")
        measure.insert(0, attributes)
    if attributes.find("key") is None:
        key = etree.Element("key")
        etree.SubElement(key, "fifths").text = str(fifths)
        attributes.insert(1 if attributes.find("divisions") is not None else 0, key)


def show_accidental(
    note: etree._Element, written: Pitch, fifths: int, state: dict[tuple[str, int], float]
) -> None:
    """Give a note the accidental it needs in its key, after what stood before in the bar (`state`,
    brought up to date)."""
    tied = False
    old: list[etree._Element] = []
    for child in note:
        if child.tag == "tie":
            tied = tied or child.get("type") == "stop"
        elif child.tag == "accidental":
            old.append(child)
        elif child.tag == "notehead" and child.text == "slash":
            return
    for child in old:
        note.remove(child)
    place = (written.step, written.octave)
    current = state.get(place, in_key(fifths, written.step))
    if not tied:
        state[place] = written.alter
    if tied or current == written.alter or written.alter not in SIGNS:
        return
    sign = etree.Element("accidental")
    sign.text = SIGNS[written.alter]
    before = [
        c
        for c in note
        if tag_of(c) in ("type", "dot", "voice", "duration", "pitch", "tie", "instrument")
    ]
    note.insert(note.index(before[-1]) + 1, sign)


def respell(pitch: Pitch) -> Pitch:
    """Plain names for double accidentals and for Cb, Fb, B#, E#."""
    odd = {("C", -1.0), ("F", -1.0), ("B", 1.0), ("E", 1.0)}
    if abs(pitch.alter) < 2 and (pitch.step, float(pitch.alter)) not in odd:
        return pitch
    up = 1 if pitch.alter > 0 else -1
    steps = "CDEFGAB"
    octave, index = divmod(pitch.diatonic + up, 7)
    plain = Pitch(steps[index], 0, octave)
    return Pitch(steps[index], pitch.midi - plain.midi, octave)
