"""Beams for parts that were written without any. Works on the engraver's copy only.

Common practice, no source: notes shorter than a quarter are joined inside a beat; eighths alone inside half a bar of
four beats; never across a rest, and never across the middle of the bar.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from lxml import etree

_BEAMS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4}
_AFTER = ("notations", "lyric", "play", "listen")


@dataclass(slots=True)
class _Short:
    """A note that takes a beam. offset: quarters from the bar line; beams: how many its value has."""

    element: etree._Element
    offset: Fraction
    end: Fraction
    beams: int


class Beamer:
    """Beams measures one after the other; keeps divisions and meter."""

    def __init__(self) -> None:
        self.divisions = Fraction(1)
        self.beats, self.unit = 4, 4

    def rewrite(self, measure: etree._Element) -> None:
        """Give one measure its beams."""
        voices: dict[str, list[_Short | None]] = {}  # None: what no beam goes across
        cursor = Fraction(0)
        for element in measure:
            length = Fraction((element.findtext("duration") or "0").strip()) / self.divisions if element.tag in ("note", "backup", "forward") else 0
            if element.tag == "attributes":
                self._attributes(element)
            elif element.tag == "backup":
                cursor -= length
            elif element.tag == "forward":
                cursor += length
            elif element.tag == "note" and element.find("chord") is None and element.find("grace") is None:
                beams = _BEAMS.get((element.findtext("type") or "").strip(), 0) if element.find("rest") is None else 0
                line = voices.setdefault(f"{element.findtext('voice')}/{element.findtext('staff')}", [])
                line.append(_Short(element, cursor, cursor + length, beams) if beams else None)
                cursor += length
        for line in voices.values():
            for group in self._groups(line):
                _write(group)

    def _attributes(self, element: etree._Element) -> None:
        for divisions in element.iterfind("divisions"):
            self.divisions = Fraction((divisions.text or "1").strip()) or Fraction(1)
        for time in element.iterfind("time"):
            beats, unit = (time.findtext("beats") or "").strip(), (time.findtext("beat-type") or "").strip()
            if beats.isdecimal() and unit.isdecimal() and int(unit):
                self.beats, self.unit = int(beats), int(unit)

    def _groups(self, line: list[_Short | None]) -> list[list[_Short]]:
        groups: list[list[_Short]] = []
        now: list[_Short] = []
        for note in [*line, None]:
            if note is None or not now or note.offset != now[-1].end or self._beat_of(note) != self._beat_of(now[0]):
                groups.append(now)
                now = [note] if note is not None else []
            else:
                now.append(note)
        return [group for group in self._joined(groups) if len(group) > 1]

    def _beat_of(self, note: _Short) -> int:
        """Number of the beat a note falls into."""
        compound = self.unit >= 8 and self.beats % 3 == 0
        return int(note.offset // (Fraction(12, self.unit) if compound else Fraction(4, min(self.unit, 4))))

    def _joined(self, groups: list[list[_Short]]) -> list[list[_Short]]:
        """Pairs of eighths that fill both beats of half a bar are one group."""
        if (self.beats, self.unit) not in ((4, 4), (2, 2)):
            return groups
        made: list[list[_Short]] = []
        for group in groups:
            before = made[-1] if made else []
            if before and group and before[-1].end == group[0].offset and group[0].offset % 2 == 1 and before[0].offset % 2 == 0 and all(
                    note.beams == 1 and note.end - note.offset == Fraction(1, 2) for note in before + group):
                made[-1] = before + group
            else:
                made.append(group)
        return made


def _write(group: list[_Short]) -> None:
    for level in range(1, max(note.beams for note in group) + 1):
        for n, note in enumerate(group):
            if note.beams < level:
                continue
            before = n > 0 and group[n - 1].beams >= level
            after = n + 1 < len(group) and group[n + 1].beams >= level
            text = "continue" if before and after else "end" if before else "begin" if after else "backward hook" if n else "forward hook"
            beam = etree.Element("beam", number=str(level))
            beam.text = text
            place = next((child for child in note.element if child.tag in _AFTER), None)
            if place is None:
                note.element.append(beam)
            else:
                place.addprevious(beam)
