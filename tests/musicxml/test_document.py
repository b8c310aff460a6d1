"""Where each note stands in the bytes, whatever stands around it."""

from __future__ import annotations

from pathlib import Path

import pytest

from sectionprep.errors import OverLimit, UnreadableFile
from sectionprep.musicxml.document import parse_document
from sectionprep.settings import Limits

_NOTE = "<note><rest/><duration>1</duration></note>"


def _score(
    inside: str, *, before: str = "", head: str = '<?xml version="1.0" encoding="UTF-8"?>'
) -> bytes:
    return (
        f"{head}{before}<score-partwise><part-list><score-part "
        f"id='P1'><part-name>x</part-name></score-part></part-list>"
        f"<part id='P1'><measure "
        f"number='1'><attributes><divisions>1</divisions></attributes>{inside}</measure>"
        f"</part></score-partwise>"
    ).encode()


def _holds(data: bytes) -> None:
    """Every note of the tree has its own bytes, and they begin and end as a note does."""
    document = parse_document(Path("x"), data)
    assert len(document.notes) == len(document.tree_notes) > 0
    for span in document.notes:
        text = document.data[span.start : span.end]
        assert text.startswith(b"<note")
        assert text.endswith(b">")
        assert text.count(b"</note") == (
            0 if text.endswith(b"/>") else 1 + text.count(b"<note>", 1)
        )


@pytest.mark.parametrize(
    "inside",
    [
        _NOTE * 3,
        "<note ><rest/></note >\n<note\tid='a'><rest/></note>",
        "<note/><direction/>" + _NOTE,
        "<note id='a>b'><rest/></note>",
        "<direction><direction-type><words>a note &lt;note></words></direction-type></direction>"
        + _NOTE,
        "<notehead/><notes/>" + _NOTE,
    ],
)
def test_every_note_is_found_in_the_bytes(inside: str) -> None:
    _holds(_score(inside))


@pytest.mark.parametrize(
    "inside",
    [
        f"<!-- {_NOTE} -->" + _NOTE,
        f"<lyric><text><![CDATA[{_NOTE}]]></text></lyric>" + _NOTE,
        f"<?app {_NOTE} ?>" + _NOTE,
        "<note><note/></note>",
        "<note id='/>'><rest/></note><note id='x/>y'><rest/></note>",
    ],
)
def test_what_looks_like_a_tag_is_none(inside: str) -> None:
    _holds(_score(inside))


def test_names_with_a_prefix_are_found_all_the_same() -> None:
    data = (
        _score(_NOTE)
        .replace(b"<", b"<m:")
        .replace(b"<m:/", b"</m:")
        .replace(b"<m:?", b"<?")
        .replace(b"<m:score-partwise>", b"<m:score-partwise xmlns:m='urn:m'>")
    )
    document = parse_document(Path("x"), data)
    assert [document.text(span) for span in document.notes] == [
        _NOTE.replace("<", "<m:").replace("<m:/", "</m:")
    ]


def test_entities_depth_numbers_and_breaks_are_still_refused() -> None:
    with pytest.raises(Exception, match="entity"):
        parse_document(Path("x"), _score(_NOTE, before="<!DOCTYPE x [<!ENTITY a 'b'>]>"))
    with pytest.raises(OverLimit, match="200 deep"):
        parse_document(Path("x"), _score("<a>" * 300 + _NOTE + "</a>" * 300))
    with pytest.raises(OverLimit, match="notes"):
        parse_document(Path("x"), _score(_NOTE * 5), Limits(notes=4))
    with pytest.raises(UnreadableFile, match="breaks off or is damaged at line 1"):
        parse_document(Path("x"), _score(_NOTE)[:-20])


def test_other_encodings() -> None:
    data = _score(_NOTE, head='<?xml version="1.0" encoding="UTF-16"?>').decode().encode("utf-16")
    assert len(parse_document(Path("x"), data).notes) == 1
