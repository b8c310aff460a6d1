"""A sign is printed wherever the standard lets it stand: second in its direction, in a second
`<notations>`, as the label of an ending, over two lines of music. What the file hides is not
printed, and what is not drawn is said."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml
from lxml import etree

from sectionprep.drawing.scene.ink import Glyph, Rectangle, Text
from sectionprep.musicxml.copies.undrawn import (
    OCTAVE_LINES,
    ODD_CHORDS,
    OPEN_HAIRPINS,
    TIES_FROM_NOTHING,
    TIES_TO_NOTHING,
)
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.laying_out import laid_out, told_plainly
from sectionprep.outputs.parts.part_job import PartJob, SheetStyle
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


def _job(xml: str, tmp_path: Path) -> PartJob:
    document = parse_document(Path("x.musicxml"), score_xml({"Guitar": xml}))
    basis = Basis(document=document, chart=read_chart(document))
    (job,) = part_jobs(basis, tmp_path, SheetStyle())
    return job


def _ink(xml: str, tmp_path: Path) -> list[str]:
    """All glyphs, texts, lines and chord symbols on a sheet, wherever they stand."""
    drawn = laid_out(_job(xml, tmp_path)).engraving
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


def test_an_ending_that_nothing_ends_is_printed(tmp_path: Path) -> None:
    """So many programs write the last of several; it was lost."""
    xml = _with_endings('number="1">1.', 'number="2">2.') + part_xml(_BAR)
    at = xml.rindex('<barline><ending number="2"')
    left_open = xml[:at] + xml[at:].replace('<ending number="2" type="stop"/>', "", 1)
    assert {"1.", "2."} <= set(_ink(left_open, tmp_path))


def _remarks(xml: str, tmp_path: Path) -> list[str]:
    """What the sheet says that it does not show, with its count."""
    return [f"{r.count} {r.what}" for r in laid_out(_job(xml, tmp_path)).remarks]


def test_an_octave_line_is_read_where_it_goes_on_in_another_line(tmp_path: Path) -> None:
    """Of an octave line that goes on in the next line of music the proof read the first piece
    alone: the part was drawn once more without any octave line, and nobody said so."""
    down, stop = _SIGNS["octave-shift"]
    xml = part_xml(_BAR * 12, signs={2: _direction(down), 45: _direction(stop)})
    drawn = laid_out(_job(xml, tmp_path)).engraving
    assert len(drawn.systems) > 1
    assert not drawn.proved.differences
    assert _ink(xml, tmp_path).count("E510") == len(drawn.systems)


def test_an_octave_line_goes_on_over_a_continue(schema: etree.XMLSchema, tmp_path: Path) -> None:
    down, stop = _SIGNS["octave-shift"]
    on = _direction('<octave-shift type="continue"/>')
    signs = {1: _direction(down), 2: on, 4: on, 6: _direction(stop)}
    xml = part_xml(_BAR * 2, signs=signs)
    assert schema.validate(etree.fromstring(score_xml({"Guitar": xml}))), schema.error_log
    assert _ink(xml, tmp_path) == _ink(xml.replace(on, ""), tmp_path)
    assert _remarks(xml, tmp_path) == []


def test_octave_lines_that_went_for_a_right_drawing_are_said(tmp_path: Path) -> None:
    down, stop = _SIGNS["octave-shift"]
    xml = part_xml(_BAR * 2, signs={1: _direction(down), 6: _direction(stop)})
    assert told_plainly(_job(xml, tmp_path)).remarks[-1].what == f"not printed: {OCTAVE_LINES}"
    assert told_plainly(_job(part_xml(_BAR), tmp_path)).remarks == ()


def test_a_hairpin_that_never_ends_is_said(tmp_path: Path) -> None:
    wedge, stop = _SIGNS["wedge"]
    nested = {0: _direction(wedge), 1: _direction(wedge), 2: _direction(stop), 3: _direction(stop)}
    assert _remarks(part_xml(_BAR, signs=nested), tmp_path) == []
    del nested[3]
    assert _remarks(part_xml(_BAR, signs=nested), tmp_path) == [f"1 not printed: {OPEN_HAIRPINS}"]


def _with_heads(*values: str) -> str:
    notes = part_xml(_BAR).split("</note>")
    for n, value in enumerate(values):
        notes[n] += f"<notehead>{value}</notehead>"
    return "</note>".join(notes)


def test_note_heads_are_drawn_or_said(xsd_values: list[str], tmp_path: Path) -> None:
    """Type notehead-value of the standard's schema. Arrows and inverted triangles were printed as
    slashes, and eleven others as plain heads, without a word."""
    assert len(xsd_values) > 20
    plain, drawn = _ink(part_xml(_BAR), tmp_path), set()
    for value in xsd_values:
        xml = _with_heads(value)
        said = _remarks(xml, tmp_path)
        changed = _ink(xml, tmp_path) != plain
        drawn |= {value} if changed else set()
        assert changed == (not said) or value == "normal", value
    assert drawn == {"slash", "x", "cross", "circle-x", "diamond", "none"}


@pytest.fixture(scope="module")
def xsd_values() -> list[str]:
    from importlib.util import find_spec

    spec = find_spec("musicxml")
    assert spec is not None
    assert spec.origin is not None
    xsd = etree.parse(Path(spec.origin).parent / "generate_classes" / "musicxml_4_0.xsd")
    names = "//xs:simpleType[@name='notehead-value']//xs:enumeration/@value"
    return [str(v) for v in xsd.xpath(names, namespaces={"xs": "http://www.w3.org/2001/XMLSchema"})]


def test_a_verse_with_a_name_has_a_line_of_its_own(schema: etree.XMLSchema, tmp_path: Path) -> None:
    """It was printed over the first."""
    notes = part_xml(_BAR).split("</note>")
    for number, text in (("1", "one"), ("chorus", "la")):
        notes[0] += (
            f'<lyric number="{number}"><syllabic>single</syllabic><text>{text}</text></lyric>'
        )
    xml = "</note>".join(notes)
    assert schema.validate(etree.fromstring(score_xml({"Guitar": xml}))), schema.error_log
    (system,) = laid_out(_job(xml, tmp_path)).engraving.systems
    heights = {i.shape.words: i.shape.y for i in system.ink if isinstance(i.shape, Text)}
    assert heights["one"] != heights["la"]


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


def _chord(inside: str) -> str:
    return f"<harmony>{inside}</harmony>"


_C = "<root><root-step>C</root-step></root>"


@pytest.mark.parametrize(
    ("chord", "printed"),
    [
        (f'{_C}<kind use-symbols="yes">major-ninth</kind>', "C\u25b39"),
        (f'{_C}<kind text="N.C.">none</kind>', "N.C."),  # was "CN.C."
        (f"{_C}<kind>none</kind>", "N.C."),  # was "C", as the chords that follow were
        ('<root><root-step text="">C</root-step></root><kind text="N.C.">none</kind>', "N.C."),
        (f"{_C}<kind>Neapolitan</kind>", "C Neapolitan"),
        (f"{_C}<kind>pedal</kind>", "C pedal"),
    ],
)
def test_chords_that_the_engraver_knows_by_their_root_alone(
    chord: str, printed: str, schema: etree.XMLSchema, tmp_path: Path
) -> None:
    xml = part_xml(_BAR, signs={0: _chord(chord)})
    assert schema.validate(etree.fromstring(score_xml({"Guitar": xml}))), schema.error_log
    assert list(laid_out(_job(xml, tmp_path)).engraving.chords.values()) == [printed]


@pytest.mark.parametrize(
    "chord",
    [
        "<numeral><numeral-root>5</numeral-root></numeral><kind>dominant</kind>",  # was "57"
        "<function>V7</function><kind>dominant</kind>",  # was "7"
        f"{_C}<kind>major</kind>{_C.replace('C<', 'G<')}<kind>dominant</kind>",  # was "C"
    ],
)
def test_chords_that_are_no_letter_over_a_note_are_said(
    chord: str, schema: etree.XMLSchema, tmp_path: Path
) -> None:
    xml = part_xml(_BAR, signs={0: _chord(chord)})
    assert schema.validate(etree.fromstring(score_xml({"Guitar": xml}))), schema.error_log
    assert _remarks(xml, tmp_path) == [f"1 not printed: {ODD_CHORDS}"]
    assert not laid_out(_job(xml, tmp_path)).engraving.chords


def test_what_else_a_bar_says_of_itself_breaks_nothing_down(tmp_path: Path) -> None:
    """`non-controlling` brought the engraver down (MusicXML 4.0, measure-attributes)."""
    attributes = '<measure non-controlling="yes" text="IV" width="300" id="m1"'
    xml = part_xml(_BAR * 2)
    assert _ink(xml.replace("<measure", attributes), tmp_path) == _ink(xml, tmp_path)


@pytest.mark.parametrize("between", ["", " "])
def test_a_dynamic_beside_words_is_printed_as_one(between: str, tmp_path: Path) -> None:
    """As the letters of one word ("mfcresc.") it was printed in their italics."""
    mf = _SIGNS["dynamics"][0]
    signs = {
        0: _direction(mf, f"<words>{between}cresc.</words>"),
        4: _direction(f"<words>sub.{between}</words>", mf),
    }
    printed = _ink(part_xml(_BAR * 2, signs=signs), tmp_path)
    assert {"\ue52d\u00a0cresc.", "sub.\u00a0\ue52d"} <= set(printed)


@pytest.mark.parametrize("words", ["cresc.", "rit."])
def test_all_dashes_after_words_are_printed(words: str, tmp_path: Path) -> None:
    """Of those after "cresc.", which the engraver takes for a dynamic, all but the first of a line
    of music were lost."""
    start = f'<words>{words}</words></direction-type><direction-type><dashes type="start"/>'
    signs = {1: _direction(start), 9: _direction('<dashes type="stop"/>')}
    xml = part_xml(_BAR * 3, signs=signs)
    systems = laid_out(_job(xml, tmp_path)).engraving.systems
    dashes = [i for s in systems for i in s.ink if isinstance(i.shape, Rectangle)]
    assert len(dashes) >= 3


@pytest.mark.parametrize("line", ["yes", "no"])
def test_a_pedal_that_changes_goes_on(line: str, schema: etree.XMLSchema, tmp_path: Path) -> None:
    """What followed a change was lost, and all of a pedal that is said to continue."""

    def pedal(kind: str) -> str:
        return _direction(f'<pedal type="{kind}" line="{line}"/>')

    signs = {0: pedal("start"), 2: pedal("change"), 4: pedal("continue"), 6: pedal("stop")}
    xml = part_xml(_BAR * 2, signs=signs)
    assert schema.validate(etree.fromstring(score_xml({"Guitar": xml}))), schema.error_log
    two = {0: pedal("start"), 2: pedal("stop") + pedal("start"), 6: pedal("stop")}
    assert _ink(xml, tmp_path) == _ink(part_xml(_BAR * 2, signs=two), tmp_path)
    assert _ink(xml, tmp_path) != _ink(part_xml(_BAR * 2), tmp_path)


def _tied(*kinds: str, line: str = "C5/2 C5/2 ") -> str:
    """Notes with the ends of ties that these name, "" for none."""
    notes = part_xml(line).split("</note>")
    for n, kind in enumerate(kinds):
        if kind:
            notes[n] += f'<notations><tied type="{kind}"/></notations>'
    return "</note>".join(notes)


def test_a_tie_ends_at_the_next_note_of_its_pitch(tmp_path: Path) -> None:
    """Many files say where it begins alone (C. Monteverdi, madrigal 4.8, in the music21 corpus:
    all 72 of its ties were lost)."""
    whole = _tied("start", "stop")
    assert _ink(_tied("start"), tmp_path) == _ink(whole, tmp_path)
    assert _ink(whole, tmp_path) != _ink(_tied(), tmp_path)
    assert _remarks(_tied("start"), tmp_path) == []


@pytest.mark.parametrize(
    ("kinds", "line", "said"),
    [
        (("start",), "C5/2 D5/2 ", TIES_TO_NOTHING),
        (("start", "", ""), "C5/4 r/4 C5/2 ", TIES_TO_NOTHING),
        (("start",), "C5/2 C#5/2 ", TIES_TO_NOTHING),
        (("", "stop"), "C5/2 C5/2 ", TIES_FROM_NOTHING),
    ],
)
def test_a_tie_that_cannot_be_drawn_is_said(
    kinds: tuple[str, ...], line: str, said: str, tmp_path: Path
) -> None:
    assert _remarks(_tied(*kinds, line=line), tmp_path) == [f"1 not printed: {said}"]
