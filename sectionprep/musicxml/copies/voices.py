"""Voices written one after another, as the engraver wants them. Works on its copy only.

A file may write two voices note by note, go back in the middle of a voice, or let one voice sound
twice at a time. The engraver takes notes as they come and puts them into the wrong voice without a
word.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from sectionprep.musicxml.copies.timeline import Stroke, Time, Timeline
from sectionprep.musicxml.note_order import put_in_order


@dataclass(slots=True)
class _Group:
    """A note with its chord and the grace notes before it."""

    onset: Time
    end: Time
    strokes: list[Stroke] = field(default_factory=list)
    before: list[etree._Element] = field(default_factory=list)


def in_order(timeline: Timeline) -> bool:
    """True where each voice is written in one go, from its first note to its last."""
    if not timeline.backs:
        return True
    done: set[str] = set()
    now = ""
    until: Time = 0
    for stroke in timeline.strokes:
        if "chord" in stroke.said:
            continue
        voice = stroke.voice
        if voice != now:
            if voice in done:
                return False
            done.add(voice)
            now, until = voice, 0
        if stroke.onset < until:
            return False
        until = stroke.end
    return True


def one_after_another(measure: etree._Element, timeline: Timeline) -> bool:
    """Write the voices of a measure one after another. Returns False, and changes nothing, where
    the times cannot be said in whole divisions of one kind."""
    lines = _lines(timeline)
    times = [time for line in lines for group in line for time in (group.onset, group.end)]
    if not lines or not timeline.steady or any(time.denominator != 1 for time in times):
        return False
    last = [
        element
        for when, element in timeline.others
        if element.tag == "barline" and when and when >= timeline.end
    ]
    loose = _attach([(when, e) for when, e in timeline.others if e not in last], lines)
    for element in list(measure):
        measure.remove(element)
    for n, line in enumerate(lines):
        now: Time = 0
        for group in line:
            if n:  # signs of the first voice may be set off from its notes, so they come first
                _move(measure, "forward", group.onset - now, group)
                measure.extend(group.before)
            else:
                at_once = [e for e in group.before if group.onset == now]
                measure.extend(at_once)
                _move(measure, "forward", group.onset - now, group)
                measure.extend(e for e in group.before if e not in at_once)
            measure.extend(stroke.element for stroke in group.strokes)
            now = group.end
        if n == 0:
            measure.extend(loose)
        if n + 1 < len(lines):
            _move(measure, "backup", now, None)
    measure.extend(last)
    return True


def _lines(timeline: Timeline) -> list[list[_Group]]:
    """Each voice's notes in time; what sounds while its voice still does becomes a voice of its
    own."""
    voices: dict[str, list[_Group]] = {}
    graces: dict[str, list[Stroke]] = {}
    held: dict[str, _Group] = {}
    for stroke in timeline.strokes:
        voice = stroke.voice
        if "grace" in stroke.said:
            graces.setdefault(voice, []).append(stroke)
        elif "chord" in stroke.said and voice in held:
            held[voice].strokes.append(stroke)
        else:
            group = held[voice] = _Group(stroke.onset, stroke.end, [*graces.pop(voice, []), stroke])
            voices.setdefault(voice, []).append(group)
    for voice, left in graces.items():
        voices.setdefault(voice, []).append(_Group(left[0].onset, left[0].onset, left))
    lines: list[list[_Group]] = []
    taken = set(voices)
    for groups in voices.values():
        own: list[list[_Group]] = []
        for group in sorted(groups, key=lambda group: group.onset):
            line = next((line for line in own if line[-1].end <= group.onset), None)
            if line is None:
                line = []
                own.append(line)
            line.append(group)
        for line in own[1:]:
            number = next(str(n) for n in range(1, 1000) if str(n) not in taken)
            taken.add(number)
            _rename(line, number)
        lines += own
    return lines


def _rename(line: Sequence[_Group], number: str) -> None:
    for group in line:
        for stroke in group.strokes:
            voice = stroke.said.get("voice")
            if voice is None:
                voice = stroke.said["voice"] = etree.Element("voice")
                put_in_order(stroke.element, voice)
            voice.text = number


def _attach(
    others: Sequence[tuple[Time, etree._Element]], lines: Sequence[Sequence[_Group]]
) -> list[etree._Element]:
    """Give each sign to the note it stands at; what stands at none is set off from one before it.
    What is left stands at the end."""
    left: list[etree._Element] = []
    for when, element in others:
        group = next((g for line in lines for g in line if g.onset == when), None)
        if group is None and when == 0:
            group = lines[0][0]
        if group is None:
            group = next((g for g in reversed(lines[0]) if g.onset < when < g.end), None)
            if group is not None and element.tag in ("direction", "harmony"):
                set_off(element, when - group.onset)
        if group is None:
            left.append(element)
        else:
            group.before.append(element)
    return left


def set_off(element: etree._Element, divisions: Time) -> None:
    """Say that a direction or chord symbol stands so much later than where it is written."""
    offset = element.find("offset")
    if offset is None:
        offset = etree.Element("offset")
        after = [c for c in element if c.tag in ("staff", "sound", "listening", "voice")]
        element.insert(element.index(after[0]) if after else len(element), offset)
    offset.text = str(round(Fraction(str(offset.text or 0)) + divisions))


def _move(measure: etree._Element, tag: str, length: Time, group: _Group | None) -> None:
    if length > 0:
        element = etree.SubElement(measure, tag)
        etree.SubElement(element, "duration").text = str(length)
        if group is not None:
            for name in ("voice", "staff"):
                said = group.strokes[0].said.get(name)
                if said is not None:
                    etree.SubElement(element, name).text = said.text
