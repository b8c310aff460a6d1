"""What stands in one measure of the engraver's copy, and when: each note with its time."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from sectionprep.musicxml.numbers import decimal, whole

Time = int | Fraction  # in divisions that hold at the beginning of the measure, from its bar line


@dataclass(slots=True)
class Stroke:
    """A note or rest. onset, length: when and how long (grace notes are 0 long); said: its children
    by name, the last of each; voice: its number, or its staff where it has none; ties: types of
    its <tie> elements; beams: its <beam> elements."""

    element: etree._Element
    onset: Time
    length: Time
    said: dict[str, etree._Element]
    voice: str
    staff: str
    ties: tuple[str, ...]
    beams: tuple[etree._Element, ...]

    @property
    def end(self) -> Time:
        """When it stops."""
        return self.onset + self.length


@dataclass(slots=True)
class Timeline:
    """A measure. strokes: in the order of the file; others: all that is neither note nor backup nor
    forward, and when; backs: whether it goes back in time; steady: whether its divisions are one
    all through; plays, chords: whether anything but rests, and any chord, stands in it; end: of
    the last of its notes."""

    strokes: list[Stroke] = field(default_factory=list)
    others: list[tuple[Time, etree._Element]] = field(default_factory=list)
    backs: bool = False
    steady: bool = True
    plays: bool = False
    chords: bool = False
    end: Time = 0


class MeasureReader:
    """Reads measures one after the other; keeps the divisions."""

    def __init__(self) -> None:
        self.divisions = Fraction(1)
        self.scale: Fraction | None = None  # after a change of divisions inside a measure

    def read(self, measure: etree._Element) -> Timeline:
        """The timeline of the next measure."""
        found = Timeline()
        now: Time = 0
        struck: Time = 0
        self.scale = None
        for element in measure:
            tag = element.tag
            if tag == "note":
                stroke = self._stroke(element, now)
                found.plays = found.plays or "rest" not in stroke.said
                if "chord" in stroke.said:
                    stroke.onset = struck
                    found.chords = True
                else:
                    struck, now = now, now + stroke.length
                found.strokes.append(stroke)
            elif tag in ("backup", "forward"):
                moved = self._length(element.findtext("duration"))
                found.backs = found.backs or tag == "backup"
                now = max(0, now - moved) if tag == "backup" else now + moved
            else:
                if tag == "attributes":
                    self._take(element, now)
                    found.steady = self.scale is None
                found.others.append((now, element))
            if now > found.end:
                found.end = now
        return found

    def _take(self, attributes: etree._Element, now: Time) -> None:
        value = decimal(attributes.findtext("divisions"))
        if value and value != self.divisions:
            if now:
                self.scale = (self.scale or Fraction(1)) * self.divisions / value
            self.divisions = value

    def _stroke(self, element: etree._Element, now: Time) -> Stroke:
        said: dict[str, etree._Element] = {}
        ties: tuple[str, ...] = ()
        beams: tuple[etree._Element, ...] = ()
        for child in element:
            tag = child.tag
            said[tag] = child
            if tag == "tie":
                ties += (child.get("type") or "",)
            elif tag == "beam":
                beams += (child,)
        length: Time = 0
        if "grace" not in said and "duration" in said:
            length = self._length(said["duration"].text)
        staff = (said["staff"].text or "").strip() if "staff" in said else "1"
        voice = (said["voice"].text or "").strip() if "voice" in said else f"staff {staff}"
        return Stroke(element, now, length, said, voice, staff, ties, beams)

    def _length(self, text: str | None) -> Time:
        length: Time = whole(text, -1, digits=9)
        if length < 0:
            length = decimal(text) or 0
        return length if self.scale is None else length * self.scale
