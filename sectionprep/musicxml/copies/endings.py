"""First and second endings as the engraver can draw them: labelled as the file labels them, and
each with an end. Works on its copy.
"""

from __future__ import annotations

from collections.abc import Sequence

from lxml import etree


def write_endings(measures: Sequence[etree._Element]) -> None:
    """The engraver prints the numbers of an ending, and pairs its two ends by them: where the file
    has a label of its own ("1.–3.", "last time"), both ends get it as their number. An ending that
    nothing ends (the last of several, in many files) would not be drawn: it stays open over its
    first bar."""
    labels: dict[str, str] = {}
    begun: etree._Element | None = None  # the measure of the ending that is open
    open_ = ""
    for measure in measures:
        for ending in measure.findall("barline/ending"):
            number = ending.get("number", "")
            if ending.get("type") == "start":
                _leave_open(begun, open_)
                labels[number] = " ".join((ending.text or "").split()) or number
                begun, open_ = measure, labels[number]
            else:
                begun = None
            ending.set("number", labels.get(number, number))
    _leave_open(begun, open_)


def _leave_open(measure: etree._Element | None, label: str) -> None:
    if measure is None:
        return
    barline = measure.find("barline[@location='right']")
    if barline is None:
        barline = etree.SubElement(measure, "barline", location="right")
    end = etree.Element("ending", number=label, type="discontinue")
    repeat = barline.find("repeat")
    if repeat is None:
        barline.append(end)
    else:
        repeat.addprevious(end)
