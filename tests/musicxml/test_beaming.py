"""Beams for files that have none. Common practice, no source: joined inside the beat, eighths alone
inside half a bar."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml
from lxml import etree

from sectionprep.musicxml.copies.part import extract_part
from sectionprep.musicxml.document import parse_document

_SIGN = {
    "begin": "(",
    "continue": "-",
    "end": ")",
    "forward hook": "/",
    "backward hook": "\\",
    None: ".",
}


def _drawn(part: str) -> etree._Element:
    """A part as the engraver gets it."""
    document = parse_document(Path("x"), score_xml({"Alto Sax 1": part}))
    return etree.fromstring(extract_part(document, "P1"))


def _beams(line: str, **meter: int) -> str:
    drawn = _drawn(part_xml(line, **meter))  # type: ignore[arg-type]
    found = []
    for note in drawn.iter("note"):
        levels = [
            _SIGN[beam.text]
            for beam in sorted(note.findall("beam"), key=lambda b: b.get("number") or "")
        ]
        found.append("".join(levels) or ".")
    return " ".join(found)


@pytest.mark.parametrize(
    ("line", "beams"),
    [
        (
            "C5/8 D5/8 E5/8 F5/8 G5/8 F5/8 E5/8 D5/8",
            "( - - ) ( - - )",
        ),  # halves of the bar, never across its middle
        ("C5/4 D5/8 E5/8 F5/8 G5/8 A5/4", ". ( ) ( ) ."),
        ("r/8 C5/8 D5/8 E5/8 F5/2", ". ( - ) ."),  # three of the four in a half bar
        ("C5/8 D5/8 E5/8 r/8 F5/2", "( - ) . ."),
        ("r/8 C5/8 D5/8 r/8 F5/2", ". . . . ."),  # two over the beat: flags
        ("C5/4 r/8 D5/8 E5/8 F5/8 G5/4", ". . . ( ) ."),  # not across the middle
        ("C5/8 D5/4 E5/8 F5/2", ". . . ."),  # over the beat: flags
        ("C5/16 D5/16 E5/8 F5/8 G5/16 A5/16 B5/2", "(( -) ) ( -( )) ."),
        ("C5/8. D5/16 E5/8 r/8 F5/2", "( )\\ . . ."),
        ("C5/8t D5/8t E5/8t F5/8 G5/8 A5/2", "( - ) ( ) ."),
    ],
)
def test_beams_in_common_time(line: str, beams: str) -> None:
    assert _beams(line) == beams


def test_beams_in_six_eight() -> None:
    assert _beams("C5/8 D5/8 E5/8 F5/8 G5/8 A5/8", beats=6, unit=8) == "( - ) ( - )"


@pytest.mark.parametrize(("beats", "beams"), [(5, "( ) ( - )"), (7, "( ) ( ) ( - )")])
def test_odd_bars_end_in_three(beats: int, beams: str) -> None:
    assert _beams(" ".join(["C5/8"] * beats), beats=beats, unit=8) == beams


def test_a_pick_up_is_beamed_as_the_end_of_its_bar() -> None:
    """Three beats before the first bar: 2and by itself, then the second half. Counted from the left
    it would be three and two."""
    assert _beams("r/8 C5/8 D5/8 E5/8 F5/8 G5/8 A5/1", pickup=3) == ". . ( - - ) ."


def test_beams_that_stand_in_the_file_are_left_alone() -> None:
    """Two and two, where we would have joined all four."""
    line = part_xml("C5/8 D5/8 E5/8 F5/8 F5/2")
    for kind in ("begin", "end", "begin", "end"):
        line = line.replace(
            "eighth</type></note>", f'eighth</type><beam number="1">{kind}</beam></note>', 1
        )
    drawn = _drawn(line)
    assert [beam.text for beam in drawn.iter("beam")] == ["begin", "end", "begin", "end"]


def test_notes_without_stems_get_no_beams() -> None:
    """The engraver drew stems of twenty kilometres from beams of a tablature that has none, and the
    part was not printed (71e of the suite of test scores that comes with music21)."""
    line = part_xml("C5/8 D5/8 E5/8 F5/8 F5/2").replace(
        "eighth</type>", "eighth</type><stem>none</stem>", 2
    )
    drawn = _drawn(line)
    assert [len(note.findall("beam")) for note in drawn.iter("note")] == [0, 0, 1, 1, 0]
