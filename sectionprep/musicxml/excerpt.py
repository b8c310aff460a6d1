"""A few bars of a few parts as a score of its own, in sounding pitch, for the study pages."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass

from lxml import etree

from sectionprep.music.pitch import Transposition
from sectionprep.musicxml.document import Document, tag_of
from sectionprep.musicxml.extract import copy_measure, measures_of, tame
from sectionprep.musicxml.transposing import WrittenPart

_ORDER = ("divisions", "key", "time", "staves", "clef", "transpose")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """One staff of an excerpt: the part's id (and which of equal ids), the label, what to add to the written
    pitch to get the printed one, and the clef to print ("" keeps the part's own)."""

    part_id: str
    occurrence: int
    label: str
    shift: Transposition
    clef: str = ""


def extract_excerpt(document: Document, picks: Sequence[Pick], first: int, last: int) -> bytes:
    """Bars [first, last] (indices) of the picked parts."""
    addresses = {id(element): n for n, element in enumerate(document.tree_notes)}
    score = etree.Element("score-partwise", version="4.0")
    part_list = etree.SubElement(score, "part-list")
    for n, pick in enumerate(picks, start=1):
        listed = etree.SubElement(part_list, "score-part", id=f"P{n}")
        etree.SubElement(listed, "part-name").text = pick.label
        etree.SubElement(listed, "part-abbreviation").text = pick.label
        part = etree.SubElement(score, "part", id=f"P{n}")
        _fill(part, document, pick, first, last, addresses, n == 1)
    return etree.tostring(score, xml_declaration=True, encoding="UTF-8")


def _fill(
    part: etree._Element, document: Document, pick: Pick, first: int, last: int, addresses: dict[int, int], is_top: bool
) -> None:
    measures = measures_of(document.root, pick.part_id, pick.occurrence)
    opposite = Transposition(-pick.shift.diatonic, -pick.shift.chromatic)
    rewrite = WrittenPart(opposite, pick.clef) if pick.shift.chromatic or pick.clef else None
    for n in range(first, min(last, len(measures) - 1) + 1):
        copied = copy_measure(measures[n], addresses)
        copied.tag = "measure"
        copied.set("number", measures[n].get("number") or str(n + 1))
        if n == first:
            _open(copied, measures[:first])
        _strip(copied, is_top)
        tame(copied)
        if rewrite is not None:
            rewrite.rewrite(copied)
        part.append(copied)


def _open(measure: etree._Element, before: Sequence[etree._Element]) -> None:
    """Put clef, key, time and divisions that hold at the start in front of the first bar."""
    held: dict[str, etree._Element] = {}
    for earlier in before:
        for attributes in earlier:
            if tag_of(attributes) == "attributes":
                for child in attributes:
                    if tag_of(child) in _ORDER and child.get("number") in (None, "1"):
                        held[tag_of(child)] = child
    own = next((e for e in measure if e.tag == "attributes"), None)
    if own is None:
        own = etree.Element("attributes")
        measure.insert(0, own)
    for child in own:
        held[tag_of(child)] = child
    for child in list(own):
        own.remove(child)
    for name in _ORDER:
        if name in held:
            twin = copy.deepcopy(held[name])
            for inner in twin.iter():
                inner.tag = tag_of(inner)
            own.append(twin)


def _strip(measure: etree._Element, is_top: bool) -> None:
    """Repeat signs and endings mean nothing in an excerpt; words for everybody stand once."""
    for barline in measure.findall("barline"):
        measure.remove(barline)
    if not is_top:
        for direction in measure.findall("direction"):
            kinds = {tag_of(e) for e in direction.iter()}
            if kinds & {"rehearsal", "segno", "coda", "metronome"}:
                measure.remove(direction)
