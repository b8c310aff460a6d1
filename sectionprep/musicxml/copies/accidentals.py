"""The accidentals a player needs. Works on the engraver's copy only.

Two kinds are added. Needed: without it the page would be read as another pitch than the file's.
Courtesy: the page is right without it, but readers stumble there. Common practice, no source: an
accidental holds for its own octave until the bar line; what is tied over the line keeps its pitch
and gives it to no other note; courtesy accidentals stand in parentheses.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import groupby

from lxml import etree

from sectionprep.music.pitch import SEMITONES, Pitch
from sectionprep.musicxml.copies.timeline import Stroke, Time, Timeline
from sectionprep.musicxml.note_order import put_in_order
from sectionprep.musicxml.numbers import decimal

#: alteration in semitones and the name of its sign (MusicXML 4.0, accidental-value)
SIGNS = {
    0.0: "natural",
    1.0: "sharp",
    -1.0: "flat",
    2.0: "double-sharp",
    -2.0: "flat-flat",
    0.5: "quarter-sharp",
    -0.5: "quarter-flat",
    1.5: "three-quarters-sharp",
    -1.5: "three-quarters-flat",
}
_READ = {name: alter for alter, name in SIGNS.items()} | {
    "sharp-sharp": 2.0,
    "double-flat": -2.0,
    "natural-sharp": 1.0,
    "natural-flat": -1.0,
    "triple-sharp": 3.0,
    "triple-flat": -3.0,
}
_SILENT_CLEFS = frozenset({"percussion", "TAB", "none"})

_SIGNATURE, _GRACE, _NOTE = range(3)  # of one moment, in this order from left to right
_UNSURE = float("nan")  # equal to nothing
_NOBODY: frozenset[tuple[str, tuple[str, int]]] = frozenset()

Place = tuple[str, int]  # step and octave


@dataclass(slots=True)
class _Staff:
    """What holds on one staff. key: what the signature says of each step; heard: what accidentals
    say so far in this bar; sounded: what each place was last in this bar, and before: in the bar
    before; shown: places that have had their reminder in this bar; clef: its sign."""

    key: Mapping[str, float] = field(default_factory=dict)
    clef: str = "G"
    heard: dict[Place, float] = field(default_factory=dict)
    sounded: dict[Place, float] = field(default_factory=dict)
    before: dict[Place, float] = field(default_factory=dict)
    shown: set[Place] = field(default_factory=set)


class Accidentals:
    """Gives the notes of a part the accidentals they need, measure after measure. fresh: what
    stands there is for another pitch and is dropped; courtesy: add reminders."""

    def __init__(self, *, fresh: bool = False, courtesy: bool = False) -> None:
        self.fresh, self.courtesy = fresh, courtesy
        self.staves: dict[str, _Staff] = {}
        self.common = _Staff()
        self.tied: dict[tuple[Place, float], Time] = {}  # where an open tie leads to

    def rewrite(self, timeline: Timeline) -> None:
        """Change one measure in place."""
        for staff in self.staves.values():
            staff.before, staff.sounded = staff.sounded, {}
            staff.heard, staff.shown = {}, set()
        attributes = [
            (when, element) for when, element in timeline.others if element.tag == "attributes"
        ]
        if timeline.backs or timeline.chords or any(when for when, _ in attributes):
            self._in_time(attributes, timeline.strokes)
        else:
            for _, element in attributes:
                self._attributes(element)
            for stroke in timeline.strokes:
                self._note(stroke, _NOBODY)
        self.tied = {key: 0 for key, until in self.tied.items() if until >= timeline.end}

    def _in_time(
        self, attributes: Sequence[tuple[Time, etree._Element]], strokes: Sequence[Stroke]
    ) -> None:
        """Moment by moment: what the file writes one after another may sound together."""
        events: list[tuple[Time, int, Stroke | etree._Element]] = [
            (when, _SIGNATURE, element) for when, element in attributes
        ]
        events += [
            (stroke.onset, _GRACE if "grace" in stroke.said else _NOTE, stroke)
            for stroke in strokes
        ]
        events.sort(key=_when)
        for _, moment in groupby(events, key=_when):
            together = [what for _, _, what in moment]
            struck = [what for what in together if isinstance(what, Stroke)]
            at_odds = _at_odds(struck) if len(struck) > 1 else _NOBODY
            for what in together:
                if isinstance(what, Stroke):
                    self._note(what, at_odds)
                else:
                    self._attributes(what)
            for number, place in at_odds:
                self._staff(number).heard[place] = _UNSURE

    def _staff(self, number: str) -> _Staff:
        staff = self.staves.get(number)
        if staff is None:
            staff = self.staves[number] = _Staff(self.common.key, self.common.clef)
        return staff

    def _attributes(self, element: etree._Element) -> None:
        for child in element:
            number = child.get("number")
            if child.tag == "key":
                key = _signature(child)
                for staff in self._meant(number):
                    staff.key, staff.heard = key, {}
            elif child.tag == "clef":
                for staff in self._meant(number or "1"):
                    staff.clef = (child.findtext("sign") or "").strip()

    def _meant(self, number: str | None) -> list[_Staff]:
        return [self._staff(number)] if number is not None else [self.common, *self.staves.values()]

    def _note(self, stroke: Stroke, at_odds: Collection[tuple[str, Place]]) -> None:
        element = stroke.said.get("pitch")
        staff = self._staff(stroke.staff)
        if element is None or _is_slash(stroke) or staff.clef in _SILENT_CLEFS:
            return
        pitch = pitch_of(element)
        place = (pitch.step, pitch.octave)
        is_tied = "stop" in stroke.ties and self.tied.get((place, pitch.alter)) == stroke.onset
        if "start" in stroke.ties:
            self.tied[place, pitch.alter] = stroke.end
        sign = self._own_sign(stroke)
        if sign is not None or not is_tied:
            sign = self._needed(stroke, staff, pitch, sign, (stroke.staff, place) in at_odds)
            staff.shown.add(place)
        if sign is not None:
            staff.heard[place] = pitch.alter
        staff.sounded[place] = pitch.alter

    def _own_sign(self, stroke: Stroke) -> etree._Element | None:
        """The file's own sign, if it is of use."""
        sign = stroke.said.get("accidental")
        if sign is not None and (self.fresh or not (sign.text or "").strip()):
            stroke.element.remove(sign)  # one without a name draws nothing
            return None
        if (
            sign is not None and sign.text == "double-flat"
        ):  # a name of no version, but files have it
            sign.text = SIGNS[-2.0]
        return sign

    def _needed(
        self,
        stroke: Stroke,
        staff: _Staff,
        pitch: Pitch,
        sign: etree._Element | None,
        is_at_odds: bool,
    ) -> etree._Element | None:
        """The sign a note is to have: its own, a needed one, a reminder or none."""
        place = (pitch.step, pitch.octave)
        if pitch.alter not in SIGNS:
            return sign
        if sign is not None:
            read = _READ.get(
                (sign.text or "").strip(), pitch.alter
            )  # signs of other systems of quarter tones: the file knows best
        else:
            read = _UNSURE if is_at_odds else staff.heard.get(place, staff.key.get(pitch.step, 0.0))
        if read != pitch.alter:
            if sign is not None:
                stroke.element.remove(sign)
            return _show(stroke, pitch.alter)
        if sign is None and self.courtesy and place not in staff.shown and _surprises(staff, pitch):
            return _show(stroke, pitch.alter, courtesy=True)
        return sign


