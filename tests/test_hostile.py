"""Files that stopped everything, each kept in its smallest form: what is odd in them costs one sign
or one page, is said, and never the run."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import sectionprep
from sectionprep.errors import NotAScore
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart

HOSTILE = Path(__file__).parent / "repro" / "hostile"


def _prepare(name: str, out: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "sectionprep", "prepare", str(HOSTILE / name), "-o", str(out)],
        capture_output=True,
        text=True,
        timeout=120,
    )


@pytest.mark.parametrize(
    "name",
    [
        "beattype0.musicxml",
        "senza_misura_kills_prepare.musicxml",
        "staves99.musicxml",
        "comment_split_text.musicxml",
    ],
)
def test_values_that_bring_the_engraver_down_never_reach_it(name: str, tmp_path: Path) -> None:
    done = _prepare(name, tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "NOT PRINTED" not in done.stdout
    assert len(list((tmp_path / "parts").glob("*.pdf"))) >= 2


@pytest.mark.parametrize("name", ["concert_chord_H.musicxml", "concert_chord_lowercase.musicxml"])
def test_a_chord_whose_root_is_no_note_costs_that_chord_and_is_said(
    name: str, tmp_path: Path
) -> None:
    done = _prepare(name, tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "not printed: chord symbols that are not one chord on notes from A to G" in done.stdout


def test_a_damaged_picture_beside_the_score_is_left_out_and_said(tmp_path: Path) -> None:
    done = _prepare("mxl_bad_picture.mxl", tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "img.png" in done.stdout
    (marked,) = tmp_path.glob("*_marked.mxl")
    with zipfile.ZipFile(marked) as archive:
        assert archive.testzip() is None


def test_text_in_two_pieces_is_read_whole() -> None:
    """`<duration>1<!--x-->2</duration>` is 12, not 1 (XML 1.0: comments are no text)."""
    path = HOSTILE / "comment_split_text.musicxml"
    whole = parse_document(Path("x"), path.read_bytes().replace(b"<!--x-->", b""))
    assert sectionprep.read(path).chart.lines == read_chart(whole).lines


def test_an_entity_is_refused_wherever_it_hides() -> None:
    """Without a declaration a later instruction hid the DOCTYPE from a search of the bytes, and the
    entity changed a note; the parser's own events see it (XML 1.0, 4.2)."""
    text = (HOSTILE / "beattype0.musicxml").read_text()
    hidden = (
        '<!DOCTYPE score-partwise [<!ENTITY s "G">]>\n<?x y?>\n' + text[text.index("<score-") :]
    )
    with pytest.raises(NotAScore, match="defines an entity"):
        parse_document(Path("x"), hidden.replace("<step>C", "<step>&s;", 1).encode())


def test_a_bar_of_thousands_of_notes_is_counted_before_it_is_engraved(tmp_path: Path) -> None:
    """5,000 notes in one bar were refused by time, after 43 s; what needs no engraving is made."""
    note = (
        "<note><pitch><step>C</step><octave>5</octave></pitch><duration>1</duration>"
        "<voice>1</voice><type>256th</type></note>"
    )
    first = "<attributes><divisions>500</divisions></attributes>"
    bars = f"<measure number='1'>{first}{note * 2000}</measure>"
    parts = "".join(f"<part id='P{n}'>{bars}</part>" for n in (1, 2))
    names = "".join(
        f"<score-part id='P{n}'><part-name>Alto Sax {n}</part-name></score-part>" for n in (1, 2)
    )
    (tmp_path / "a.musicxml").write_text(
        f"<score-partwise><part-list>{names}</part-list>{parts}</score-partwise>"
    )
    done = subprocess.run(
        [sys.executable, "-m", "sectionprep", "prepare", "a.musicxml", "-o", "out"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 9
    assert "Alto Sax 1: bar 1 holds 2,000 notes; up to 600 in a bar can be engraved" in done.stdout
    assert (tmp_path / "out" / "a_rehearsal.xlsx").exists()


@pytest.mark.parametrize("place", ["work-title", "words", "rehearsal", "part-name", "number"])
def test_a_text_of_megabytes_is_cut_where_it_is_read_and_said(place: str) -> None:
    """A title of 900 kB took minutes in `prepare`, words as many in the names of instruments."""
    text = (HOSTILE / "senza_misura_kills_prepare.musicxml").read_text()
    long, note = "word " * 180_000, text.index("<note")
    sign = f"<direction><direction-type><{place}>{long}</{place}></direction-type></direction>"
    changed = {
        "work-title": text.replace(
            "<part-list>", f"<work><work-title>{long}</work-title></work><part-list>"
        ),
        "part-name": text.replace("<part-name>", f"<part-name>{long}", 1),
        "number": text.replace('<measure number="1"', f'<measure number="{long}"', 1),
    }.get(place, text[:note] + sign + text[note:])
    document = parse_document(Path("x"), changed.encode())
    assert "of 900,0" in document.remark or "of 899,9" in document.remark
    assert document.remark.endswith("read as the first 2,000 letters")
    read = document.root.iter("*")
    assert max(len(t) for e in read for t in (e.text or "", *e.attrib.values())) == 2_000
    assert long in document.data.decode()


def test_a_long_text_in_pieces_is_cut_and_ordinary_files_are_not_searched() -> None:
    """Comments are no text (XML 1.0, 2.5): what stands between them is one text."""
    text = (HOSTILE / "beattype0.musicxml").read_text()
    pieces = text.replace("<part-name>", "<part-name>" + "word <!---->" * 1000, 1)
    assert "<part-name> of 5,0" in parse_document(Path("x"), pieces.encode()).remark
    assert parse_document(Path("x"), text.encode()).remark == ""


@pytest.mark.parametrize(
    "many",
    [
        "<attributes><key><fifths>1</fifths></key></attributes>"
        "<attributes><key><fifths>2</fifths></key></attributes>",
        "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>",
        "<direction><direction-type><words>a</words></direction-type></direction>",
    ],
)
def test_thousands_of_signs_at_one_place_are_counted_before_they_are_engraved(
    many: str, tmp_path: Path
) -> None:
    """8,000 key changes, chords or words at one place held `prepare` for 16 to over 100 s."""
    text = (HOSTILE / "beattype0.musicxml").read_text()
    note = text.index("<note")
    (tmp_path / "a.musicxml").write_text(text[:note] + many * 8_000 + text[note:])
    done = subprocess.run(
        [sys.executable, "-m", "sectionprep", "prepare", tmp_path / "a.musicxml", "-o", tmp_path],
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert "XML elements; up to 10,000 in a bar can be engraved" in done.stdout
    assert (done.returncode, done.stderr) == (9, "")
