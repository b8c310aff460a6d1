"""Nothing of a file is left off the sheets in silence: each element of MusicXML 4.0 is drawn or
said.

The list of elements is the standard's own: the types technical, articulations, ornaments and
direction-type of its schema (MusicXML 4.0, W3C).
"""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml
from lxml import etree

from sectionprep.drawing.scene.ink import Glyph, Shape, Text
from sectionprep.musicxml.copies.undrawn import DIRECTIONS, ON_NOTES
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.laying_out import extras_of, laid_out
from sectionprep.outputs.parts.part_job import PartJob, SheetStyle
from sectionprep.outputs.parts.sheets import Basis, part_jobs

_XS = "{http://www.w3.org/2001/XMLSchema}"
_TUNE = "C5/4 D5/4 E5/4 F5/4 G5/4 A5/4 B5/4 C6/4 "
#: what an element must hold to mean something
_HOLDS = {
    "fingering": "3",
    "pluck": "p",
    "fret": "3",
    "string": "2",
    "hammer-on": "H",
    "pull-off": "P",
    "tap": "T",
    "handbell": "damp",
    "bend": "<bend-alter>2</bend-alter>",
    "hole": "<hole-closed>yes</hole-closed>",
    "arrow": "<arrow-direction>up</arrow-direction>",
    "harmon-mute": "<harmon-closed>half</harmon-closed>",
    "other-technical": "x",
    "other-articulation": "x",
    "other-ornament": "x",
    "tremolo": "3",
    "accidental-mark": "sharp",
    "words": "hello",
    "rehearsal": "A",
    "dynamics": "<f/>",
    "symbol": "cClef",
    "other-direction": "so",
    "metronome": "<beat-unit>quarter</beat-unit><per-minute>60</per-minute>",
    "percussion": "<wood>cowbell</wood>",
    "harp-pedals": "<pedal-tuning><pedal-step>D</pedal-step><pedal-alter>0</pedal-alter>"
    "</pedal-tuning>",
    "scordatura": '<accord string="1"><tuning-step>E</tuning-step>'
    "<tuning-octave>4</tuning-octave></accord>",
    "accordion-registration": "<accordion-high/>",
}
_SAYS = {
    "tremolo": 'type="single"',
    "hammer-on": 'type="start"',
    "pull-off": 'type="start"',
    "string-mute": 'type="on"',
    "staff-divide": 'type="down"',
    "image": 'source="a.png" type="image/png"',
    "principal-voice": 'type="start" symbol="Hauptstimme"',
    "octave-shift": 'type="down"',
    "wedge": 'type="crescendo"',
    "pedal": 'type="start"',
    "bracket": 'type="start" line-end="down"',
    "dashes": 'type="start"',
    "wavy-line": 'type="start"',
}
_STOPPED = {
    "octave-shift": "stop",
    "wedge": "stop",
    "pedal": "stop",
    "bracket": "stop",
    "principal-voice": "stop",
    "wavy-line": "stop",
}


def _elements(schema_path: Path, kind: str) -> list[str]:
    """Names of the elements that a complex type of the schema may hold."""
    root = etree.parse(schema_path)
    found = root.find(f"{_XS}complexType[@name='{kind}']")
    assert found is not None
    return [e.get("name", "") for e in found.iter(f"{_XS}element")]


@pytest.fixture(scope="module")
def xsd() -> Path:
    from importlib.util import find_spec

    spec = find_spec("musicxml")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "generate_classes" / "musicxml_4_0.xsd"


def _element(name: str, **more: str) -> str:
    says = _SAYS.get(name, "")
    for key, value in more.items():
        says = " ".join(
            [*(s for s in says.split() if not s.startswith(f"{key}=")), f'{key}="{value}"']
        )
    return f"<{name} {says}>{_HOLDS.get(name, '') if not more else ''}</{name}>"


_BESIDE = {"accidental-mark": "<trill-mark/>"}  # it says something only about an ornament


def _score(tmp_path: Path, xml: str) -> PartJob:
    d = parse_document(Path("x.musicxml"), score_xml({"Guitar": xml}))
    return next(iter(part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle())))


def _shape(shape: Shape) -> tuple[str, str]:
    """What a shape is, and what it says."""
    says = shape.code if isinstance(shape, Glyph) else ""
    says = shape.words if isinstance(shape, Text) else says
    return type(shape).__name__, says


def _ink(job: PartJob) -> list[tuple[str, str]]:
    """What is on the page, wherever it stands."""
    drawn = laid_out(job).engraving
    ink = [_shape(i.shape) for system in drawn.systems for i in system.ink]
    return sorted(ink + [(e.kind, "") for line in extras_of(drawn, job) for e in line])


def _on_a_note(home: str, name: str, element: bool = True) -> str:
    end = _STOPPED.get(name)
    first, then = part_xml(_TUNE).split("</note>", 1)
    first += (
        f"<notations><{home}>{_BESIDE.get(name, '')}{_element(name) if element else ''}</{home}>"
        "</notations></note>"
    )
    if end:
        then = then.replace(
            "</note>",
            f"<notations><{home}>{_element(name, type=end)}</{home}></notations></note>",
            1,
        )
    return first + then


def _between_notes(name: str) -> str:
    def direction(inside: str) -> str:
        return f"<direction><direction-type>{inside}</direction-type></direction>"

    end = _STOPPED.get(name)
    signs = {
        1: direction(_element(name)),
        **({3: direction(_element(name, type=end))} if end else {}),
    }
    return part_xml(_TUNE, signs=signs)


@pytest.mark.parametrize("home", ["technical", "articulations", "ornaments", "direction-type"])
def test_each_element_of_the_standard_is_drawn_or_said(
    home: str, xsd: Path, tmp_path: Path
) -> None:
    plain = _ink(_score(tmp_path, part_xml(_TUNE)))
    names = _elements(xsd, home)
    assert len(names) > 10
    silent, needless = [], []
    for name in names:
        job = _score(
            tmp_path, _between_notes(name) if home == "direction-type" else _on_a_note(home, name)
        )
        beside = (
            _ink(_score(tmp_path, _on_a_note(home, name, element=False)))
            if name in _BESIDE
            else plain
        )
        drawn, said = _ink(job) != beside, bool(job.remarks)
        silent += [name] if not drawn and not said else []
        needless += [name] if drawn and said else []
    assert (silent, needless) == ([], [])


def test_the_tables_name_only_elements_of_the_standard(xsd: Path) -> None:
    on_notes = {
        name
        for home in ("technical", "articulations", "ornaments")
        for name in _elements(xsd, home)
    }
    assert set(ON_NOTES) <= on_notes
    assert set(DIRECTIONS) <= set(_elements(xsd, "direction-type"))


def test_an_octave_line_that_never_ends_is_said(tmp_path: Path) -> None:
    """Nobody can tell how far it reaches: the notes stand where they sound, and the sheet says what
    is gone."""
    import hard_parts

    data = hard_parts.WRONG_AS_THEY_STAND["an octave line that is never closed"]
    document = parse_document(Path("x.musicxml"), data)
    (job,) = part_jobs(Basis(document=document, chart=read_chart(document)), tmp_path, SheetStyle())
    assert [remark.count for remark in job.remarks if "octave line" in remark.what] == [1]
    data = hard_parts.RIGHT_ANYWAY["an octave line that is closed"]
    document = parse_document(Path("x.musicxml"), data)
    (job,) = part_jobs(Basis(document=document, chart=read_chart(document)), tmp_path, SheetStyle())
    assert not job.remarks
