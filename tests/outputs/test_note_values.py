"""Notes without `<type>` (MusicXML 4.0 lets it be missing) are printed with the value of their
duration: they were heads without stems, all alike, and rests of a whole bar."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from build import DIV, part_xml, score_xml
from lxml import etree

from sectionprep.musicxml.copies.timeline import MeasureReader
from sectionprep.musicxml.copies.values import write_values


def _values(bar: str) -> list[tuple[str, int]]:
    """The value and dots of each note of a bar that says none."""
    (measure,) = etree.fromstring(f"<part>{bar}</part>")
    write_values(MeasureReader().read(measure), Fraction(DIV))
    notes = measure.findall("note")
    return [(note.findtext("type", ""), len(note.findall("dot"))) for note in notes]


def _bare(bar: str) -> str:
    return re.sub(r"<type>.*?</type>|<dot/>|<time-modification>.*?</time-modification>", "", bar)


@pytest.mark.parametrize(
    "line",
    [
        "C5/1 ",
        "C5/2. D5/4 ",
        "C5/8 D5/8 r/4 E5/4. F5/8 ",
        "C5/16 D5/16 E5/8 r/2. ",
        "C5/8t D5/8t E5/8t F5/4t G5/8t r/2 ",
    ],
)
def test_values_are_those_that_were_there(line: str, schema: etree.XMLSchema) -> None:
    bar = part_xml(line)
    (measure,) = etree.fromstring(f"<part>{bar}</part>")
    notes = measure.findall("note")
    expected = [(note.findtext("type", ""), len(note.findall("dot"))) for note in notes]
    assert _values(_bare(bar)) == expected
    assert schema.validate(etree.fromstring(score_xml({"A": _bare(bar)}))), schema.error_log


def test_triplets_are_said_to_be_triplets() -> None:
    (measure,) = etree.fromstring(f"<part>{_bare(part_xml('C5/8t D5/8t E5/8t r/2. '))}</part>")
    write_values(MeasureReader().read(measure), Fraction(DIV))
    ratios = [note.findtext("time-modification/actual-notes") for note in measure.findall("note")]
    assert ratios == ["3", "3", "3", None]


def test_what_says_its_value_keeps_it_and_a_rest_of_the_bar_has_none() -> None:
    odd = part_xml("C5/4 D5/4 E5/2 ").replace("half", "eighth")
    assert _values(odd)[2] == ("eighth", 0)
    assert _values(_bare(part_xml("r/1 "))) == [("", 0)]


def test_a_length_that_no_value_has_gets_the_next_shorter() -> None:
    bar = _bare(part_xml("C5/2 D5/8 E5/4. "))
    assert _values(bar.replace("<duration>48<", "<duration>60<", 1))[0] == ("half", 0)
