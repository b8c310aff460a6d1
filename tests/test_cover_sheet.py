"""Cover sheets: the commands as typed, and every borrowed note against another library. Breaks when
a borrowed note would sound at another pitch, when somebody's score changes, or when a note is not
on the paper.

Held against a published library: music21's transpositions of its instruments.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from build import part_xml, score_xml
from lxml import etree
from music21 import instrument, pitch
from pypdf import PdfReader
from typer.testing import CliRunner

from sectionprep import stages
from sectionprep.cli import app
from sectionprep.errors import BadArgument
from sectionprep.outputs.director.cover_sheet import Borrowed, _excerpt, _pieces, cover_pdf
from sectionprep.results import Options, Score

SOLO = "C5/4 D5/4 Eb5/2 F5/4> E5/4 D5/2~ D5/4 F#5/8( G5/8) A5/4 r/4 "
REST = "r/1 r/1 "
READERS: dict[str, tuple[tuple[int, int], Any]] = {
    "Alto Sax 1": ((-5, -9), instrument.AltoSaxophone()),
    "Tenor Sax 1": ((-8, -14), instrument.TenorSaxophone()),
    "Trumpet 2": ((-1, -2), instrument.Trumpet()),
    "Trombone 1": ((0, 0), instrument.Trombone()),
}


def _score(tmp_path: Path, *, concert: bool = False) -> Score:
    """Three bars of Trumpet 1 alone, in A flat sounding (B flat for trumpets)."""

    def of(name: str, text: str, transpose: tuple[int, int], fifths: int) -> str:
        first = "<attributes><clef><sign>F</sign><line>4</line></clef></attributes>"
        return part_xml(
            text,
            transpose=(0, 0) if concert else transpose,
            fifths=-4 if concert else fifths,
            first=first if name == "Trombone 1" else "",
        )

    keys = {"Alto Sax 1": -1, "Tenor Sax 1": -2, "Trumpet 2": -2, "Trombone 1": -4}
    low = {"Trombone 1": "Ab3/1 Bb3/1 "}
    parts = {"Trumpet 1": of("Trumpet 1", REST + SOLO + REST, (-1, -2), -2)}
    for name, (transpose, _) in READERS.items():
        own = low.get(name, "G4/1 A4/1 ")
        parts[name] = of(name, own + REST + "r/1 " + own, transpose, keys[name])
    path = tmp_path / "chart.musicxml"
    path.write_bytes(score_xml(parts))
    return stages.read_score(path, Options())


def _borrowed(score: Score) -> Borrowed:
    bars = score.chart.bars
    return Borrowed(part=0, start=bars[2].start, end=bars[4].end, why="is alone", beside="You rest")


@pytest.mark.parametrize("concert", [False, True])
@pytest.mark.parametrize("name", READERS)
def test_what_is_borrowed_sounds_the_same(tmp_path: Path, name: str, concert: bool) -> None:
    score = _score(tmp_path, concert=concert)
    chart = score.chart
    assert chart.concert == concert
    reader = next(part for part in chart.parts if part.label == name)
    (piece,) = _pieces(chart, reader, _borrowed(score))
    top, own = _excerpt(score.document, chart, reader, piece).root.iter("part")
    notes = [note for note in top.iter("note") if note.find("pitch") is not None]
    found = [_read(note, READERS[name][1]) for note in notes]
    assert found == [midi + chart.parts[0].transposition_at(0).chromatic for midi in _written(SOLO)]
    assert set(found) == {tone.pitch for tone in chart.lines[0]}
    for note in notes:
        assert note[0].tag == "cue"
        assert note.find("tie") is None
        kind = note.find("type")
        assert kind is not None
        assert kind.get("size") == "cue"
    assert len(top.findall(".//accent")) == 1, "marks come along"
    assert len(top.findall(".//slur")) == 2
    assert all(note.find("rest") is not None for note in own.iter("note"))
    assert not list(own.iter("cue"))


def _written(text: str) -> list[int]:
    names = [word.split("/")[0] for word in text.split() if not word.startswith("r")]
    return [int(pitch.Pitch(name.replace("b", "-")).midi) for name in names]


def _read(note: etree._Element, held: Any) -> int:
    """What sounds when the player of an instrument reads a note."""
    alter = int(float(note.findtext("pitch/alter") or 0))
    name = f"{note.findtext('pitch/step')}{'#' * alter}{'-' * -alter}"
    written = pitch.Pitch(f"{name}{note.findtext('pitch/octave')}")
    return int((written.transpose(held.transposition) if held.transposition else written).midi)


def test_a_change_of_instrument_divides_a_stretch(tmp_path: Path) -> None:
    """Trumpet 2 takes up an instrument in E flat in bar 4: what he reads changes there."""
    score = _score(tmp_path)
    data = score.document.path.read_bytes()
    third = [n for n in range(len(data)) if data.startswith(b'<measure number="4">', n)][3]
    at = third + len(b'<measure number="4">')
    change = (
        b"<attributes><transpose><diatonic>-5</diatonic><chromatic>-9</chromatic></transpose>"
        b"</attributes>"
    )
    score.document.path.write_bytes(data[:at] + change + data[at:])
    score = stages.read_score(score.document.path, Options())
    (reader,) = (part for part in score.chart.parts if len(part.transpositions) > 1)
    pieces = list(_pieces(score.chart, reader, _borrowed(score)))
    assert [(piece.first, piece.last) for piece in pieces] == [(2, 2), (3, 4)]
    assert [bool(piece.says) for piece in pieces] == [True, False]
    tops = [
        next(_excerpt(score.document, score.chart, reader, p).root.iter("part")) for p in pieces
    ]
    first, second = (top.find(".//pitch/step") for top in tops)
    assert first is not None
    assert second is not None
    assert (first.text, second.text) == ("C", "C"), "F sounding E flat: C on an alto's instrument"


def test_the_command_prints_them_and_changes_nobodys_score(tmp_path: Path) -> None:
    score = _score(tmp_path)
    chart = score.document.path
    before = chart.read_bytes()
    out = tmp_path / "out"
    words = ["evening", str(chart), "-o", str(out), "--missing", "Trumpet 1", "--minutes", "30"]
    assert not _covers(words, out), "on request alone"
    (cover,) = _covers([*words, "--covers"], out)
    assert cover.name.endswith("_chart_Trumpet_2.pdf")
    text = "".join(page.extract_text() for page in PdfReader(cover).pages)
    for said in ("Trumpet 2 covers Trumpet 1", "Bars 3-5", "You rest there", "own part"):
        assert said in text
    assert chart.read_bytes() == before
    assert _covers([*words, "--covers"], out) == [cover], "again: the same name"
    for wrong in (words[:4], [*words[:4], "--minutes", "30"]):
        done = CliRunner().invoke(app, [*wrong, "--covers"])
        assert isinstance(done.exception, BadArgument)


def _covers(words: list[str], out: Path) -> list[Path]:
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    covers = [path for path in out.glob("*.pdf") if path.name.count("_") > 1]
    assert all(str(path) in done.output.replace("\n", "") for path in covers)
    return covers


def test_every_note_is_on_the_paper(demo_path: Path, tmp_path: Path) -> None:
    """The demo without its lead trumpet, on the letter the command prints and on 9 x 12."""
    words = ["evening", str(demo_path), "-o", str(tmp_path), "--missing", "Trumpet 1", "--covers"]
    done = CliRunner().invoke(app, [*words, "--json", "--paper", "9x12"])
    assert done.exit_code == 0, done.output
    made = json.loads(done.stdout)
    assert not made["notes"]
    (cover,) = tmp_path.glob("*_Trumpet_2.pdf")
    text = "".join(page.extract_text() for page in PdfReader(cover).pages)
    assert all(f"ars {gap['bars']}:" in text for gap in made["uncovered"])


def test_what_cannot_be_drawn_is_said_on_the_sheet(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    score = _score(tmp_path)
    monkeypatch.setattr("sectionprep.drawing.engraver.toolkit._MOST_NOTES", 1)
    pages = cover_pdf(score.document, score.chart, 3, [_borrowed(score)], paper="letter", footer="")
    (why,) = pages.not_drawn
    assert "cover sheet, from bar 3" in why
