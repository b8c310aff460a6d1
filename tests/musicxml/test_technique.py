"""Mutes and doublings on a sheet: the words stand where the rest before the entry begins, and never
where somebody who jumps would miss them (common practice, no source)."""

from __future__ import annotations

import pytest
from lxml import etree

from sectionprep.musicxml.copies.technique import words_in_time

_REST = "<note><rest/><duration>4</duration></note>"
_NOTE = "<note><pitch/><duration>4</duration></note>"
_CUE = "<note><cue/><pitch/><duration>4</duration></note>"
_REPEAT = '<barline location="left"><repeat direction="forward"/></barline>'
_ENDS = '<barline location="right"><repeat direction="backward"/></barline>'


def _words(said: str) -> str:
    return f"<direction><direction-type><words>{said}</words></direction-type></direction>"


def _moved(*bars: str) -> list[list[str]]:
    """Tags of every bar after the words were moved; words as they stand."""
    measures = [etree.fromstring(f"<measure>{bar}</measure>") for bar in bars]
    words_in_time(measures)
    return [
        [e.findtext("direction-type/words") or "" if e.tag == "direction" else e.tag for e in bar]
        for bar in measures
    ]


@pytest.mark.parametrize(
    "said", ["cup mute", "To Cup Mute", "open", "con sord.", "to Flute", "take bass clarinet"]
)
def test_words_go_to_where_the_rest_begins(said: str) -> None:
    moved = _moved(_NOTE + _REST, _REST, _REST + _words(said) + _NOTE)
    assert moved == [["note", said, "note"], ["note"], ["note", "note"]]


@pytest.mark.parametrize("said", ["to Coda", "Solo - open", "mute the TV", "soli", "to letter B"])
def test_other_words_stay(said: str) -> None:
    assert _moved(_REST, _words(said) + _NOTE) == [["note"], [said, "note"]]


def test_without_a_rest_before_it_stays() -> None:
    assert _moved(_NOTE, _words("open") + _NOTE) == [["note"], ["open", "note"]]


def test_a_cue_is_a_rest() -> None:
    assert _moved(_NOTE, _CUE, _words("open") + _NOTE) == [["note"], ["open", "note"], ["note"]]


@pytest.mark.parametrize(
    "bars",
    [
        (_REST, _REPEAT + _REST),
        (_REST + _ENDS, _REST),
        (_REST, "<direction><direction-type><segno/></direction-type></direction>" + _REST),
        (_REST + _words("D.S. al Coda"), _REST),
    ],
)
def test_words_stay_behind_a_place_that_is_reached_from_elsewhere(bars: tuple[str, str]) -> None:
    moved = _moved(*bars, _words("cup mute") + _NOTE)
    assert ["cup mute" in bar for bar in moved] == [False, True, False]
