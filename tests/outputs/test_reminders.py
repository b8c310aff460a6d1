"""Dynamics said again in parentheses, on sheets only (common practice, no source)."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import chart, part_xml, score_xml
from lxml import etree

from sectionprep.music.chart import Chart
from sectionprep.musicxml.copies.part import extract_part
from sectionprep.musicxml.document import parse_document
from sectionprep.outputs.parts.reminders import reminders
from sectionprep.outputs.parts.turning import RoadTurns

_REST = "r/1 " * 8


def _sign(content: str, placement: str = "below") -> str:
    kind = f"<direction-type>{content}</direction-type>"
    return f'<direction placement="{placement}">{kind}</direction>'


def _dynamic(name: str) -> str:
    return _sign(f"<dynamics><{name}/></dynamics>")


def _said(c: Chart) -> list[tuple[str, str]]:
    part = c.parts[0]
    found = reminders(c, part, RoadTurns(c).of(part))
    places = {note.address: str(c.place(note.onset)) for note in part.notes}
    return [(places[address], value) for address, value in found.items()]


def test_after_a_long_rest_the_dynamic_is_said_again() -> None:
    c = chart({"Trumpet 1": f"C5/1 {_REST}D5/1"}, signs={0: _dynamic("mf")})
    assert _said(c) == [("bar 10 beat 1", "mf")]
    short = chart({"Trumpet 1": f"C5/1 {_REST[:-4]}D5/1"}, signs={0: _dynamic("mf")})
    assert _said(short) == []


@pytest.mark.parametrize(
    "signs",
    [
        {},
        {0: _dynamic("mf"), 9: _dynamic("p")},
        {0: _dynamic("mf"), 9: _sign('<wedge type="crescendo"/>')},
        {0: _dynamic("mf") + _sign('<wedge type="crescendo"/>'), 1: _sign('<wedge type="stop"/>')},
    ],
)
def test_nothing_is_said_where_it_is_known_or_unknowable(signs: dict[int, str]) -> None:
    """No dynamic yet, a new one, a hairpin from there, a hairpin since."""
    assert _said(chart({"Trumpet 1": f"C5/1 {_REST}D5/1"}, signs=signs)) == []


def test_an_accent_of_the_moment_is_no_dynamic_that_holds() -> None:
    signs = {0: _dynamic("mf"), 1: _dynamic("sfz")}
    assert _said(chart({"Trumpet 1": f"C5/2 D5/2 {_REST}D5/1"}, signs=signs)) == [
        ("bar 10 beat 1", "mf")
    ]


def test_after_a_jump_what_holds_there_is_said_again() -> None:
    """The segno is played as the first time, mf; the coda as the bar where one leaves, f."""
    signs = {
        0: _dynamic("mf"),
        1: _sign("<segno/>", "above"),
        2: _dynamic("f"),
        3: _sign("<words>To Coda</words>", "above") + _dynamic("f"),
        4: _dynamic("pp"),
        5: _sign("<words>D.S. al Coda</words>", "above"),
        6: _sign("<coda/>", "above"),
    }
    c = chart({"Trumpet 1": "C5/1 D5/1 E5/2 F5/2 G5/1 A5/1 B5/1"}, signs=signs)
    assert sorted(_said(c)) == [("bar 2 beat 1", "mf"), ("bar 6 beat 1", "f")]


def test_it_is_printed_in_parentheses() -> None:
    document = parse_document(Path("x.musicxml"), score_xml({"Trumpet 1": part_xml("C5/1 D5/1")}))
    part = etree.fromstring(extract_part(document, "P1", reminders={1: "sfz p"}))
    (direction,) = part.iter("direction")
    assert direction.getnext().get("id") == "n1"
    kinds = [kind[0] for kind in direction.iter("direction-type")]
    assert [kind.text for kind in kinds if kind.tag == "words"] == ["(", ")"]
    assert [e.tag for e in kinds[1]] == ["sfz", "p"]
