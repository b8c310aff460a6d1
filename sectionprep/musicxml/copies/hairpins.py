"""Hairpins that end on a first beat, said so that they end at the bar line before it: where a line
breaks there, the engraver would leave a stub on the next."""

from __future__ import annotations

from lxml import etree

from sectionprep.musicxml.copies.jumps import end_of

_MOVES = frozenset({"note", "backup", "forward"})


def end_at_bar_line(before: etree._Element, measure: etree._Element) -> None:
    """Move the ends of hairpins at the head of a measure to the end of the one before."""
    for element in list(measure):
        if element.tag in _MOVES:
            return
        if element.tag == "direction" and _ends_only(element):
            for old in element.findall("offset"):
                element.remove(old)
            measure.remove(element)
            before.insert(end_of(before), element)


def _ends_only(direction: etree._Element) -> bool:
    """True for a direction that ends hairpins there and then, and says nothing else."""
    if (direction.findtext("offset") or "0").strip() != "0":
        return False
    signs = [sign for kind in direction.findall("direction-type") for sign in kind]
    return bool(signs) and all(s.tag == "wedge" and s.get("type") == "stop" for s in signs)
