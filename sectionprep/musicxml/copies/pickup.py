"""Rests of a pick-up bar: written at their length, since a whole rest in so short a bar runs into
the meter."""

from __future__ import annotations

import copy
from fractions import Fraction

from lxml import etree

from sectionprep.musicxml.note_order import put_in_order
from sectionprep.musicxml.numbers import decimal

#: note values in quarters, longest first; dotted ones beside the plain
_VALUES = tuple(
    (quarters * (Fraction(3, 2) if dot else 1), name, dot)
    for quarters, name in (
        (Fraction(4), "whole"),
        (Fraction(2), "half"),
        (Fraction(1), "quarter"),
        (Fraction(1, 2), "eighth"),
        (Fraction(1, 4), "16th"),
        (Fraction(1, 8), "32nd"),
    )
    for dot in (True, False)
)


def write_pickup_rests(measure: etree._Element) -> None:
    """Give the untyped rests of a copied first measure their values, if it is shorter than its
    meter."""
    divisions = decimal(measure.findtext("attributes/divisions")) or 1
    beats, unit = (
        decimal(measure.findtext(f"attributes/time/{name}")) for name in ("beats", "beat-type")
    )
    if not beats or not unit:
        return
    for note in list(measure.iterchildren("note")):
        rest, length = note.find("rest"), decimal(note.findtext("duration"))
        if (
            rest is None
            or not length
            or (note.find("type") is not None and rest.get("measure") != "yes")
        ):
            continue
        quarters = Fraction(length) / Fraction(divisions)
        if quarters < Fraction(beats) * 4 / Fraction(unit):
            rest.attrib.pop("measure", "")
            _write(note, quarters, Fraction(divisions))


def _write(note: etree._Element, quarters: Fraction, divisions: Fraction) -> None:
    """Let one rest become as many as its length takes."""
    values = _split(quarters)
    if not values:
        return
    for again in values[1:]:
        twin = copy.deepcopy(note)
        twin.attrib.pop("id", "")
        note.addnext(twin)
        _state(twin, *again, divisions)
    _state(note, *values[0], divisions)


def _split(quarters: Fraction) -> list[tuple[Fraction, str, bool]]:
    """Values that add up to a length; none where they do not (a tuplet, say)."""
    found = []
    for value, name, dot in _VALUES:
        while value <= quarters:
            found.append((value, name, dot))
            quarters -= value
    return [] if quarters else found


def _state(
    note: etree._Element, quarters: Fraction, name: str, dot: bool, divisions: Fraction
) -> None:
    for old in note.findall("type") + note.findall("dot"):
        note.remove(old)
    duration = note.find("duration")
    if duration is not None:
        duration.text = str(quarters * divisions)
    kind = etree.Element("type")
    kind.text = name
    put_in_order(note, kind)
    if dot:
        put_in_order(note, etree.Element("dot"))
