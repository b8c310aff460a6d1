"""Beams for parts that were written without any. Works on the engraver's copy only.

Common practice, no source: notes shorter than a quarter are joined inside a beat; three or four
eighths inside half a bar of four beats; never across a rest, and never across the middle of the
bar. An odd number of eighths ends in a group of three.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from lxml import etree

_BEAMS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4}
_AFTER = ("notations", "lyric", "play", "listen")


class _Short(NamedTuple):
    """A note that takes a beam: it has a stem. offset, end: in divisions from the bar line; beams:
    how many its value has."""

    element: etree._Element
    offset: float
    end: float
    beams: int


class Beamer:
    """Beams measures one after the other; keeps divisions and meter. A short first bar is the end
    of one."""

    def __init__(self) -> None:
        self.is_first = True
        self.divisions = 1.0
        self.beats, self.unit = 4, 4

    def rewrite(self, measure: etree._Element, only: Collection[str] | None = None) -> None:
        """Give one measure its beams. only: these voices."""
        if only is not None and not only and not self.is_first:
            for attributes in measure.iterchildren("attributes"):
                self._attributes(attributes)
            return
        voices: dict[
            tuple[str | None, str | None], list[_Short | None]
        ] = {}  # None: what no beam goes across
        cursor = longest = 0.0
        for element in measure:
            if element.tag == "attributes":
                self._attributes(element)
            elif element.tag in ("backup", "forward"):
                cursor += _number(element.findtext("duration")) * (
                    1 if element.tag == "forward" else -1
                )
            elif element.tag == "note":
                said = {child.tag: child.text for child in element}
                if "chord" in said or "grace" in said:
                    continue
                start, cursor = cursor, cursor + _number(said.get("duration"))
                bare = "rest" in said or (said.get("stem") or "").strip() == "none"
                beams = 0 if bare else _BEAMS.get((said.get("type") or "").strip(), 0)
                if (
                    only is not None
                    and (said.get("voice") or f"staff {said.get('staff') or 1}").strip() not in only
                ):
                    continue
                voices.setdefault((said.get("voice"), said.get("staff")), []).append(
                    _Short(element, start, cursor, beams) if beams else None
                )
            longest = max(longest, cursor)
        missing = (
            max(0.0, self.beats * 4 / self.unit * self.divisions - longest)
            if self.is_first
            else 0.0
        )
        self.is_first = False
        for line in voices.values():
            for group in self._groups(
                [
                    note and note._replace(offset=note.offset + missing, end=note.end + missing)
                    for note in line
                ]
            ):
                _write(group)

    def _attributes(self, element: etree._Element) -> None:
        for divisions in element.iterfind("divisions"):
            self.divisions = _number(divisions.text) or 1.0
        for time in element.iterfind("time"):
            beats, unit = (
                (time.findtext("beats") or "").strip(),
                (time.findtext("beat-type") or "").strip(),
            )
            if beats.isdecimal() and unit.isdecimal() and int(unit):
                self.beats, self.unit = int(beats), int(unit)

    def _groups(self, line: list[_Short | None]) -> list[list[_Short]]:
        groups: list[list[_Short]] = []
        now: list[_Short] = []
        for note in [*line, None]:
            if (
                note is None
                or not now
                or note.offset != now[-1].end
                or self._beat_of(note) != self._beat_of(now[0])
            ):
                if now:
                    groups.append(now)
                now = [note] if note is not None else []
            else:
                now.append(note)
        return [group for group in self._joined(groups) if len(group) > 1]

    def _beat_of(self, note: _Short) -> int:
        """Number of the beat a note falls into."""
        compound = self.unit >= 8 and self.beats % 3 == 0
        beat = int(
            note.offset / self.divisions // (12 / self.unit if compound else 4 / min(self.unit, 4))
        )
        return (
            min(beat, self.beats // 2 - 1)
            if self.unit == 8 and self.beats % 2 and not compound
            else beat
        )

    def _joined(self, groups: list[list[_Short]]) -> list[list[_Short]]:
        """Eighths that go through both beats of half a bar are one group, if there are three of
        them at least."""
        if (self.beats, self.unit) not in ((4, 4), (2, 2)):
            return groups
        made: list[list[_Short]] = []
        for group in groups:
            before = made[-1] if made else []
            if (
                before
                and group
                and before[-1].end == group[0].offset
                and self._quarter(group) % 2 == 1
                and len(before + group) > 2
                and all(
                    note.beams == 1 and note.end - note.offset == self.divisions / 2
                    for note in before + group
                )
            ):
                made[-1] = before + group
            else:
                made.append(group)
        return made

    def _quarter(self, group: list[_Short]) -> float:
        """Where a group begins, in quarters."""
        return group[0].offset / self.divisions


def _number(text: str | None) -> float:
    try:
        return float(text or 0)
    except ValueError:
        return 0.0


def _beam(before: bool, after: bool, *, first: bool) -> str:
    """What a beam does at a note, in the words of MusicXML. before, after: the neighbour has it
    too."""
    if before:
        return "continue" if after else "end"
    if after:
        return "begin"
    return "forward hook" if first else "backward hook"


def _write(group: list[_Short]) -> None:
    for level in range(1, max(note.beams for note in group) + 1):
        for n, note in enumerate(group):
            if note.beams < level:
                continue
            before = n > 0 and group[n - 1].beams >= level
            after = n + 1 < len(group) and group[n + 1].beams >= level
            beam = etree.Element("beam", number=str(level))
            beam.text = _beam(before, after, first=n == 0)
            place = next((child for child in note.element if child.tag in _AFTER), None)
            if place is None:
                note.element.append(beam)
            else:
                place.addprevious(beam)
