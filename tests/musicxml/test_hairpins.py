"""Hairpins in the copies for the engraver."""

from __future__ import annotations

from lxml import etree

from sectionprep.musicxml.copies.hairpins import end_at_bar_line

STOP = '<direction><direction-type><wedge type="stop"/></direction-type></direction>'
NOTE = "<note><pitch/><duration>4</duration></note>"
REST = "<note><rest/><duration>4</duration></note>"
BACK = "<backup><duration>8</duration></backup>"


def _tags(first: str, second: str) -> tuple[list[str], list[str]]:
    one, two = (etree.fromstring(f"<measure>{inside}</measure>") for inside in (first, second))
    end_at_bar_line(one, two)
    return [str(e.tag) for e in one], [str(e.tag) for e in two]


def test_an_end_on_the_first_beat_goes_before_the_bar_line() -> None:
    assert _tags(NOTE, STOP + NOTE) == (["note", "direction"], ["note"])
    assert _tags(NOTE + "<barline/>", STOP + NOTE) == (["note", "direction", "barline"], ["note"])


def test_an_end_later_in_the_bar_or_with_something_else_stays() -> None:
    assert _tags(NOTE, NOTE + STOP) == (["note"], ["note", "direction"])
    loud = STOP.replace("<wedge", "<dynamics><f/></dynamics><wedge")
    assert _tags(NOTE, loud + NOTE) == (["note"], ["direction", "note"])
    later = STOP.replace("</direction>", "<offset>2</offset></direction>")
    assert _tags(NOTE, later + NOTE) == (["note"], ["direction", "note"])


def test_an_end_under_a_rest_at_the_head_of_a_bar_goes_before_the_bar_line() -> None:
    """The note that grows or dies away has ended there: a line that began with this bar had a stub
    before its first note."""
    assert _tags(NOTE, REST + STOP + NOTE) == (["note", "direction"], ["note", "note"])
    start = STOP.replace("stop", "crescendo")
    own = start + REST + STOP + NOTE
    assert _tags(NOTE, own) == (["note"], ["direction", "note", "direction", "note"])
    voices = REST + STOP + NOTE + BACK + NOTE
    assert _tags(NOTE, voices)[0] == ["note"]  # another voice may sound at the rest
    assert _tags(NOTE, REST + STOP)[0] == ["note"]  # a bar of rest is crossed as it is written


def test_an_end_behind_the_beginning_of_another_goes_before_the_bar_line() -> None:
    """Found in a quartet: the first hairpin, numbered 2, ends where the next one, numbered 1,
    begins."""
    start = STOP.replace("stop", "crescendo")
    second = STOP.replace("/>", ' number="2"/>', 1)
    assert _tags(NOTE, start + second + NOTE) == (["note", "direction"], ["direction", "note"])
    assert _tags(NOTE, start + STOP + NOTE)[0] == ["note"]


def test_an_end_written_behind_a_note_and_moved_to_its_beginning_goes_before_the_bar_line() -> None:
    """Found in a quartet: an offset back to a trifle after the bar line. One back to the middle of
    the note stays where it is."""
    note = NOTE.replace("4", "64")
    for offset, moved in ((-64, True), (-61, True), (-32, False)):
        end = STOP.replace("</direction>", f"<offset>{offset}</offset></direction>")
        assert (_tags(NOTE, note + end)[0] == ["note", "direction"]) is moved


def test_an_end_at_the_head_of_the_second_voice_goes_before_the_bar_line() -> None:
    back = BACK.replace("8", "4")
    assert _tags(NOTE, NOTE + back + STOP + NOTE)[0] == ["note", "direction"]
