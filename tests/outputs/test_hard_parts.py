"""Parts that the engraver would draw wrong come out right, and what does not is said. Each fault
was met in real files."""

from __future__ import annotations

from pathlib import Path

import hard_parts
import pytest
from lxml import etree

from sectionprep.music.chart import Chart
from sectionprep.musicxml.copies import mending
from sectionprep.musicxml.copies.part import extract_part
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts import laying_out
from sectionprep.outputs.parts.part_job import SheetReport, SheetStyle
from sectionprep.outputs.parts.sheet import draw_part
from sectionprep.outputs.parts.sheets import Basis, part_jobs

ALL = hard_parts.WRONG_AS_THEY_STAND | hard_parts.RIGHT_ANYWAY | hard_parts.DEADLY


def _document(data: bytes) -> tuple[Document, Chart]:
    document = parse_document(Path("hard.musicxml"), data)
    return document, read_chart(document)


def _drawn(data: bytes, folder: Path) -> SheetReport:
    document, chart = _document(data)
    (job,) = part_jobs(Basis(document=document, chart=chart), folder, SheetStyle())
    return draw_part(job)


def _handed_over(data: bytes) -> etree._Element:
    """What the engraver is given."""
    document, chart = _document(data)
    return etree.fromstring(extract_part(document, chart.parts[0].id))


@pytest.mark.parametrize("name", ALL)
def test_every_note_prints_in_its_place_and_is_read_as_its_pitch(name: str, tmp_path: Path) -> None:
    report = _drawn(ALL[name], tmp_path)
    assert not report.failed
    assert [f"bar {d.bar + 1}: {d.what}" for d in report.differences] == []
    assert report.heads == report.proved > 0


@pytest.mark.parametrize("name", hard_parts.WRONG_AS_THEY_STAND)
def test_the_proof_sees_what_the_engraver_makes_of_them_as_they_stand(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mending.Mender, "mend", lambda *_: None)
    monkeypatch.setattr(mending.Mender, "beam", lambda *_: None)
    monkeypatch.setattr("sectionprep.musicxml.copies.part.close_lines", lambda *_: [])
    monkeypatch.setattr(laying_out, "plainly", lambda xml: xml)
    assert _drawn(hard_parts.WRONG_AS_THEY_STAND[name], tmp_path).differences


@pytest.mark.parametrize("seed", range(8))
def test_every_note_of_a_random_piano_part_prints_as_its_pitch(seed: int, tmp_path: Path) -> None:
    report = _drawn(hard_parts.random_piano(seed), tmp_path)
    assert [f"bar {d.bar + 1}: {d.what}" for d in report.differences] == []
    assert report.pitches == report.heads > 100


