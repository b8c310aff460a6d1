"""What a section says agrees with the marks, with the tonguing and with the road map."""

from __future__ import annotations

from build import chart, part_xml, score_xml
from hypothesis import given, settings
from hypothesis import strategies as st

from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.phrasing import plan_line
from sectionprep.phrasing.syllables import lead_syllables

JUMP = (
    "<direction><direction-type><words>D.S. al "
    'Fine</words></direction-type><sound dalsegno="segno"/></direction>'
)
SEGNO = "<direction><direction-type><segno/></direction-type></direction>"
pitches = st.sampled_from(["C5/8", "D5/8", "E5/8", "G5/8", "B5/8", "C6/8", "F5/8"])


def _said(c: Chart, style: str = "medium-swing") -> list[str]:
    plan = plan_line(c, 0, style=style).passages[0]
    said = lead_syllables(c, plan, style)
    return [said[note.tone.head.address] for note in plan.notes]


def _chart_with_jump(last: str, first: str) -> Chart:
    from pathlib import Path

    music = part_xml(
        f"{first} C5/8 D5/8 E5/8 D5/8 C5/8 D5/8 E5/8 G5/8 E5/8 D5/8 {last}",
        signs={0: SEGNO, 11: JUMP},
    )
    return read_chart(parse_document(Path("x"), score_xml({"Alto Sax 1": music})))


def test_the_last_note_before_a_jump_that_runs_on_is_not_short() -> None:
    """The chart's last bar goes back to the segno: its last eighth is cut off only if a rest comes
    there."""
    runs_on = _chart_with_jump("C5/8 D5/8 C5/8 E5/8 D5/8", "C5/8")
    stops = _chart_with_jump("C5/8 D5/8 C5/8 E5/8 D5/8", "r/8")
    assert _said(stops)[-1] == "dit"
    assert _said(runs_on)[-1] in ("doo", "-oo")


@given(st.lists(pitches, min_size=15, max_size=15))
@settings(max_examples=40, deadline=None)
def test_slurred_pairs_fall_from_the_off_beat_to_the_beat(line: list[str]) -> None:
    """Everythingsaxophone (2018): tongue the off-beat, slur into the beat. So no two slurred
    syllables in a row, none off the beat, none on an accent."""
    c = chart({"Alto Sax 1": " ".join([*line, "r/8 r/1"])})
    plan = plan_line(c, 0, style="medium-swing").passages[0]
    said = _said(c)
    for n, (word, note) in enumerate(zip(said, plan.notes, strict=True)):
        if word == "-oo":
            assert note.tone.onset % c.resolution == 0
            assert said[n - 1] != "-oo"
            assert not note.leaned
