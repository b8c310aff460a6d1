"""Staves of tablature: printed as tablature where each note says its string and fret, as notes on a
staff otherwise."""

from __future__ import annotations

from collections.abc import Sequence

from lxml import etree

_OF_STRINGS = ("staff-lines", "staff-tuning", "capo", "line-detail")


class Tablature:
    """Which staves of a part must be printed as notes although they have the clef of tablature.
    always_notes: all of them; clef: of such a staff ("G2", "F4"); possible: False where the score
    is known to have none."""

    def __init__(
        self,
        measures: Sequence[etree._Element],
        *,
        clef: str = "G2",
        always_notes: bool = False,
        possible: bool = True,
    ) -> None:
        self.concerned = possible and any(_has_tablature(measure) for measure in measures)
        self.as_notes = (
            _staves(measures, fretted_too=always_notes) if self.concerned else frozenset()
        )
        self.printed: set[str] = set()  # staves that are tablature at the moment
        self.clef = (
            [("sign", "F"), ("line", "4")] if clef[:1] == "F" else [("sign", "G"), ("line", "2")]
        )
        if self.concerned and not any(
            _octaves(measure) for measure in measures
        ):  # pitches as they sound: an octave below the written; common practice
            self.clef.append(("clef-octave-change", "-1"))

    def rewrite(self, measure: etree._Element) -> int:
        """Give a copied measure the clef of a guitar where frets are missing. Returns how many
        frets that leaves unprinted. Measures come in order."""
        frets = 0
        if not self.concerned:
            return frets
        for element in measure.iterchildren("attributes", "note"):
            if element.tag == "attributes":
                self._attributes(element)
            elif (element.findtext("staff") or "1").strip() not in self.printed:
                frets += _forget_frets(element)
        return frets

    def _attributes(self, attributes: etree._Element) -> None:
        for clef in attributes.iterchildren("clef"):
            staff = clef.get("number", "1")
            if _is_tab(clef) and staff not in self.as_notes:
                self.printed.add(staff)
                continue
            self.printed.discard(staff)
            if _is_tab(clef):
                for child in list(clef):
                    clef.remove(child)
                for name, value in self.clef:
                    etree.SubElement(clef, name).text = value
        for details in attributes.iterchildren("staff-details"):
            if details.get("number", "1") in self.as_notes:
                for child in [c for c in details if c.tag in _OF_STRINGS]:
                    details.remove(child)


def _has_tablature(measure: etree._Element) -> bool:
    return next(measure.iter("{*}fret"), None) is not None or any(
        _is_tab(clef) for clef in measure.iter("{*}clef")
    )


def _octaves(measure: etree._Element) -> bool:
    return measure.find("{*}attributes/{*}transpose/{*}octave-change") is not None


def _forget_frets(note: etree._Element) -> int:
    """Take the frets of a note away; how many."""
    count = 0
    for technical in note.iterfind("notations/technical"):
        for fret in technical.findall("fret"):
            technical.remove(fret)
            count += 1
    return count


def _is_tab(clef: etree._Element) -> bool:
    return (clef.findtext("{*}sign") or "").strip() == "TAB"


def _staves(measures: Sequence[etree._Element], *, fretted_too: bool) -> frozenset[str]:
    """Numbers of the staves with the clef of tablature on which a note names no string or no
    fret."""
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
    return all(
        note.find(f"{{*}}notations/{{*}}technical/{{*}}{name}") is not None
        for name in ("string", "fret")
    )
