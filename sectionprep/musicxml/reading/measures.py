"""Walking one part: its measures in ticks, each note with what it says.

A note is read once here; what is found is kept for the reader, which needs the place of every bar
before it can say when a note sounds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from lxml import etree

from sectionprep.errors import NotAScore, OverLimit
from sectionprep.music.timing import Meter
from sectionprep.musicxml.document import Document, local_name, tag_of
from sectionprep.musicxml.numbers import decimal, whole
from sectionprep.musicxml.reading.notes import NoteReader, Written, as_slash
from sectionprep.musicxml.slashes import ITSELF, SlashRegions

_LONGEST = 100_000  # quarter notes in one element: a judgement, far above any music


@dataclass(slots=True)
class PartState:
    """What holds from measure to measure while one part is walked. scale: ticks of one division
    where that is whole; lengths: ticks of the durations met so far, by their text; slashes:
    the slash regions met so far, None where the document has none."""

    index: int
    divisions: Fraction = Fraction(1)
    scale: int = 0
    lengths: dict[str, int] = field(default_factory=dict)
    meter: Meter = field(default_factory=Meter)
    staves: int = 1
    slashes: SlashRegions | None = None


class Event(NamedTuple):
    """What stands in a measure: where, in ticks from its bar line, and how long it is. note: what a
    note says."""

    offset: int
    duration: int
    element: etree._Element
    note: Written | None = None


@dataclass(slots=True)
class Measure:
    """One measure of one part, in ticks from its own bar line. content: to the end of all it holds;
    sounding: to the end of its last note."""

    number: str
    implicit: bool
    meter: Meter
    content: int = 0
    sounding: int = 0
    events: list[Event] = field(default_factory=list)


class Walker:
    """Walks parts of one document. resolution: ticks per quarter note, common to all parts."""

    def __init__(self, document: Document, where: str) -> None:
        self.where = where
        self.notes = NoteReader(document, where)
        self.resolution = self._resolution(document.root)

    def _resolution(self, root: etree._Element) -> int:
        found = {1}
        for element in root.iter("{*}divisions"):
            divisions = self._positive(element.text, "divisions")
            found.add((Fraction(1) / divisions).denominator)
        for element in root.iter("{*}duration"):
            text = element.text or ""
            if "." in text:
                found.add(self._number(text, "duration").denominator)
        common = math.lcm(*found)
        if common > 10**9:
            raise OverLimit(
                "its divisions have no reasonable common measure.",
                where=self.where,
                remedy="Export the score again with one value of <divisions>.",
            )
        return common

    def _number(self, text: str | None, what: str) -> Fraction:
        value = decimal(text)
        if value is None:
            raise NotAScore(
                f"<{what}> holds {text!r:.40}, which is no number.",
                where=self.where,
                remedy="Correct that element or export again.",
            )
        return value

    def _positive(self, text: str | None, what: str) -> Fraction:
        value = self._number(text, what)
        if not 0 < value <= 10**7:
            raise NotAScore(
                f"<{what}> is {value}, which measures nothing.",
                where=self.where,
                remedy="Correct that element or export again.",
            )
        return value

    def walk(self, index: int, measures: list[etree._Element]) -> tuple[list[Measure], PartState]:
        document = self.notes.document
        state = PartState(
            index=index, slashes=SlashRegions() if document.may_have_slashes else None
        )
        read: list[Measure] = []
        for measure in measures:
            meter_before = state.meter
            number = measure.get("number")
            if number is None and (above := measure.getparent()) is not None:
                number = above.get("number")  # timewise: the measure is the parent
            current = Measure(
                number=number or "", implicit=measure.get("implicit") == "yes", meter=meter_before
            )
            try:
                self._walk_measure(measure, current, state)
            except NotAScore as error:
                if error.where != self.where:
                    raise  # it says its place already
                where = f"{self.where}, {self.notes.document.place(measure)}"
                raise NotAScore(error.what, where=where, remedy=error.remedy) from error
            current.meter = state.meter
            read.append(current)
        return read, state

    def _walk_measure(self, measure: etree._Element, current: Measure, state: PartState) -> None:
        cursor = last_onset = content = sounding = 0
        printed = iter(state.slashes.take(measure) if state.slashes is not None else ())
        for element in measure:
            tag = tag_of(element)
            if tag == "note":
                said = self.notes.read(element)
                if (role := next(printed, ITSELF)) != ITSELF:
                    said = as_slash(said, role)
                duration = self._duration(said.length, state)
                if said.is_chord:
                    current.events.append(Event(last_onset, duration, element, said))
                    continue
                last_onset = cursor
                current.events.append(Event(cursor, duration, element, said))
                cursor += duration
                if cursor > sounding and not said.is_rest:
                    sounding = cursor
            elif tag in ("backup", "forward"):
                moved = self._duration(
                    next((c.text or "" for c in element if local_name(c.tag) == "duration"), None),
                    state,
                )
                cursor = max(0, cursor - moved) if tag == "backup" else cursor + moved
            elif tag == "attributes":
                self._attributes(element, state)
                current.events.append(Event(cursor, 0, element))
            elif tag in ("direction", "harmony", "barline", "sound"):
                current.events.append(Event(cursor, 0, element))
            if cursor > content:
                content = cursor
        current.content, current.sounding = content, sounding

    def _duration(self, text: str | None, state: PartState) -> int:
        """Ticks of a duration's text; None: there is none."""
        if text is None:
            return 0
        known = state.lengths.get(text)
        if known is None:
            known = state.lengths[text] = self._new_duration(text, state)
        return known

    def _new_duration(self, text: str, state: PartState) -> int:
        plain = whole(text, -1, digits=9) * state.scale
        if 0 < plain <= _LONGEST * self.resolution:  # nearly every note of nearly every file
            return plain
        value = self._number(text, "duration") / state.divisions
        if value < 0 or value > _LONGEST:
            raise NotAScore(
                f"a <duration> of {text!r:.30} is impossible.",
                where=self.where,
                remedy="Correct that element or export again.",
            )
        ticks = value * self.resolution
        return int(ticks) if ticks.denominator == 1 else round(ticks)

    def _attributes(self, element: etree._Element, state: PartState) -> None:
        for child in element:
            tag = tag_of(child)
            if tag == "divisions":
                state.divisions = self._positive(child.text, "divisions")
                ticks = self.resolution / state.divisions
                state.scale = ticks.numerator if ticks.denominator == 1 else 0
                state.lengths = {}
            elif tag == "time":
                state.meter = self._meter(child, state.meter)
            elif tag == "staves":
                state.staves = max(state.staves, whole(child.text, 1, digits=2))

    def _meter(self, element: etree._Element, before: Meter) -> Meter:
        total = Fraction(0)
        unit = 0
        beats_text = ""
        for child in element:
            text = (child.text or "").strip()
            if tag_of(child) == "beats":
                beats_text = text
            elif tag_of(child) == "beat-type":
                try:
                    beats = sum(int(n) for n in beats_text.split("+"))
                    this = int(text)
                except ValueError:
                    return before
                if not (0 < beats <= 1000 and 0 < this <= 1024):
                    return before
                total += Fraction(beats, this)
                unit = max(unit, this)
        if not unit or not total:
            return before
        return Meter(beats=int(total * unit), unit=unit)
