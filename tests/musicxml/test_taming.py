"""What the engraver does not survive is taken out of its copy."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml

from sectionprep.musicxml.copies import taming
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.laying_out import laid_out
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.sheets import Basis, part_jobs

_GRACE = (
    "<note><grace/><pitch><step>E</step><octave>5</octave></pitch><voice>1</voice></note>"
    "<note><grace/><pitch><step>F</step><octave>5</octave></pitch><voice>1</voice></note>"
)


def _tallest(tmp_path: Path) -> float:
    """Height of the tallest line of a part with grace notes of no value inside a beam, as in L. van
    Beethoven, op. 18 no. 3, first violin, bar 311 (music21 corpus); hundredths of a millimetre."""
    notes = part_xml("F5/8 A5/16 G5/16 C5/4 D5/4 E5/4 " * 4).split("<note>")
    beams = ["begin", "continue", "end"]
    for n, beam in enumerate(beams, start=1):
        notes[n] = notes[n].replace("</note>", f'<beam number="1">{beam}</beam></note>')
    notes[2] = _GRACE.removeprefix("<note>") + "<note>" + notes[2]
    xml = score_xml({"Violin": "<note>".join(notes)})
    document = parse_document(Path("x.musicxml"), xml)
    (job,) = part_jobs(Basis(document=document, chart=read_chart(document)), tmp_path, SheetStyle())
    return max(s.bottom - s.top for s in laid_out(job).engraving.systems)


def test_grace_notes_of_no_value_inside_a_beam(tmp_path: Path) -> None:
    assert _tallest(tmp_path) < 5_000


def test_the_engraver_does_not_survive_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the mend the part is refused, as one whose signs lie far beyond its lines."""
    from sectionprep.drawing.engraver.toolkit import EngravingFailed

    monkeypatch.setattr(taming, "_give_value", lambda _note: None)
    with pytest.raises(EngravingFailed, match="far beyond its line"):
        _tallest(tmp_path)
