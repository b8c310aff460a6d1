"""Brackets for tuplets that are encoded by their lengths alone: without one they print as plain
notes. Works on the engraver's copy.

Common practice, no source: a number over beamed notes, a bracket where they are not beamed
together.
"""

from __future__ import annotations

from collections.abc import Sequence

from lxml import etree

from sectionprep.musicxml.copies.timeline import Stroke, Timeline
from sectionprep.musicxml.numbers import whole


def write_tuplets(timeline: Timeline) -> None:
    """Number the tuplets of a measure that no `<tuplet>` numbers."""
    voices: dict[str, list[Stroke]] = {}
    for stroke in timeline.strokes:
        if "chord" not in stroke.said and "grace" not in stroke.said:
            voices.setdefault(stroke.voice, []).append(stroke)
    for line in voices.values():
        if any("time-modification" in stroke.said for stroke in line):
            _number(line)


def _number(line: Sequence[Stroke]) -> None:
    group: list[Stroke] = []
    ratio: tuple[int, int] | None = None
    inside = 0
    for stroke in [*line, None]:
        own = _ratio(stroke) if stroke is not None else None
        if stroke is not None:
            starts, stops = _tuplets(stroke)
            bare = own is not None and not inside and not starts
            inside = max(0, inside + starts - stops)
            own = own if bare else None
        if group and (own != ratio or stroke is None or stroke.onset != group[-1].end):
            _bracket(group)
            group = []
        if own is None or stroke is None:
            continue
        ratio = own
        group.append(stroke)
        if sum(s.length for s in group) == own[0] * min(s.length for s in group):
            _bracket(group)
            group = []


def _ratio(stroke: Stroke) -> tuple[int, int] | None:
    """Actual and normal notes, as in (3, 2); None for a note in no tuplet. A tremolo between two
    notes changes lengths, too."""
    said = stroke.said.get("time-modification")
    if said is None or next(stroke.element.iter("tremolo"), None) is not None:
        return None
    actual, normal = (
        whole(said.findtext("actual-notes"), 0),
        whole(said.findtext("normal-notes"), 0),
    )
    return (actual, normal) if actual and normal and actual != normal else None


def _tuplets(stroke: Stroke) -> tuple[int, int]:
    """How many tuplets begin and end on a note."""
    kinds = [
        t.get("type")
        for n in stroke.element.iterchildren("notations")
        for t in n.iterchildren("tuplet")
    ]
    return kinds.count("start"), kinds.count("stop")


def _bracket(group: Sequence[Stroke]) -> None:
    if len(group) < 2:
        return
    beamed = all(stroke.beams for stroke in group)
    for stroke, kind in ((group[0], "start"), (group[-1], "stop")):
        tuplet = etree.SubElement(notations_of(stroke), "tuplet", type=kind, number="1")
        if kind == "start":
            tuplet.set("bracket", "no" if beamed else "yes")


def notations_of(stroke: Stroke) -> etree._Element:
    """A note's `<notations>`, made where it has none."""
    found = stroke.said.get("notations")
    if found is None:
        found = stroke.said["notations"] = etree.Element("notations")
        after = [c for c in stroke.element if c.tag in ("lyric", "play", "listen")]
        stroke.element.insert(
            stroke.element.index(after[0]) if after else len(stroke.element), found
        )
    return found
