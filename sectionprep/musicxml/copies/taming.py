"""Values that the engraver cannot survive, or that say nothing, taken out of its copy. The
director's file keeps its own."""

from __future__ import annotations

import re

from lxml import etree

from sectionprep.musicxml.numbers import decimal, whole

_RATE = re.compile(r"[^\d]{0,6}\d{1,3}(\.\d{1,6})?[^\d]{0,20}", re.ASCII)
#: what the engraver takes for a number and could not hold ("1e999"): it ends the process
_BEYOND = re.compile(r"\d[ex]|\d{9}", re.ASCII | re.IGNORECASE)
_STEPS = frozenset("ABCDEFG")
_BEATS = re.compile(r"\d{1,3}(\+\d{1,3}){0,9}", re.ASCII)
_UNITS = frozenset({"1", "2", "4", "8", "16", "32", "64", "128"})
#: what stands before the value of a grace note (MusicXML 4.0, note)
_BEFORE_TYPE = frozenset(
    {"grace", "cue", "chord", "pitch", "unpitched", "rest", "tie"}
    | {"instrument", "footnote", "level", "voice"}
)
_UNKNOWN_KINDS = frozenset({"Neapolitan", "Italian", "French", "German", "pedal", "Tristan"})
_MOST_STAVES = 8  # of one part; an organ has three; judgement


def tame(measure: etree._Element) -> int:
    """Make a measure safe to draw. How many chord symbols were taken out because their root or bass
    is no note, or that are two: drawn as they are, or left untransposed, they would be wrong."""
    for rate in measure.iter("per-minute"):
        if _BEYOND.search(rate.text or ""):
            rate.text = "?"
    for sound in measure.iter("sound"):
        if not _RATE.fullmatch(sound.get("tempo", "120").strip()):
            sound.attrib.pop("tempo", "")
    for attributes in measure.findall("attributes"):
        for time in attributes.findall("time"):
            if not _is_drawn(time):
                attributes.remove(time)
        for staves in attributes.findall("staves"):
            if not 1 <= whole(staves.text, 0) <= _MOST_STAVES:
                attributes.remove(staves)
    for note in measure.iterchildren("note"):
        _gather_notations(note)
        _give_place(note)
    for grace in measure.iterfind("note/grace"):
        _give_value(grace.getparent())
    for harmony in measure.iterchildren("harmony"):
        _say_kind(harmony)
    odd = [h for h in measure.findall("harmony") if not _is_chord(h)]
    for harmony in odd:
        measure.remove(harmony)
    return len(odd)


def _give_place(note: etree._Element) -> None:
    """A note without pitch or place stands on the middle line (MusicXML 4.0, unpitched), whatever
    the clef; the engraver puts it far below the staff."""
    unpitched = note.find("unpitched")
    if unpitched is not None and unpitched.find("display-step") is None:
        etree.SubElement(unpitched, "display-step").text = "B"
        etree.SubElement(unpitched, "display-octave").text = "4"


def _gather_notations(note: etree._Element) -> None:
    """A note may have several `<notations>` (one for each hand that edited it); the engraver reads
    the first alone."""
    notations = note.findall("notations")
    for other in notations[1:]:
        notations[0].extend(other)
        note.remove(other)


def _give_value(note: etree._Element | None) -> None:
    """A grace note of no value is an eighth (common practice, no source): in a beam the engraver
    draws stems of twenty kilometres from one without."""
    if note is None or note.find("type") is not None:
        return
    before = [child for child in note if child.tag in _BEFORE_TYPE]
    value = etree.Element("type")
    value.text = "eighth"
    note.insert(note.index(before[-1]) + 1 if before else len(note), value)


def _is_drawn(time: etree._Element) -> bool:
    """Whether it says a metre: free time says none and brings the engraver down in an excerpt."""
    beats, units = time.findall("beats"), time.findall("beat-type")
    return bool(beats) and all(
        _BEATS.fullmatch((b.text or "").strip()) and (u.text or "").strip() in _UNITS
        for b, u in zip(beats, units, strict=False)
    )


def _is_chord(harmony: etree._Element) -> bool:
    """Whether it is one chord over a note, or says that there is none."""
    kinds = harmony.findall("kind")
    if len(kinds) != 1 or (harmony.find("root") is None and not _is_none(kinds[0])):
        return False
    for place in ("root", "bass"):
        for element in harmony.findall(place):
            step, alter = element.find(f"{place}-step"), element.find(f"{place}-alter")
            if step is None or (step.text or "").strip() not in _STEPS:
                return False
            value = decimal(alter.text) if alter is not None else 0
            if value is None or not -3 <= value <= 3:
                return False
    return True


def _is_none(kind: etree._Element) -> bool:
    return (kind.text or "").strip() == "none"


def _say_kind(harmony: etree._Element) -> None:
    """The engraver prints the root alone where there is no chord, and of kinds that it does not
    know: C for N.C. and for the Neapolitan of C."""
    kind = harmony.find("kind")
    if kind is None:
        return
    if _is_none(kind):
        kind.set("text", kind.get("text") or "N.C.")
        for child in list(harmony):
            if child.tag in ("root", "bass", "degree", "inversion"):
                harmony.remove(child)
    elif kind.get("text") is None and (kind.text or "").strip() in _UNKNOWN_KINDS:
        kind.set("text", f" {(kind.text or '').strip()}")
