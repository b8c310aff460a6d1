"""Slash regions (MusicXML 4.0, slash): a slash on every beat, or slashes in the rhythm of notes.
A bar of rest under them was printed as a rest, and whatever notes stood there gave the slashes
their rhythm, heights and accidentals."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml
from lxml import etree

from sectionprep.drawing.scene.ink import Glyph
from sectionprep.music.chart import Chart
from sectionprep.musicxml.copies.excerpt import Pick, extract_excerpt
from sectionprep.musicxml.copies.part import extract_part
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.laying_out import extras_of, laid_out
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.sheets import Basis, part_jobs

_SLASH, _REST, _BLACK, _FLAT = "E101", "E4E3", "E0A4", "E260"
_BAR = "C5/4 D5/4 E5/4 F5/4 "
_CHORD = "<harmony><root><root-step>{}</root-step></root><kind>minor</kind></harmony>"


def _style(inside: str, number: str = "") -> str:
    staff = f' number="{number}"' if number else ""
    return f"<attributes><measure-style{staff}>{inside}</measure-style></attributes>"


_BEATS = _style('<slash type="start"/>')
_RHYTHM = _style('<slash type="start" use-stems="yes"/>')
_STOP = _style('<slash type="stop"/>')


def _read(xml: str) -> tuple[Basis, Chart]:
    document = parse_document(Path("x.musicxml"), score_xml({"Guitar": xml}))
    chart = read_chart(document)
    return Basis(document=document, chart=chart), chart


def _glyphs(xml: str, tmp_path: Path) -> list[str]:
    """What is drawn, from left to right; the drawing is proved to be what the chart says."""
    basis, _ = _read(xml)
    (job,) = part_jobs(basis, tmp_path, SheetStyle(courtesy=False))
    drawn = laid_out(job).engraving
    assert not drawn.proved.differences
    found = [i.shape for system in drawn.systems for i in system.ink if isinstance(i.shape, Glyph)]
    return [glyph.code for glyph in sorted(found, key=lambda glyph: glyph.x)]


@pytest.mark.parametrize(
    ("bar", "metre", "slashes"),
    [
        ("r/1 ", (4, 4), 4),
        ("C5/1 ", (4, 4), 4),
        ("C5/8 D5/8 Eb5/4. F5/8 r/4 ", (4, 4), 4),
        ("C5/4. D5/8 E5/8 F5/8 ", (6, 8), 2),
        ("C5/2 D5/4 ", (3, 4), 3),
        ("C5/2 D5/2 ", (2, 2), 4),
    ],
)
def test_a_slash_on_every_beat_whatever_stands_there(
    bar: str, metre: tuple[int, int], slashes: int, tmp_path: Path
) -> None:
    xml = part_xml(bar, beats=metre[0], unit=metre[1], signs={0: _BEATS})
    drawn = _glyphs(xml, tmp_path)
    assert drawn.count(_SLASH) == slashes
    assert not {_BLACK, _REST, _FLAT} & set(drawn)


def test_slashes_in_the_rhythm_of_the_notes_stand_on_one_line(tmp_path: Path) -> None:
    xml = part_xml("C5/8 D5/8 Eb5/4 r/4 F5/4 ", signs={0: _RHYTHM})
    drawn = _glyphs(xml, tmp_path)
    assert drawn.count(_SLASH) == 4
    assert _FLAT not in drawn
    basis, _ = _read(xml)
    (job,) = part_jobs(basis, tmp_path, SheetStyle())
    (system,) = laid_out(job).engraving.systems
    glyphs = (i.shape for i in system.ink if isinstance(i.shape, Glyph))
    assert len({glyph.y for glyph in glyphs if glyph.code == _SLASH}) == 1


def test_a_region_ends_where_the_file_ends_it(tmp_path: Path) -> None:
    """At the head of a bar, or behind the last note of the bar before."""
    xml = part_xml(_BAR * 3, signs={4: _BEATS, 8: _STOP})
    drawn = _glyphs(xml, tmp_path)
    assert (drawn.count(_SLASH), drawn.count(_BLACK)) == (4, 8)
    bars = part_xml(_BAR * 3, signs={4: _BEATS}).split("</measure>")
    bars[1] += _STOP
    assert _glyphs("</measure>".join(bars), tmp_path) == drawn


def test_slashes_that_are_written_out_stay_as_they_are(tmp_path: Path) -> None:
    plain = part_xml("C5/4 D5/8 E5/8 F5/2 ").replace("</note>", "<notehead>slash</notehead></note>")
    drawn = _glyphs(plain, tmp_path)
    assert _glyphs(plain.replace("<note>", f"{_BEATS}<note>", 1), tmp_path) == drawn


def test_one_staff_of_two_has_slashes(tmp_path: Path) -> None:
    upper = part_xml("C5/4 D5/4 E5/4 F5/4 ").replace("</note>", "<staff>1</staff></note>")
    lower = part_xml("r/1 ").split("</attributes>")[1].removesuffix("</measure>")
    lower = lower.replace("<voice>1", "<voice>5").replace("</note>", "<staff>2</staff></note>")
    clefs = "<staves>2</staves>" + "".join(
        f'<clef number="{n}"><sign>G</sign><line>2</line></clef>' for n in (1, 2)
    )
    backup = "<backup><duration>96</duration></backup>"
    xml = upper.replace("</time>", f"</time>{clefs}").replace(
        "</attributes>", "</attributes>" + _style('<slash type="start"/>', "2"), 1
    )
    drawn = _glyphs(xml.replace("</measure>", f"{backup}{lower}</measure>"), tmp_path)
    assert (drawn.count(_SLASH), drawn.count(_BLACK)) == (4, 4)


def test_chords_over_slashes_keep_their_places(schema: etree.XMLSchema, tmp_path: Path) -> None:
    """Over the second beat, and over the third, which no note begins: as over slashes that are
    written out."""

    def places(xml: str) -> list[int]:
        assert schema.validate(etree.fromstring(score_xml({"Guitar": xml}))), schema.error_log
        basis, _ = _read(xml)
        (job,) = part_jobs(basis, tmp_path, SheetStyle())
        drawn = laid_out(job).engraving
        return [round(e.box[0]) for line in extras_of(drawn, job) for e in line]

    third = _CHORD.format("C").replace("</harmony>", "<offset>24</offset></harmony>")
    region = part_xml("C5/4 D5/2. ", signs={0: _BEATS, 1: _CHORD.format("B") + third})
    written = part_xml("B4/4 B4/4 B4/4 B4/4 ", signs={1: _CHORD.format("B"), 2: _CHORD.format("C")})
    slash = "<stem>none</stem><notehead>slash</notehead></note>"
    assert len(places(region)) == 2
    assert places(region) == places(written.replace("</note>", slash))


def test_who_has_slashes_does_not_play_the_notes_under_them() -> None:
    _, chart = _read(part_xml(_BAR * 2, signs={4: _BEATS}))
    (part,) = chart.parts
    assert [note.is_slash for note in part.notes] == [False] * 4 + [True] * 4
    assert [tone.bar for tone in chart.lines[0]] == [0] * 4


def test_a_note_without_place_stands_on_the_middle_line(tmp_path: Path) -> None:
    """MusicXML 4.0, unpitched. It was drawn four staves lower."""
    at = "<unpitched><display-step>B</display-step><display-octave>4</display-octave></unpitched>"
    first, rest = part_xml(_BAR).split("<pitch>", 1)
    rest = rest.split("</pitch>", 1)[1]
    heights = []
    for head in (at, "<unpitched/>"):
        basis, _ = _read(first + head + rest)
        (job,) = part_jobs(basis, tmp_path, SheetStyle())
        (system,) = laid_out(job).engraving.systems
        glyphs = (i.shape for i in system.ink if isinstance(i.shape, Glyph))
        heights.append(sorted(glyph.y for glyph in glyphs))
    assert heights[0] == heights[1]


@pytest.mark.parametrize("first", [0, 1])
def test_slashes_stand_in_excerpts_from_their_first_bar(first: int) -> None:
    """A region that begins in the first bar of a study page or of the score was lost with the
    attributes that are stated anew there."""
    d = parse_document(Path("x"), score_xml({"Guitar": part_xml(_BAR * 3, signs={4: _BEATS})}))
    drawn = extract_excerpt(d, [Pick(part_id="P1", occurrence=0, label="Guitar")], first, 2).root
    slashes = [len(measure.findall("note/notehead")) for measure in drawn.iter("measure")]
    assert slashes == [0, 4, 4][first:]


def test_a_part_without_pitches_has_no_key() -> None:
    """The band's key, stated by many files for the drums, stood below their staff."""
    clef = "<clef><sign>percussion</sign></clef></attributes>"
    drums = part_xml(_BAR * 2, fifths=-1).replace("</attributes>", clef, 1)
    assert "<fifths>" in drums
    d = parse_document(Path("x"), score_xml({"Drums": drums, "Guitar": part_xml(_BAR, fifths=-1)}))
    assert b"<fifths>" not in extract_part(d, "P1")
    assert b"<fifths>" in extract_part(d, "P2")
    names = {"P1": "Drums", "P2": "Guitar"}
    picks = [Pick(part_id=p, occurrence=0, label=name) for p, name in names.items()]
    found = extract_excerpt(d, picks, 0, 1).root.findall("part")
    assert [len(part.findall(".//fifths")) for part in found] == [0, 1]


def test_two_chords_at_one_place_stand_over_each_other(tmp_path: Path) -> None:
    """The second was printed into the first."""
    both = _CHORD.format("D") + _CHORD.format("A")
    basis, _ = _read(part_xml(_BAR * 2, signs={1: both, 4: _CHORD.format("G")}))
    (job,) = part_jobs(basis, tmp_path, SheetStyle())
    drawn = laid_out(job).engraving
    boxes = [e.box for line in extras_of(drawn, job) for e in line if e.kind == "chord"]
    assert len(boxes) == 3
    (first, second, alone) = sorted(boxes, key=lambda box: (box[0], -box[3]))
    assert first[0] == second[0]
    assert second[3] < first[1] + 20
    assert first[3] == alone[3]
    (system,) = drawn.systems
    assert system.top < second[1]
