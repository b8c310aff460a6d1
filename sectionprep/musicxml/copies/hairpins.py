"""Hairpins that end before the first note of a bar, said so that they end at the bar line before
it: where a line breaks there, the engraver would leave a stub on the next."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from lxml import etree

from sectionprep.musicxml.copies.jumps import end_of
from sectionprep.musicxml.numbers import decimal

_MOVES = {"note": 1, "forward": 1, "backup": -1}
_ENDS = etree.XPath("boolean(direction/direction-type/wedge[@type='stop'])")
_AT_HEAD = 16  # an end within such a part of the first note is one at its head; judgement


def end_at_bar_line(before: etree._Element, measure: etree._Element) -> None:
    """Move the ends of hairpins before the first note of a measure to the end of the one before:
    those at its head, in whichever voice and behind whatever note they are written, and those under
    rests with which it begins, if nothing else plays there. Through a bar of rests alone a hairpin
    goes as far as the file has it."""
    if not _ENDS(measure):
        return
    tags = {element.tag for element in measure}
    plays = any(note.find("rest") is None for note in measure.iterchildren("note"))
    silent = plays and tags.isdisjoint(("backup", "forward"))  # up to the first note
    begun: set[str] = set()  # in this measure, by number
    at = first = Fraction(0)  # where one is, and how long the first note is
    for element in list(measure):
        if element.tag in _MOVES:
            silent = silent and element.find("rest") is not None
            if element.find("chord") is None and element.find("grace") is None:
                length = decimal(element.findtext("duration")) or Fraction(0)
                first = first or length
                at += _MOVES[element.tag] * length
        elif element.tag == "direction":
            numbers = {wedge.get("number") or "1" for wedge in element.iter("wedge")}
            offset = decimal(element.findtext("offset")) or Fraction(0)
            here = (silent and not offset) or (at + offset) * _AT_HEAD <= first
            if not _ends_only(element):
                begun |= numbers
            elif here and not numbers & begun:
                for old in element.findall("offset"):
                    element.remove(old)
                measure.remove(element)
                before.insert(end_of(before), element)


def _ends_only(direction: etree._Element) -> bool:
    """True for a direction that ends hairpins, and says nothing else."""
    signs = [sign for kind in direction.findall("direction-type") for sign in kind]
    return bool(signs) and all(s.tag == "wedge" and s.get("type") == "stop" for s in signs)


def endless(measures: Iterable[etree._Element]) -> list[int]:
    """Indices of the measures in which hairpins begin that never end: the engraver draws none of
    them. An end belongs to the first of its number that is open."""
    begun: dict[str, list[int]] = {}
    for n, measure in enumerate(measures):
        for wedge in measure.iterfind("direction/direction-type/wedge"):
            open_ = begun.setdefault(wedge.get("number", "1"), [])
            if wedge.get("type") in ("crescendo", "diminuendo"):
                open_.append(n)
            elif wedge.get("type") == "stop":
                del open_[:1]
    return sorted(n for open_ in begun.values() for n in open_)
