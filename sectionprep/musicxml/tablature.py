"""Staves of tablature: printed as tablature where each note says its string and fret, as notes on a staff otherwise."""

from __future__ import annotations

from collections.abc import Sequence

from lxml import etree

_OF_STRINGS = ("staff-lines", "staff-tuning", "capo", "line-detail")
_CLEF = (("sign", "G"), ("line", "2"), ("clef-octave-change", "-1"))  # as guitars are written; common practice


class Tablature:
    """Which staves of a part must be printed as notes although they have the clef of tablature. always_notes: all of them."""

    def __init__(self, measures: Sequence[etree._Element], *, always_notes: bool = False) -> None:
        self.as_notes = _staves(measures, fretted_too=always_notes)

    def rewrite(self, measure: etree._Element) -> None:
        """Give a copied measure the clef of a guitar where frets are missing."""
        if not self.as_notes:
            return
        for clef in measure.iter("clef"):
            if _is_tab(clef):
                for child in list(clef):
                    clef.remove(child)
                for name, value in _CLEF:
                    etree.SubElement(clef, name).text = value
        for details in measure.iter("staff-details"):
            if details.get("number", "1") in self.as_notes:
                for child in [c for c in details if c.tag in _OF_STRINGS]:
                    details.remove(child)
        for note in measure.iterchildren("note"):
            if (note.findtext("staff") or "1").strip() in self.as_notes:
                _forget_strings(note)


def _forget_strings(note: etree._Element) -> None:
    for technical in note.iter("technical"):
        for element in [e for e in technical if e.tag in ("string", "fret")]:
            technical.remove(element)


def _is_tab(clef: etree._Element) -> bool:
    return (clef.findtext("{*}sign") or "").strip() == "TAB"


def _staves(measures: Sequence[etree._Element], *, fretted_too: bool) -> frozenset[str]:
    """Numbers of the staves with the clef of tablature on which a note names no string or no fret."""
    tab: set[str] = set()
    found: set[str] = set()
    for measure in measures:
        for element in measure.iterchildren("{*}attributes", "{*}note"):
            if element.find("{*}clef") is not None:
                for clef in element.iterchildren("{*}clef"):
                    (tab.add if _is_tab(clef) else tab.discard)(clef.get("number", "1"))
            elif tab and element.find("{*}pitch") is not None:
                staff = (element.findtext("{*}staff") or "1").strip()
                if staff in tab and (fretted_too or not _is_fretted(element)):
                    found.add(staff)
    return frozenset(found)


def _is_fretted(note: etree._Element) -> bool:
    return all(note.find(f"{{*}}notations/{{*}}technical/{{*}}{name}") is not None for name in ("string", "fret"))
