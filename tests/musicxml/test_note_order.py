"""The order of a note's children against the schema itself (MusicXML 4.0, W3C, as the registry
package `musicxml` ships it)."""

from __future__ import annotations

import pytest
from lxml import etree

from sectionprep.musicxml.note_order import NOTE_ORDER, put_in_order, stands_after, stands_before

#: one of each child, as small as the schema lets it be
CHILDREN = {
    "chord": "<chord/>",
    "pitch": "<pitch><step>C</step><octave>4</octave></pitch>",
    "duration": "<duration>1</duration>",
    "tie": '<tie type="start"/>',
    "instrument": '<instrument id="I1"/>',
    "footnote": "<footnote>a</footnote>",
    "level": "<level>1</level>",
    "voice": "<voice>1</voice>",
    "type": "<type>quarter</type>",
    "dot": "<dot/>",
    "accidental": "<accidental>sharp</accidental>",
    "time-modification": "<time-modification><actual-notes>3</actual-notes>"
    "<normal-notes>2</normal-notes></time-modification>",
    "stem": "<stem>up</stem>",
    "notehead": "<notehead>normal</notehead>",
    "notehead-text": "<notehead-text><display-text>a</display-text></notehead-text>",
    "staff": "<staff>1</staff>",
    "beam": '<beam number="1">begin</beam>',
    "notations": "<notations/>",
    "lyric": "<lyric><text>doo</text></lyric>",
    "play": "<play/>",
    "listen": '<listen><wait player="P1X"/></listen>',
}


def _valid(schema: etree.XMLSchema, names: list[str]) -> bool:
    note = "".join(CHILDREN[name] for name in names)
    xml = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>A</part-name>'
        '<score-instrument id="I1"><instrument-name>A</instrument-name></score-instrument>'
        '<player id="P1X"><player-name>A</player-name></player>'
        '</score-part></part-list><part id="P1"><measure number="1">'
        f"<note>{note}</note></measure></part></score-partwise>"
    )
    return bool(schema.validate(etree.fromstring(xml)))


def test_all_children_in_our_order_are_valid(schema: etree.XMLSchema) -> None:
    assert _valid(schema, [name for name in NOTE_ORDER if name in CHILDREN])


@pytest.mark.parametrize("name", [n for n in CHILDREN if n not in ("chord", "pitch", "duration")])
def test_a_child_out_of_its_place_is_not(schema: etree.XMLSchema, name: str) -> None:
    """First of all, where the schema wants a pitch or a chord."""
    others = [n for n in NOTE_ORDER if n in CHILDREN and n != name]
    assert not _valid(schema, [name, *others])


def test_what_stands_before_and_after_is_all_else() -> None:
    for name in NOTE_ORDER:
        assert stands_before(name) | {name} | stands_after(name) == {*NOTE_ORDER}
        assert not stands_before(name) & stands_after(name)


@pytest.mark.parametrize("name", NOTE_ORDER)
def test_a_child_is_put_where_it_belongs_and_behind_its_like(name: str) -> None:
    note = etree.Element("note")
    for other in NOTE_ORDER:
        etree.SubElement(note, other)
    put_in_order(note, etree.Element(name, mine="yes"))
    assert [child.tag for child in note if child.get("mine") is None] == [*NOTE_ORDER]
    at = NOTE_ORDER.index(name) + 1
    assert (note[at].tag, note[at].get("mine")) == (name, "yes")


def test_a_child_goes_into_a_note_that_lacks_its_neighbours() -> None:
    note = etree.fromstring("<note><rest/><duration>1</duration><staff>1</staff></note>")
    for name in ("dot", "type", "voice", "listen"):
        put_in_order(note, etree.Element(name))
    assert [c.tag for c in note] == ["rest", "duration", "voice", "type", "dot", "staff", "listen"]
