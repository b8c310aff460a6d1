"""What a file holds and does not print (`print-object="no"`), taken out of the engraver's copy: the
engraver draws some of it all the same. Notes, clefs, keys and meters stay: others hang on them.
"""

from __future__ import annotations

from lxml import etree

_SIGNS = ("harmony", "figured-bass", "lyric", "notations", "ending", "metronome")


def take_out_unprinted(measure: etree._Element) -> None:
    """Take the signs that are not to be printed out of a copied measure."""
    for element in list(measure.iter(*_SIGNS)):
        if element.get("print-object") == "no":
            take_out(element)


def take_out(element: etree._Element) -> None:
    """Remove an element, and what would stand empty around it."""
    around = element.getparent()
    if around is None:
        return
    around.remove(element)
    if (not len(around) and around.tag == "direction-type") or (
        around.tag == "direction" and around.find("direction-type") is None
    ):
        take_out(around)
