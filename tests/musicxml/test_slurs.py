"""Slurs whose ends do not fit, as files have them (music21 corpus: L. van Beethoven, op. 18 no. 3,
first violin, bar 168 ends slur 2 twice, and slur 1 ran on over a hundred lines)."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml
from lxml import etree

from sectionprep.musicxml.copies.part import extract_part
from sectionprep.musicxml.copies.undrawn import OPEN_SLURS, Undrawn
from sectionprep.musicxml.document import parse_document

_TUNE = "C5/4 D5/4 E5/4 F5/4 " * 3


def _slurs(said: dict[int, str], voices: str = "") -> tuple[list[str], Undrawn]:
    """The slurs of a copied part, "note type number", and what is not drawn. said: of each note,
    such as "start 1"."""
    notes = part_xml(_TUNE).split("</note>")
    for n, words in said.items():
        marks = "".join(
            f'<slur type="{kind}" number="{number}"/>'
            for kind, number in (one.split() for one in words.split(", "))
        )
        notes[n] += f"<notations>{marks}</notations>"
    xml = "</note>".join(notes).replace("</measure>", f"{voices}</measure>", 1)
    undrawn = Undrawn()
    document = parse_document(Path("x.musicxml"), score_xml({"Violin": xml}))
    root = etree.fromstring(extract_part(document, "P1", undrawn=undrawn))
    found = [
        f"{n} {slur.get('type')} {slur.get('number')}"
        for n, note in enumerate(root.iter("note"))
        for slur in note.iter("slur")
    ]
    return found, undrawn


def test_slurs_that_fit_stay_as_they_are() -> None:
    said = {0: "start 1", 1: "start 2", 2: "stop 2", 3: "stop 1, start 1", 9: "stop 1"}
    found, undrawn = _slurs(said)
    assert found == ["0 start 1", "1 start 2", "2 stop 2", "3 stop 1", "3 start 1", "9 stop 1"]
    assert not undrawn.found


def test_an_end_without_a_beginning_ends_the_one_slur_that_is_open() -> None:
    found, undrawn = _slurs({0: "start 1", 1: "start 2", 2: "stop 2", 3: "stop 2"})
    assert found == ["0 start 1", "1 start 2", "2 stop 2", "3 stop 1"]
    assert not undrawn.found


@pytest.mark.parametrize("after", [{8: "start 1", 9: "stop 1"}, {}])
def test_a_slur_that_never_ends_is_not_drawn_and_said(after: dict[int, str]) -> None:
    found, undrawn = _slurs({4: "start 1"} | after)
    assert found == [f"{n} {words}" for n, words in after.items()]
    assert undrawn.found == {OPEN_SLURS: (1, 1)}


def test_voices_have_slurs_of_their_own() -> None:
    """Two slurs of one number may be open at once, one in each voice; one may go to the other."""
    note = (
        "<note><pitch><step>C</step><octave>4</octave></pitch><duration>{}</duration>"
        '<voice>2</voice><notations><slur type="{}" number="1"/></notations></note>'
    )
    second = "<backup><duration>1</duration></backup>" + note.format(1, "start")
    found, undrawn = _slurs({0: "start 1", 6: "stop 1", 8: "stop 1"}, second)
    assert found == ["0 start 1", "4 start 1", "7 stop 1", "9 stop 1"]
    assert not undrawn.found
