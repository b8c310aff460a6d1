"""The order in which the bars are played, when a repeat, an ending, a D.S., a D.C. or a Fine stands
in the way.

The charts of `MAPS` are also read by music21, whose own road map must agree with the order that
stands here. What a player does after a jump (no repeats, the last ending) is common practice, no
source.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml

from sectionprep.music.chart import Chart
from sectionprep.music.roadmap import playing_order, say_order
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart

OPEN = '<barline location="left"><repeat direction="forward"/></barline>'
CLOSE = '<barline location="right"><repeat direction="backward"/></barline>'
SEGNO = '<direction placement="above"><direction-type><segno/></direction-type></direction>'
CODA = '<direction placement="above"><direction-type><coda/></direction-type></direction>'


def _words(text: str) -> str:
    return (
        f"<direction "
        f'placement="above"><direction-type><words>{text}</words></direction-type></direction>'
    )


def _ending(number: str) -> str:
    return f'<barline location="left"><ending number="{number}" type="start"/></barline>'


def _ended(number: str, *, back: bool = False) -> str:
    again = '<repeat direction="backward"/>' if back else ""
    return f'<barline location="right"><ending number="{number}" type="stop"/>{again}</barline>'


def _score(bars: int, before: dict[int, str], after: dict[int, str]) -> bytes:
    """One whole note a bar; bars are counted from 1."""
    measures = part_xml("C5/1 " * bars, signs={bar - 1: xml for bar, xml in before.items()}).split(
        "</measure>"
    )
    for bar, xml in after.items():
        measures[bar - 1] += xml
    return score_xml({"Alto Sax 1": "</measure>".join(measures)})


def _chart(bars: int, before: dict[int, str], after: dict[int, str]) -> Chart:
    return read_chart(parse_document(Path("x.musicxml"), _score(bars, before, after)))


ENDINGS = ({2: OPEN, 3: _ending("1"), 4: _ending("2")}, {3: _ended("1", back=True), 4: _ended("2")})

MAPS: dict[str, tuple[int, dict[int, str], dict[int, str], str]] = {
    "a repeat": (4, {2: OPEN}, {3: CLOSE}, "1-3, 2-4"),
    "two endings": (6, *ENDINGS, "1-3, 2, 4-6"),
    "three endings": (
        6,
        {2: _ending("1"), 3: _ending("2"), 4: _ending("3")},
        {2: _ended("1", back=True), 3: _ended("2", back=True), 4: _ended("3")},
        "1-2, 1, 3, 1, 4-6",
    ),
    "one ending for two turns": (
        5,
        {2: _ending("1,2"), 3: _ending("3")},
        {2: _ended("1,2", back=True), 3: _ended("3")},
        "1-2, 1-2, 1, 3-5",
    ),
    "D.C. al Fine": (5, {}, {3: _words("Fine"), 5: _words("D.C. al Fine")}, "1-5, 1-3"),
    "D.S. al Fine": (5, {2: SEGNO}, {3: _words("Fine"), 5: _words("D.S. al Fine")}, "1-5, 2-3"),
    "D.S. al Coda": (
        6,
        {2: SEGNO, 6: CODA},
        {3: _words("To Coda"), 5: _words("D.S. al Coda")},
        "1-5, 2-3, 6",
    ),
    "D.C. al Fine past a segno": (
        6,
        {3: SEGNO},
        {4: _words("Fine"), 6: _words("D.C. al Fine")},
        "1-6, 1-4",
    ),
}

AFTER_A_JUMP: dict[str, tuple[int, dict[int, str], dict[int, str], str]] = {
    "repeats are not taken again": (
        6,
        {2: SEGNO + OPEN},
        {3: CLOSE, 4: _words("Fine"), 6: _words("D.S. al Fine")},
        "1-3, 2-6, 2-4",
    ),
    "nor after D.C.": (
        5,
        {2: OPEN},
        {3: CLOSE, 4: _words("Fine"), 5: _words("D.C. al Fine")},
        "1-3, 2-5, 1-4",
    ),
    "only the last ending": (
        7,
        {2: SEGNO + OPEN, 3: ENDINGS[0][3], 4: ENDINGS[0][4]},
        {**ENDINGS[1], 5: _words("Fine"), 7: _words("D.S. al Fine")},
        "1-3, 2, 4-7, 2, 4-5",
    ),
    "the last of three": (
        7,
        {1: SEGNO, 2: _ending("1"), 3: _ending("2"), 4: _ending("3")},
        {
            2: _ended("1", back=True),
            3: _ended("2", back=True),
            4: _ended("3"),
            5: _words("Fine"),
            7: _words("D.S. al Fine"),
        },
        "1-2, 1, 3, 1, 4-7, 1, 4-5",
    ),
    "the segno is for D.S. alone": (5, {3: SEGNO}, {5: _words("D.C.")}, "1-5, 1-5"),
    "Da Capo in words": (
        4,
        {2: SEGNO},
        {3: _words("Fine"), 4: _words("Da Capo al Fine")},
        "1-4, 1-3",
    ),
    "to coda only after the jump": (
        5,
        {5: CODA},
        {2: _words("To Coda"), 4: _words("D.C. al Coda")},
        "1-4, 1-2, 5",
    ),
    "repeats in the coda count": (
        6,
        {4: CODA + OPEN},
        {2: _words("To Coda"), 3: _words("D.C. al Coda"), 5: CLOSE},
        "1-3, 1-2, 4-5, 4-6",
    ),
}


@pytest.mark.parametrize("name", MAPS)
def test_the_order_is_that_of_another_reader(name: str) -> None:
    """music21's own expansion of the same file."""
    import music21

    bars, before, after, order = MAPS[name]
    score = music21.converter.parseData(_score(bars, before, after), format="musicxml")
    played = [
        int(m.measureNumber) for m in score.parts[0].expandRepeats().getElementsByClass("Measure")
    ]
    assert played == [index + 1 for index in playing_order(_chart(bars, before, after))]
    assert say_order(_chart(bars, before, after)) == order


@pytest.mark.parametrize("name", AFTER_A_JUMP)
def test_after_a_jump(name: str) -> None:
    bars, before, after, order = AFTER_A_JUMP[name]
    assert say_order(_chart(bars, before, after)) == order


def test_fine_is_passed_by_the_first_time_and_ends_the_piece_the_second() -> None:
    chart = _chart(5, {}, {2: _words("Fine"), 5: _words("D.C.")})
    assert playing_order(chart) == (0, 1, 2, 3, 4, 0, 1)


def test_a_repeat_is_taken_as_often_as_it_says() -> None:
    """MusicXML 4.0, repeat: `times` says how often the section is played in all."""
    three = CLOSE.replace("<repeat ", '<repeat times="3" ')
    assert say_order(_chart(4, {2: OPEN}, {3: three})) == "1-3, 2-3, 2-4"


def test_a_jump_without_its_target_goes_on() -> None:
    assert say_order(_chart(3, {}, {2: _words("D.S. al Coda")})) == "1-3"
