"""Slash regions as the engraver's copy carries them: slashes as notes. It must not see the region
itself, which it draws on every staff of the part, over whatever notes are there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from lxml import etree

from sectionprep.musicxml.copies.timeline import MeasureReader, Stroke, Time, Timeline
from sectionprep.musicxml.copies.unprinted import take_out
from sectionprep.musicxml.copies.voices import set_off
from sectionprep.musicxml.note_order import put_in_order
from sectionprep.musicxml.numbers import whole
from sectionprep.musicxml.slashes import BEATS, NOTHING, RHYTHM, SlashRegions

#: begins the ids of slashes that stand for no note of the file
SLASH_ID = "s-"
_VALUES = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd", 64: "64th"}
_MOST = 64  # slashes in a bar: more would be none that anybody counts; judgement


class SlashBars:
    """Rewrites measures one after the other. possible: False where surely none has slashes."""

    def __init__(self, *, possible: bool = True) -> None:
        self.possible = possible
        self.regions = SlashRegions()
        self.clock = MeasureReader()
        self.beats, self.unit = 4, 4

    def rewrite(self, measure: etree._Element) -> None:
        """Put slashes into one measure, and take what says so out of it."""
        if not self.possible:
            return
        roles = self.regions.take(measure)
        _take_out_styles(measure)
        for time in measure.iterfind("attributes/time"):
            self.beats = whole(time.findtext("beats"), 0) or self.beats
            self.unit = whole(time.findtext("beat-type"), 0) or self.unit
        timeline = self.clock.read(measure)
        if not roles:
            return
        for stroke, role in zip(timeline.strokes, roles, strict=True):
            if role == RHYTHM:
                _make_slash(stroke.element)
            elif role == BEATS:
                self._write_beats(timeline, roles, stroke)
        for stroke, role in zip(timeline.strokes, roles, strict=True):
            if role == NOTHING:
                _clear(stroke)

    def _write_beats(self, timeline: Timeline, roles: Sequence[str], first: Stroke) -> None:
        """Slashes on all beats in the place of a staff's first voice."""
        line = [
            stroke
            for stroke, role in zip(timeline.strokes, roles, strict=True)
            if role in (BEATS, NOTHING)
            and (stroke.staff, stroke.voice) == (first.staff, first.voice)
            and "chord" not in stroke.said
            and "grace" not in stroke.said
        ]
        slashes = self._slashes(line, first) if line else iter(())
        times = {id(element): when for when, element in timeline.others}
        now: Time = line[0].onset if line else 0
        for stroke in line:
            while now < stroke.end and (slash := next(slashes, None)) is not None:
                stroke.element.addprevious(slash)
                now += whole(slash.findtext("duration"), 0)
            for sign in _signs_after(stroke.element):
                if id(sign) in times and times[id(sign)] != now:
                    set_off(sign, times[id(sign)] - now)
            take_out(stroke.element)

    def _slashes(self, line: Sequence[Stroke], first: Stroke) -> Iterator[etree._Element]:
        dotted = self.unit >= 8 and self.beats % 3 == 0
        unit = self.unit // 2 if dotted else max(4, self.unit)  # in two, four: open ones are held
        beat = math.ceil(self.clock.divisions * 4 / unit * (3 if dotted else 2) / 2)
        left = math.ceil(line[-1].end - line[0].onset)
        address = int((first.element.get("id") or "n0")[1:])
        for n in range(min(_MOST, math.ceil(left / beat))):
            note = etree.Element("note")
            note.set("id", f"{SLASH_ID}{address * _MOST + n}" if n else f"n{address}")
            etree.SubElement(note, "duration").text = str(min(beat, left - n * beat))
            etree.SubElement(note, "voice").text = first.voice if first.voice.isdecimal() else "1"
            etree.SubElement(note, "type").text = _VALUES.get(unit, "quarter")
            if dotted:
                etree.SubElement(note, "dot")
            etree.SubElement(note, "stem").text = "none"
            etree.SubElement(note, "staff").text = first.staff
            _make_slash(note)
            yield note


def _make_slash(note: etree._Element) -> None:
    """A slash on the middle line."""
    for child in note.findall("pitch") + note.findall("unpitched") + note.findall("accidental"):
        note.remove(child)
    for name in ("unpitched", "notehead"):
        if note.find(name) is None:
            put_in_order(note, etree.Element(name))
    place = note.find("unpitched")
    head = note.find("notehead")
    if place is not None and head is not None:
        etree.SubElement(place, "display-step").text = "B"
        etree.SubElement(place, "display-octave").text = "4"
        head.text = "slash"


def _signs_after(note: etree._Element) -> Iterator[etree._Element]:
    """What stands between a note and the next."""
    for element in note.itersiblings():
        if element.tag in ("note", "backup", "forward"):
            return
        if element.tag in ("direction", "harmony"):
            yield element


def _clear(stroke: Stroke) -> None:
    """White where a note stood beside the slashes; a chord's or grace note takes no time."""
    measure = stroke.element.getparent()
    if measure is None:  # slashes stand there
        return
    if "chord" not in stroke.said and "grace" not in stroke.said and "duration" in stroke.said:
        white = etree.Element("forward")
        white.append(stroke.said["duration"])
        stroke.element.addprevious(white)
    measure.remove(stroke.element)


def _take_out_styles(measure: etree._Element) -> None:
    for style in measure.findall("attributes/measure-style"):
        for slash in style.findall("slash"):
            style.remove(slash)
            if not len(style):
                take_out(style)
