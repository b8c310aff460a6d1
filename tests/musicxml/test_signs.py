"""Signs between the notes stand where the file says, and tempos are what they say. Breaks when an
offset or a dot is ignored.

Offsets in divisions, and a dotted unit as half as long again: MusicXML 4.0, offset and
beat-unit-dot. music21 reads the same.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from build import DIV, part_xml, score_xml

from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart


def _data(signs: dict[int, str], line: str = "C5/4 D5/4 E5/4 F5/4 G5/1") -> bytes:
    return score_xml({"Alto Sax 1": part_xml(line, signs=signs)})


def _chart(signs: dict[int, str]) -> Chart:
    return read_chart(parse_document(Path("x.musicxml"), _data(signs)))


def _direction(content: str, offset: str = "") -> str:
    return f"<direction><direction-type>{content}</direction-type>{offset}</direction>"


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        ("<dynamics><f/></dynamics>", "dynamic"),
        ("<words>off 3</words>", "words"),
        ('<wedge type="stop"/>', "wedge"),
        ("<segno/>", "segno"),
    ],
)
@pytest.mark.parametrize(
    ("offset", "beat"),
    [("", 2), (str(DIV), 3), (str(DIV // 2), 2.5), (f"-{DIV}", 1), (str(3 * DIV), 5)],
)
def test_a_sign_stands_where_its_offset_puts_it(
    content: str, kind: str, offset: str, beat: float
) -> None:
    """It is written before the second quarter."""
    chart = _chart({1: _direction(content, f"<offset>{offset}</offset>" if offset else "")})
    assert [sign.onset / chart.resolution + 1 for sign in chart.signs(0, kind)] == [beat]


def test_an_offset_is_in_the_divisions_that_hold_there() -> None:
    finer = f"<attributes><divisions>{2 * DIV}</divisions></attributes>"
    late = _direction("<dynamics><f/></dynamics>", f"<offset>{2 * DIV}</offset>")
    xml = part_xml("C5/4 D5/4 E5/4 F5/4 G5/1", signs={4: finer + late}).replace(
        "<duration>96</duration><voice>1</voice><type>whole",
        "<duration>192</duration><voice>1</voice><type>whole",
    )
    chart = read_chart(parse_document(Path("x.musicxml"), score_xml({"Alto Sax 1": xml})))
    (sign,) = chart.signs(0, "dynamic")
    assert str(chart.place(sign.onset)) == "bar 2 beat 2"


def test_a_chord_symbol_stands_where_its_offset_puts_it() -> None:
    symbol = (
        f"<harmony><root><root-step>G</root-step></root><kind>dominant</kind>"
        f"<offset>{2 * DIV}</offset></harmony>"
    )
    chart = _chart({0: symbol})
    assert [(s.value, str(chart.place(s.onset))) for s in chart.signs(0, "chord")] == [
        ("G7", "bar 1 beat 3")
    ]


def test_another_reader_puts_them_at_the_same_places() -> None:
    """music21, on the same bytes."""
    import music21

    data = _data(
        {
            1: _direction("<dynamics><f/></dynamics>", f"<offset>{DIV}</offset>"),
            3: _direction("<dynamics><p/></dynamics>", f"<offset>-{DIV // 2}</offset>"),
        }
    )
    theirs = (
        music21.converter.parseData(data, format="musicxml").flatten().getElementsByClass("Dynamic")
    )
    chart = read_chart(parse_document(Path("x.musicxml"), data))
    assert [(s.value, s.onset / chart.resolution) for s in chart.signs(0, "dynamic")] == [
        (d.value, d.offset) for d in theirs
    ]


@pytest.mark.parametrize(
    ("unit", "dots", "minute", "tempo"),
    [
        ("quarter", 0, "120", 120),
        ("quarter", 1, "80", 120),
        ("half", 0, "60", 120),
        ("half", 1, "60", 180),
        ("eighth", 0, "200", 100),
        ("eighth", 1, "120", 90),
    ],
)
def test_a_tempo_counts_its_unit_with_its_dot(
    unit: str, dots: int, minute: str, tempo: float
) -> None:
    import music21

    sign = (
        f"<metronome>"
        f"<beat-unit>{unit}</beat-unit>{'<beat-unit-dot/>' * dots}"
        f"<per-minute>{minute}</per-minute></metronome>"
    )
    chart = _chart({0: _direction(sign)})
    assert chart.tempo == tempo
    theirs = music21.converter.parseData(_data({0: _direction(sign)}), format="musicxml").flatten()
    assert [mark.getQuarterBPM() for mark in theirs.getElementsByClass("MetronomeMark")] == [tempo]


def test_a_dynamic_knows_whether_anything_stands_with_it() -> None:
    """Only what stands alone may be replaced."""
    loud = "<direction-type><dynamics><f/></dynamics></direction-type>"
    beside = {
        "": True,
        "<direction-type><words>solo</words></direction-type>": False,
        '<sound dynamics="98"/>': False,
        "<staff>1</staff>": True,
        "<offset>2</offset>": True,
    }
    for more, alone in beside.items():
        (sign,) = _chart({0: f"<direction>{loud}{more}</direction>"}).signs(0, "dynamic")
        assert sign.alone is alone, more