def _when(event: tuple[Time, int, object]) -> tuple[Time, int]:
    return event[:2]


def _at_odds(strokes: Sequence[Stroke]) -> Collection[tuple[str, Place]]:
    """Where notes of one moment stand in one place of a staff and are different pitches: each needs
    a sign of its own, and so does the next there, because nobody can tell which one holds."""
    found: dict[tuple[str, Place], float] = {}
    odd: set[tuple[str, Place]] = set()
    for stroke in strokes:
        element = stroke.said.get("pitch")
        if element is not None:
            pitch = pitch_of(element)
            place = (stroke.staff, (pitch.step, pitch.octave))
            if found.setdefault(place, pitch.alter) != pitch.alter:
                odd.add(place)
    return odd


def _signature(key: etree._Element) -> dict[str, float]:
    """What a `<key>` says of each step it changes."""
    fifths = decimal(key.findtext("fifths"))
    if fifths is not None:
        return {step: alter for step in SEMITONES if (alter := in_key(int(fifths), step))}
    steps = [(e.text or "").strip() for e in key.iterchildren("key-step")]
    return dict(
        zip(
            steps,
            (float(decimal(e.text) or 0) for e in key.iterchildren("key-alter")),
            strict=False,
        )
    )


def _surprises(staff: _Staff, pitch: Pitch) -> bool:
    """Whether a reader may stumble over a note without a sign of its own: its step was something
    else a moment ago, in this bar in another octave or in the bar before, or the same key was
    called by another name there."""
    place = (pitch.step, pitch.octave)
    near = staff.before | staff.sounded
    if near.get(place, pitch.alter) != pitch.alter:
        return True
    if any(
        step == pitch.step and alter != pitch.alter for (step, _), alter in staff.sounded.items()
    ):
        return True
    sound = SEMITONES[pitch.step] + pitch.alter
    return any(
        step != pitch.step and (SEMITONES[step] + alter - sound) % 12 == 0
        for (step, _), alter in near.items()
    )


def _is_slash(stroke: Stroke) -> bool:
    head = stroke.said.get("notehead")
    return head is not None and (head.text or "").strip() == "slash"


def _show(stroke: Stroke, alter: float, *, courtesy: bool = False) -> etree._Element:
    """Put the sign of an alteration before a note."""
    sign = etree.Element("accidental")
    sign.text = SIGNS[alter]
    if courtesy:
        sign.set("cautionary", "yes")
        sign.set("parentheses", "yes")
    put_in_order(stroke.element, sign)
    stroke.said["accidental"] = sign
    return sign


def pitch_of(element: etree._Element) -> Pitch:
    """The pitch that a `<pitch>` of the copy says."""
    said = {child.tag: child.text for child in element}
    return _pitch(said.get("step"), said.get("alter"), said.get("octave"))


@lru_cache(4096)
def _pitch(step: str | None, alter: str | None, octave: str | None) -> Pitch:
    height = decimal(octave)
    return Pitch(
        (step or "C").strip().upper(),
        float(decimal(alter) or 0),
        4 if height is None else int(height),
    )


def in_key(fifths: int, step: str) -> float:
    """Alteration that a key signature gives a step."""
    if fifths > 0:
        return 1 if step in "FCGDAEB"[:fifths] else 0
    return -1 if step in "BEADGCF"[:-fifths] else 0