def test_a_part_drawn_wrong_is_told_once_more_as_plainly_as_can_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where we do not see beforehand that voices are written in each other, the proof does, and the
    second way is right."""
    monkeypatch.setattr(mending, "in_order", lambda *_: True)
    told: list[bytes] = []
    plainly = laying_out.plainly
    monkeypatch.setattr(laying_out, "plainly", lambda xml: told.append(xml) or plainly(xml))
    report = _drawn(ALL["voices note by note"], tmp_path)
    assert len(told) == 1
    assert not report.differences
    assert report.proved == report.heads == 8


def test_what_no_way_helps_is_said_on_the_sheet_itself(tmp_path: Path) -> None:
    from pypdf import PdfReader

    report = _drawn(hard_parts.HOPELESS, tmp_path)
    assert [d.bar for d in report.differences] == [0, 1]
    assert "C7 is read as C" in report.differences[0].what
    words = " ".join(PdfReader(report.path).pages[0].extract_text().split())
    assert "CHECK AGAINST THE SCORE: bars 1, 2" in words


def test_a_triplet_is_numbered_and_bracketed_where_no_beam_joins_it() -> None:
    """Common practice, no source."""
    drawn = _handed_over(ALL["a triplet without a bracket"])
    assert [
        [(t.get("type"), t.get("bracket")) for t in n.iter("tuplet")] for n in drawn.iter("note")
    ] == [[("start", "yes")], [], [("stop", None)], []]


def test_a_swung_pair_is_one_triplet_of_a_quarter_and_an_eighth() -> None:
    """Two pairs, each of a quarter and an eighth in the time of two eighths: two threes, not one
    six."""
    triplet = hard_parts.TRIPLET
    pair = [
        hard_parts.note("C4", 4, kind="quarter", after_type=triplet),
        hard_parts.note("D4", 2, kind="eighth", after_type=triplet),
    ]
    drawn = _handed_over(
        hard_parts.score(
            hard_parts.opening(6) + "".join(pair * 2) + hard_parts.note("F4", 12, kind="half")
        )
    )
    assert [[t.get("type") for t in n.iter("tuplet")] for n in drawn.iter("note")] == [
        ["start"],
        ["stop"],
        ["start"],
        ["stop"],
        [],
    ]


@pytest.mark.parametrize(
    ("name", "beams"),
    [
        ("a beam that is never ended", ["begin", "continue", "continue", "end"]),
        ("a beam that is never begun", ["begin", "continue", "continue", "end"]),
    ],
)
def test_broken_beams_are_made_anew(name: str, beams: list[str]) -> None:
    first = next(_handed_over(ALL[name]).iter("measure"))
    assert [b.text for b in first.iter("beam")] == beams


def test_trill_lines_that_only_continue_begin_and_end() -> None:
    drawn = _handed_over(ALL["trill lines that only continue"])
    assert [line.get("type") for line in drawn.iter("wavy-line")] == ["start", "stop"]


def test_a_beam_over_the_bar_line_is_not_broken() -> None:
    from hard_parts import beam, note, notes, opening, score

    drawn = _handed_over(
        score(
            opening() + notes("C4 D4 E4") + note("F4", 1) + note("G4", 1, more=beam("begin")),
            note("A4", 1, more=beam("end")) + note("B4", 1) + notes("C5 D5 E5"),
        )
    )
    assert [b.text for b in drawn.iter("beam")] == ["begin", "end"]


def test_after_a_cue_in_other_divisions_the_parts_own_hold_again() -> None:
    """A cue is copied with its durations; what follows it would be counted in them."""
    from build import part_xml, score_xml

    from sectionprep.music.pitch import CONCERT
    from sectionprep.musicxml.copies.cues import Cue, add_cue

    own = (
        part_xml("r/1 C5/2 D5/2")
        .replace(">96<", ">8<")
        .replace(">48<", ">4<")
        .replace("<divisions>24<", "<divisions>2<")
    )
    source = parse_document(
        Path("x"),
        score_xml({"Alto Sax 1": own, "Alto Sax 2": part_xml("C5/4 D5/4 E5/4 F5/4 C5/1")}),
    )
    cue = Cue(
        bar=0, part_id="P2", occurrence=0, label="Alto 2", source=CONCERT, target=CONCERT, fifths=0
    )
    finish = lambda n, measure: add_cue(measure, source, cue) if n == 0 else None  # noqa: E731
    first, second = etree.fromstring(extract_part(source, "P1", finish=finish)).iter("measure")
    assert [d.text for d in first.iter("divisions")] == ["2", "24", "2"]
    assert [n.findtext("duration") for n in second.iter("note")] == ["4", "4"]


def test_voices_in_order_are_handed_over_as_they_stand() -> None:
    """Nothing is moved where nothing need be: notes, backups and forwards of a piano part in four
    voices."""
    from hard_parts import back, notes, opening, score

    body = (
        notes("C5 D5 E5 F5")
        + back(8)
        + notes("E4 F4 G4 A4", voice=2)
        + back(8)
        + notes("C3 D3 E3 F3", voice=5)
    )
    drawn = _handed_over(score(opening() + body))
    assert [e.tag for e in drawn.find("part/measure")] == [
        "attributes",
        *["note"] * 4,
        "backup",
        *["note"] * 4,
        "backup",
        *["note"] * 4,
    ]
