"""A sign is printed wherever the standard lets it stand: second in its direction, in a second
`<notations>`, as the label of an ending. What the file hides is not printed."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml
from lxml import etree

from sectionprep.drawing.scene.ink import Glyph, Text
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.laying_out import laid_out
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.sheets import Basis, part_jobs

_BAR = "C5/4 D5/4 E5/4 F5/4 "
#: elements of direction-type (MusicXML 4.0) that the engraver draws, and what ends them
_SIGNS = {
    "words": ("<words>rit.</words>", ""),
    "rehearsal": ("<rehearsal>A</rehearsal>", ""),
    "segno": ("<segno/>", ""),
    "coda": ("<coda/>", ""),
    "dynamics": ("<dynamics><mf/></dynamics>", ""),
    "metronome": (
        "<metronome><beat-unit>quarter</beat-unit><per-minute>90</per-minute></metronome>",
        "",
    ),
    "wedge": ('<wedge type="crescendo"/>', '<wedge type="stop"/>'),
    "octave-shift": ('<octave-shift type="down"/>', '<octave-shift type="stop"/>'),
    "pedal": ('<pedal type="start"/>', '<pedal type="stop"/>'),
    "bracket": (
        '<bracket type="start" line-end="down"/>',
        '<bracket type="stop" line-end="down"/>',
    ),
}
#: these stand in one line with words, some as one of their letters
_IN_LINE = [{"words", other} for other in ("segno", "coda", "dynamics", "metronome")]


def _direction(*signs: str) -> str:
    kinds = "".join(f"<direction-type>{sign}</direction-type>" for sign in signs)
    return f'<direction placement="above">{kinds}</direction>'


def _ink(xml: str, tmp_path: Path) -> list[str]:
    """All glyphs, texts, lines and chord symbols on a sheet, wherever they stand."""
    document = parse_document(Path("x.musicxml"), score_xml({"Guitar": xml}))
    basis = Basis(document=document, chart=read_chart(document))
    (job,) = part_jobs(basis, tmp_path, SheetStyle())
    drawn = laid_out(job).engraving
    shapes = [ink.shape for system in drawn.systems for ink in system.ink]
    ink = [
        s.code if isinstance(s, Glyph) else s.words if isinstance(s, Text) else type(s).__name__
        for s in shapes
    ]
    return sorted([*ink, *drawn.chords.values()])


def _with_pairs(first: str, *, apart: bool) -> str:
    """A bar for each sign that may stand behind this one: both in one direction, or in two."""
    signs: dict[int, str] = {}
    others = [n for n in _SIGNS if n != first and {first, n} not in _IN_LINE]
    for bar, second in enumerate(others):
        (one, its_end), (two, end) = _SIGNS[first], _SIGNS[second]
        signs[4 * bar] = _direction(one) + _direction(two) if apart else _direction(one, two)
        signs[4 * bar + 3] = "".join(_direction(e) for e in (its_end, end) if e)
    return part_xml(_BAR * len(others), signs=signs)


@pytest.mark.parametrize("first", _SIGNS)
def test_what_stands_behind_another_sign_in_one_direction_is_printed(
    first: str, tmp_path: Path
) -> None:
    """A letter, segno, coda, bracket, pedal or octave line was lost there, on every sheet."""
    apart = _ink(_with_pairs(first, apart=True), tmp_path)
    assert _ink(_with_pairs(first, apart=False), tmp_path) == apart


def test_signs_among_words_stay_there(tmp_path: Path) -> None:
    sign = _direction("<words>D.S.</words>", "<segno/>", "<words>al Fine</words>")
    printed = " ".join(_ink(part_xml(_BAR, signs={2: sign}), tmp_path))
    assert "D.S." in printed
    assert "al Fine" in printed
    assert "\ue047" in printed or "E047" in printed


def test_several_letters_of_one_direction(tmp_path: Path) -> None:
    sign = _direction("<rehearsal>B</rehearsal><rehearsal>Solo</rehearsal>")
    assert {"B", "Solo"} <= set(_ink(part_xml(_BAR, signs={0: sign}), tmp_path))


def test_marks_in_several_notations_of_one_note(schema: etree.XMLSchema, tmp_path: Path) -> None:
    """Only those in the first were printed."""
    several = (
        "<notations><articulations><accent/></articulations></notations>"
        "<notations><articulations><tenuto/></articulations><fermata/></notations>"
    )
    xml = part_xml(_BAR).replace("</note>", f"{several}</note>", 1)
    assert schema.validate(etree.fromstring(score_xml({"Guitar": xml}))), schema.error_log
    assert _ink(xml, tmp_path) == _ink(xml.replace("</notations><notations>", ""), tmp_path)


@pytest.mark.parametrize(
    "rate", ["60-72", "c. 144", "ca. 100 – 108", "120 (slower 2nd time)", "1200", "as you like"]
)
def test_a_tempo_is_printed_in_the_words_of_the_file(rate: str, tmp_path: Path) -> None:
    """Type string (MusicXML 4.0, per-minute). All of these were printed as "120"."""
    sign = _direction(_SIGNS["metronome"][0].replace("90", rate))
    assert rate in " ".join(_ink(part_xml(_BAR, signs={0: sign}), tmp_path))


@pytest.mark.parametrize("rate", ["1e999", "c. 9E999", "0x1p99999", "9" * 400])
def test_a_tempo_that_no_number_can_hold_is_a_question(rate: str, tmp_path: Path) -> None:
    """The engraver ends its process over them; no other number may stand in their place."""
    sign = _direction(_SIGNS["metronome"][0].replace("90", rate))
    assert "?" in " ".join(_ink(part_xml(_BAR, signs={0: sign}), tmp_path))


def _with_endings(*starts: str) -> str:
    """Bars of which each is an ending. starts: attributes and label of each one's beginning."""
    made = ""
    for n, bar in enumerate(part_xml(_BAR * len(starts)).split("</measure>")[:-1]):
        number = starts[n].split('"')[1]
        begin = f'<barline location="left"><ending type="start" {starts[n]}</ending></barline>'
        end = f'<barline><ending number="{number}" type="stop"/></barline>'
        before, note, after = bar.partition("<note>")
        made += f"{before}{begin}{note}{after}{end}</measure>"
    return made


def test_an_ending_has_the_label_of_the_file(tmp_path: Path) -> None:
    endings = 'number="1, 2">1.–2.', 'number="3">last time', 'number="4">'
    ink = _ink(_with_endings(*endings), tmp_path)
    assert {"1.–2.", "last time", "4"} <= set(ink)


_CHORD = "<harmony{}><root><root-step>E</root-step></root><kind>minor</kind></harmony>"
_HIDDEN = ' print-object="no"'


@pytest.mark.parametrize(
    "sign", [_direction(_SIGNS["metronome"][0].replace("<metronome", "<metronome{}")), _CHORD]
)
def test_what_the_file_hides_is_not_printed(sign: str, tmp_path: Path) -> None:
    plain = _ink(part_xml(_BAR), tmp_path)
    assert _ink(part_xml(_BAR, signs={0: sign.format(_HIDDEN)}), tmp_path) == plain
    assert _ink(part_xml(_BAR, signs={0: sign.format("")}), tmp_path) != plain


def test_an_ending_that_the_file_hides_is_not_printed(tmp_path: Path) -> None:
    hidden = _ink(_with_endings(f'number="1"{_HIDDEN}>1.', 'number="2">2.'), tmp_path)
    assert "1." not in hidden
    assert "2." in hidden
