"""Signs that a file has twice at one place lie over each other on paper; they are drawn once."""

from __future__ import annotations

from lxml import etree

from sectionprep.drawing.engraver.twice import said_once

_MEI = 'xmlns="http://www.music-encoding.org/ns/mei"'


def _measure(inner: str, attributes: str = "") -> etree._Element:
    return etree.fromstring(f"<measure {_MEI} {attributes}>{inner}</measure>")


def _left(measure: etree._Element) -> list[str]:
    said_once(measure)
    return [etree.QName(child).localname for child in measure]


def test_a_chord_symbol_and_a_dynamic_are_drawn_once() -> None:
    measure = _measure(
        '<harm staff="1" tstamp="3">D</harm><harm staff="1" tstamp="3">D</harm>'
        '<dynam staff="1" tstamp="1" place="below">p</dynam>'
        '<dynam staff="1" tstamp="1" place="below">p</dynam>'
    )
    assert _left(measure) == ["harm", "dynam"]


def test_what_differs_in_place_beat_staff_or_word_stays() -> None:
    measure = _measure(
        '<harm staff="1" tstamp="3">D</harm><harm staff="1" tstamp="3">E</harm>'
        '<harm staff="1" tstamp="4">D</harm><harm staff="2" tstamp="3">D</harm>'
        '<dynam staff="1" tstamp="1" place="above">p</dynam>'
        '<dynam staff="1" tstamp="1" place="below">p</dynam>'
    )
    assert len(_left(measure)) == 6


def test_of_two_hairpins_that_begin_as_one_the_longer_is_drawn() -> None:
    measure = _measure(
        '<hairpin staff="1" form="cres" tstamp="3.8155" tstamp2="0m+6" place="below"/>'
        '<hairpin staff="1" form="cres" tstamp="3.8452" tstamp2="1m+2" place="below"/>'
        '<hairpin staff="1" form="dim" tstamp="3.8155" tstamp2="0m+6" place="below"/>'
    )
    assert _left(measure) == ["hairpin", "hairpin"]
    assert measure[0].get("tstamp2") == "1m+2"
    assert measure[1].get("form") == "dim"


def test_two_rests_of_the_bar_are_one_and_the_bar_is_full() -> None:
    measure = _measure("<staff><layer><mRest/><mRest/></layer></staff>", 'metcon="false"')
    assert _left(measure) == ["staff"]
    assert len(measure[0][0]) == 1
    assert measure.get("metcon") is None


def test_a_rest_of_each_of_two_players_stays() -> None:
    measure = _measure(
        "<staff><layer><mRest/></layer><layer><mRest/></layer></staff>", 'metcon="false"'
    )
    said_once(measure)
    assert len(measure[0]) == 2
    assert measure.get("metcon") == "false"
