"""What stands in one measure of the engraver's copy, and when: every note with its place in time."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from sectionprep.musicxml.numbers import decimal

_TIMELESS = Fraction(0)


@dataclass(slots=True)
class Stroke:
    """A note or rest. onset, length: in quarter notes from the bar line (grace notes are 0 long); said: its children by name, the last
    of each; ties: types of its <tie> elements; beams: its <beam> elements."""

    element: etree._Element
    onset: Fraction
    length: Fraction
    said: dict[str, etree._Element]
    ties: tuple[str, ...]
    beams: tuple[etree._Element, ...]

    @property
    def end(self) -> Fraction:
        """When it stops."""
        return self.onset + self.length

    @property
    def voice(self) -> str:
        """Number of its voice; without one the staff tells voices apart."""
        voice = self.said.get("voice")
        return (voice.text or "").strip() if voice is not None else f"staff {self.staff}"

    @property
    def staff(self) -> str:
        """Number of its staff."""
        staff = self.said.get("staff")
        return (staff.text or "").strip() if staff is not None else "1"


@dataclass(slots=True)
class Timeline:
    """A measure. strokes: in the order of the file; others: all that is neither note nor backup nor forward, and when; moves: backups and
    forwards; end: of the last of its notes, in quarter notes."""

    strokes: list[Stroke] = field(default_factory=list)
    others: list[tuple[Fraction, etree._Element]] = field(default_factory=list)
    moves: list[etree._Element] = field(default_factory=list)
    backs: bool = False
    end: Fraction = _TIMELESS

    @property
    def start(self) -> Fraction:
        """When it begins."""
        return _TIMELESS


class Clock:
    """Reads measures one after the other; keeps the divisions."""

    def __init__(self) -> None:
        self.divisions = Fraction(1)
        self._lengths: dict[str, Fraction] = {}

    def read(self, measure: etree._Element) -> Timeline:
        """The timeline of the next measure."""
        found = Timeline()
        now = struck = _TIMELESS
        for element in measure:
            tag = element.tag
            if tag == "note":
                stroke = self._stroke(element, now)
                if "chord" in stroke.said:
                    stroke.onset = struck
                elif "grace" not in stroke.said:
                    struck, now = now, now + stroke.length
                else:
                    struck = now
                found.strokes.append(stroke)
            elif tag in ("backup", "forward"):
                moved = self._length(element.findtext("duration"))
                found.moves.append(element)
                found.backs = found.backs or tag == "backup"
                now = max(_TIMELESS, now - moved) if tag == "backup" else now + moved
            else:
                if tag == "attributes":
                    self._take(element)
                found.others.append((now, element))
            found.end = max(found.end, now)
        return found

    def _take(self, attributes: etree._Element) -> None:
        value = decimal(attributes.findtext("divisions"))
        if value:
            self.divisions, self._lengths = Fraction(value), {}

    def _stroke(self, element: etree._Element, now: Fraction) -> Stroke:
        said: dict[str, etree._Element] = {}
        ties: tuple[str, ...] = ()
        beams: tuple[etree._Element, ...] = ()
        for child in element:
            if child.tag == "tie":
                ties += (child.get("type") or "",)
            elif child.tag == "beam":
                beams += (child,)
            said[child.tag] = child
        length = _TIMELESS
        if "grace" not in said and "duration" in said:
            length = self._length(said["duration"].text)
        return Stroke(element, now, length, said, ties, beams)

    def _length(self, text: str | None) -> Fraction:
        if text is None:
            return _TIMELESS
        known = self._lengths.get(text)
        if known is None:
            known = self._lengths[text] = Fraction(decimal(text) or 0) / self.divisions
        return known
