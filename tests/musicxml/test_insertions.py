"""Splices: only what we say is added, and taking it out gives the bytes back."""

from pathlib import Path

import pytest
from build import part_xml, score_xml
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from sectionprep.music.marks import BY_NAME, SLURS
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.editing.note_text import NoteEdit
from sectionprep.musicxml.editing.splices import (
    apply_splices,
    record,
    splices_for,
    splices_of,
    undo_splices,
)
from sectionprep.musicxml.reading.reader import read_chart

MARKS = sorted(set(BY_NAME) - SLURS)
_NOTE = """<note default-x="10">
    <pitch><step>C</step><octave>5</octave></pitch>
    <duration>24</duration><voice>1</voice><type>quarter</type>{extra}
   </note>"""


def _score(extra: str, encoding: str = "utf-8") -> bytes:
    note = _NOTE.format(extra=extra)
    return (
        '<?xml version="1.0"?>\n<!-- kept -->\n<score-partwise '
        'version="4.0"><part-list><score-part id="P1"><part-name>\u00c4</part-name>'
        f'</score-part></part-list>\n<part id="P1"><measure '
        f'number="1"><attributes><divisions>24</divisions></attributes>\n   {note}\n'
        f"   {note}<?keep me?></measure></part></score-partwise>"
    ).encode(encoding)


@pytest.mark.parametrize(
    "extra",
    [
        "",
        '<stem>up</stem><notehead>x</notehead><beam number="1">begin</beam>',
        "<lyric><text>la</text></lyric>",
        "<notations/><lyric><text>la</text></lyric>",
        "<notations><articulations/></notations>",
        "<notations>\n      <articulations>\n        <staccato/>\n      </articulations>\n   "
        " </notations>",
        "<notations><!-- > tricky </notations> --><slur type='start' number='3'/></notations>",
        '<notehead parentheses="no">normal</notehead><play><ipa>a</ipa></play>',
    ],
)
@given(
    add=st.sets(st.sampled_from(MARKS), min_size=1, max_size=4),
    encoding=st.sampled_from(["utf-8", "utf-16"]),
)
@settings(max_examples=25, deadline=None)
def test_added_marks_are_there_in_legal_order_and_come_out_again(
    extra: str, add: set[str], encoding: str
) -> None:
    data = _score(extra, encoding)
    document = parse_document(Path("x"), data)
    before = read_chart(document).parts[0].notes[1].marks
    splices = splices_for(
        document, {1: NoteEdit(add=add - before, slur_stop=2, before=["<direction/>"])}
    )
    marked = apply_splices(data, splices)
    again = read_chart(parse_document(Path("x"), marked)).parts[0].notes
    expected = before | add
    if {"tenuto", "staccato"} <= expected:
        expected = expected - {"tenuto", "staccato"} | {"detached-legato"}
    assert again[1].marks == expected
    assert again[0].marks == before
    assert 2 in again[1].slur_stops
    order = [
        e.tag for e in list(etree.fromstring(marked).iter("note"))[1] if isinstance(e.tag, str)
    ]
    ranks = [
        "pitch",
        "duration",
        "voice",
        "type",
        "stem",
        "notehead",
        "beam",
        "notations",
        "lyric",
        "play",
    ]
    assert [ranks.index(tag) for tag in order] == sorted(ranks.index(tag) for tag in order)
    assert undo_splices(marked, splices) == data
    assert splices_of(record(data, marked, splices)) == splices


@given(
    remove=st.sampled_from(["staccato", "accent", "ghost"]),
    add=st.sampled_from(["tenuto", "accent", "strong-accent"]),
)
@settings(max_examples=20, deadline=None)
def test_replacing_a_mark(remove: str, add: str) -> None:
    extra = {"ghost": '<notehead parentheses="yes">normal</notehead>'}.get(
        remove,
        f"<notations><tied type='start'/><articulations><{remove}/></articulations></notations>",
    )
    data = _score(extra)
    document = parse_document(Path("x"), data)
    if add == remove:
        return
    splices = splices_for(document, {0: NoteEdit(add={add}, remove={remove})})
    marked = apply_splices(data, splices)
    assert read_chart(parse_document(Path("x"), marked)).parts[0].notes[0].marks == {add}
    assert undo_splices(marked, splices) == data


def test_prefixed_elements_get_prefixed_marks() -> None:
    import re

    data = re.sub(rb"<(/?)(?=[a-z])", rb"<\1m:", score_xml({"A": part_xml("C5/1")})).replace(
        b"<m:score-partwise", b'<m:score-partwise xmlns:m="urn:x"'
    )
    document = parse_document(Path("x"), data)
    marked = apply_splices(data, splices_for(document, {0: NoteEdit(add={"accent"})}))
    assert b"<m:accent" in marked
    assert read_chart(parse_document(Path("x"), marked)).parts[0].notes[0].marks == {"accent"}


def test_single_line_documents_stay_single_line() -> None:
    data = score_xml({"A": part_xml("C5/2 D5/2")})
    document = parse_document(Path("x"), data)
    marked = apply_splices(
        data, splices_for(document, {0: NoteEdit(add={"accent"}, before=["<direction/>"])})
    )
    assert marked.count(b"\n") == data.count(b"\n")


def test_windows_line_ends_stay() -> None:
    data = _score("").replace(b"\n", b"\r\n")
    document = parse_document(Path("x"), data)
    marked = apply_splices(data, splices_for(document, {0: NoteEdit(add={"accent"})}))
    assert marked.count(b"\n") == marked.count(b"\r\n") == data.count(b"\n") + 1


def test_taking_one_mark_out_leaves_everything_beside_it() -> None:
    """One of two or three marks goes; the others, the fermata and the tuplet sign beside them
    stay."""
    from build import part_xml, score_xml

    note = (
        "<note><pitch><step>C</step><octave>5</octave></pitch><duration>96</duration>"
        "<notations><fermata/>"
        "<articulations><accent/><tenuto/><scoop/></articulations></notations></note>"
    )
    body = (
        part_xml("C5/1").replace("</measure>", "", 1).rsplit("<note>", 1)[0] + note + "</measure>"
    )
    document = parse_document(Path("x"), score_xml({"Alto": body}))
    for gone, left in (
        ({"accent"}, {"tenuto", "scoop"}),
        ({"accent", "scoop"}, {"tenuto"}),
        ({"accent", "tenuto", "scoop"}, set()),
    ):
        splices = splices_for(document, {0: NoteEdit(remove=frozenset(gone))}, set())
        text = apply_splices(document.data, splices).decode()
        assert "<fermata/>" in text
        assert {name for name in ("accent", "tenuto", "scoop") if f"<{name}/>" in text} == left
