"""Which note of a staff is the line. Breaks when a second voice, a chord's lower note or a tie is
taken for the tune.

The first voice is written stems up and is the upper player's: common practice, no source.
"""

from __future__ import annotations

from itertools import permutations
from pathlib import Path

import pytest
from build import chart, part_xml, score_xml

from sectionprep.music.chart import Chart
from sectionprep.music.lines import slur_ends
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart

QUARTER = 24


def _note(
    pitch: str,
    quarters: float,
    voice: str,
    *,
    staff: int = 1,
    chord: bool = False,
    tie: str = "",
    more: str = "",
) -> str:
    sound = (
        "<rest/>"
        if pitch == "r"
        else f"<pitch><step>{pitch[0]}</step><octave>{pitch[1]}</octave></pitch>"
    )
    return (
        f"<note>{'<chord/>' if chord else ''}{sound}"
        f"<duration>{int(quarters * QUARTER)}</duration>{tie}<voice>{voice}</voice>"
        f"<staff>{staff}</staff>{more}</note>"
    )


BACK = f"<backup><duration>{4 * QUARTER}</duration></backup>"


def _bars(*bars: str) -> Chart:
    """A part of these bars of four quarters."""
    head = part_xml("r/1").split("</attributes>")[0] + "</attributes>"
    xml = "".join(
        f"{head if n == 1 else f'<measure number=%s{n}%s>' % (chr(34), chr(34))}{bar}</measure>"
        for n, bar in enumerate(bars, 1)
    )
    return read_chart(parse_document(Path("x.musicxml"), score_xml({"Alto Sax 1": xml})))


def _line(c: Chart) -> list[tuple[int, float]]:
    return [(t.pitch, float(c.quarters(t.duration))) for t in c.lines[0]]


UPPER = "".join(_note(p, 1, "1") for p in ("C5", "D5", "E5", "F5"))
LOWER = "".join(_note(p, 2, "2") for p in ("A4", "G4"))


@pytest.mark.parametrize("bar", [UPPER + BACK + LOWER, LOWER + BACK + UPPER])
def test_the_first_voice_is_the_line_wherever_it_stands_in_the_file(bar: str) -> None:
    assert _line(_bars(bar)) == [(72, 1), (74, 1), (76, 1), (77, 1)]


def test_it_is_the_line_also_where_the_second_is_higher() -> None:
    crossing = "".join(_note(p, 2, "2") for p in ("A5", "G5"))
    assert _line(_bars(UPPER + BACK + crossing)) == [(72, 1), (74, 1), (76, 1), (77, 1)]


def test_numbers_of_voices_are_numbers() -> None:
    """Voice 10 is after voice 9, not before it."""
    nine, ten = UPPER.replace("<voice>1<", "<voice>9<"), LOWER.replace("<voice>2<", "<voice>10<")
    assert _line(_bars(ten + BACK + nine)) == [(72, 1), (74, 1), (76, 1), (77, 1)]


def test_the_upper_staff_is_the_line() -> None:
    low = "".join(_note(p, 2, "1", staff=2) for p in ("A3", "G3"))
    assert _line(_bars(UPPER.replace("<voice>1<", "<voice>5<") + BACK + low)) == [
        (72, 1),
        (74, 1),
        (76, 1),
        (77, 1),
    ]


def test_where_the_first_voice_rests_all_bar_the_second_is_the_line() -> None:
    c = _bars(UPPER + BACK + LOWER, _note("r", 4, "1") + BACK + LOWER)
    assert _line(c)[4:] == [(69, 2), (67, 2)]


def test_of_a_chord_the_highest_is_the_line_in_any_order() -> None:
    for order in permutations(("C5", "E5", "G5")):
        bar = "".join(_note(p, 4, "1", chord=n > 0) for n, p in enumerate(order))
        (tone,) = _bars(bar).lines[0]
        assert (tone.pitch, tone.pitches) == (79, (79, 76, 72))


def test_a_tie_goes_on_only_with_its_own_pitch() -> None:
    start, stop = '<tie type="start"/>', '<tie type="stop"/>'
    assert _line(_bars(_note("C5", 4, "1", tie=start), _note("C5", 4, "1", tie=stop))) == [(72, 8)]
    assert _line(_bars(_note("C5", 4, "1", tie=start), _note("D5", 4, "1", tie=stop))) == [
        (72, 4),
        (74, 4),
    ]
    # 48 of 796 scores that come with music21 leave ends of ties out
    assert _line(_bars(_note("C5", 4, "1", tie=start), _note("C5", 4, "1"))) == [(72, 8)]
    assert _line(_bars(_note("C5", 4, "1"), _note("C5", 4, "1", tie=stop))) == [(72, 4), (72, 4)]


def test_marks_of_every_tied_note_are_the_tones() -> None:
    fall = "<notations><articulations><falloff/></articulations></notations>"
    accent = "<notations><articulations><accent/></articulations></notations>"
    first = _note("C5", 4, "1", tie='<tie type="start"/>', more=accent)
    c = _bars(first, _note("C5", 2, "1", tie='<tie type="stop"/>', more=fall) + _note("r", 2, "1"))
    assert [t.marks for t in c.lines[0]] == [{"accent", "falloff"}]


def test_under_a_slur_a_repeated_note_is_tongued() -> None:
    """Common practice, no source. A rest ends a slur, and one note alone is under none."""
    c = chart({"Alto Sax 1": "C5/8 D5/8 D5/8 E5/8 F5/4 r/8 G5/8"})
    eighth = c.resolution // 2
    assert slur_ends(c.lines[0]) == [(0, eighth), (2 * eighth, 4 * eighth)]
