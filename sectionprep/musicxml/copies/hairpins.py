"""Hairpins that end before the first note of a bar, said so that they end at the bar line before
it: where a line breaks there, the engraver would leave a stub on the next."""

from __future__ import annotations

from lxml import etree

from sectionprep.musicxml.copies.jumps import end_of

_OTHER_VOICES = frozenset({"backup", "forward"})


def end_at_bar_line(before: etree._Element, measure: etree._Element) -> None:
    """Move the ends of hairpins before the first note of a measure to the end of the one before:
    those at its head, and those under rests with which it begins, if nothing else plays there."""
    alone = not any(element.tag in _OTHER_VOICES for element in measure)
    begun: set[str] = set()  # in this measure, by number
    for element in list(measure):
        if element.tag in _OTHER_VOICES:
            return
        if element.tag == "note" and not (alone and element.find("rest") is not None):
            return
        if element.tag != "direction":
            continue
        numbers = {wedge.get("number") or "1" for wedge in element.iter("wedge")}
        if not _ends_only(element):
            begun |= numbers
        elif not numbers & begun:
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
