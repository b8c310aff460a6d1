"""First and second endings, labelled as the file labels them. Works on the engraver's copy."""

from __future__ import annotations

from collections.abc import Iterable

from lxml import etree


def label_endings(measures: Iterable[etree._Element]) -> None:
    """The engraver prints the numbers of an ending, and pairs its two ends by them: where the file
    has a label of its own ("1.–3.", "last time"), both ends get it as their number."""
    labels: dict[str, str] = {}
    for measure in measures:
        for ending in measure.iterfind("barline/ending"):
            number = ending.get("number", "")
            if ending.get("type") == "start":
                labels[number] = " ".join((ending.text or "").split()) or number
            ending.set("number", labels.get(number, number))
