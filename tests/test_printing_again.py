"""Only what changed is printed again: the commands as a director types them."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from build import part_xml, score_xml, transposed
from openpyxl import load_workbook
from pypdf import PdfReader
from typer.testing import CliRunner

from sectionprep.cli.app import app
from sectionprep.outputs.workbook import tables

TUNE = "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8 E5/8 E5/4 D5/8 C5/8 B4/4 r/4 "
OTHER = "C3/4 E3/4 G3/4 A3/4 "


def _chart(path: Path, alto: str = TUNE * 3, bass: str = OTHER * 9) -> Path:
    parts = {
        "Alto Sax 1": alto,
        "Alto Sax 2": transposed(alto, -3),
        "Tenor Sax 1": transposed(alto, -7),
        "Bass": bass,
    }
    head = "<work><work-title>Night Tram</work-title></work>"
    path.write_bytes(score_xml({n: part_xml(p) for n, p in parts.items()}, head=head))
    return path


def _run(*words: object, code: int = 0) -> str:
    done = CliRunner().invoke(app, [str(word) for word in words])
    assert done.exit_code == code, done.output
    return done.output


def _sheets(folder: Path) -> dict[str, bytes]:
    return {path.stem: path.read_bytes() for path in (folder / "parts").glob("*.pdf")}


def _decide(workbook: Path) -> None:
    """Another mark for the first marked note of the saxes."""
    book = load_workbook(workbook)
    sheet = book[tables.MARKS]
    row = next(r for r in range(1, 20) if any(c.value == "Decision" for c in sheet[r]))
    heads = {cell.value: cell.column for cell in sheet[row]}
    for n in range(row + 1, sheet.max_row + 1):
        planned = str(sheet.cell(n, heads["Planned"]).value)
        if "accent" in planned:
            sheet.cell(n, heads["Change to"]).value = "tenuto"
            break
    book.save(workbook)


@pytest.fixture
def prepared(tmp_path: Path) -> tuple[Path, Path]:
    chart, folder = _chart(tmp_path / "tram.musicxml"), tmp_path / "out"
    _run("prepare", chart, "-o", folder)
    return chart, folder


def test_the_same_again_changes_no_sheet(prepared: tuple[Path, Path]) -> None:
    """Not even where the chart's file was copied and has another date."""
    chart, folder = prepared
    before = _sheets(folder)
    os.utime(chart, (1, 1))
    said = _run("prepare", chart, "-o", folder)
    assert "None of 4 sheets changed" in said
    assert _sheets(folder) == before
    assert not (folder / "sets" / "changed.pdf").exists()


def test_one_decision_changes_the_sheets_of_its_section(prepared: tuple[Path, Path]) -> None:
    chart, folder = prepared
    before = _sheets(folder)
    workbook = folder / "tram_rehearsal.xlsx"
    _decide(workbook)
    said = _run("prepare", chart, "-o", folder, "--decisions", workbook, "--show-changes")
    after = _sheets(folder)
    assert {name for name in after if after[name] != before[name]} == {
        "01_Alto_Sax_1",
        "02_Alto_Sax_2",
        "03_Tenor_Sax_1",
    }
    assert "3 of 4 sheets changed: Alto Sax 1, Alto Sax 2, Tenor Sax 1." in said
    changed = PdfReader(folder / "sets" / "changed.pdf")
    titles = [item.title for item in changed.outline]  # type: ignore[union-attr]
    assert titles == ["Alto Sax 1", "Alto Sax 2", "Tenor Sax 1"]
    words = changed.pages[0].extract_text()
    assert "bar in the margin: changed" in words
    assert re.search(r"version [0-9a-f]{6}", words)
    bass = PdfReader(folder / "parts" / "04_Bass.pdf").pages[0].extract_text()
    assert "bar in the margin" not in bass


def test_a_new_version_goes_on_from_the_old_folder(
    prepared: tuple[Path, Path], tmp_path: Path
) -> None:
    """Decisions and what was typed go on, other notes are listed by part and bar, and sheets that
    are as before are known."""
    _, folder = prepared
    workbook = folder / "tram_rehearsal.xlsx"
    _decide(workbook)
    newer = _chart(tmp_path / "tram2.musicxml", alto=TUNE * 2 + TUNE.replace("B4/4", "A4/4"))
    said = _run("prepare", newer, "-o", tmp_path / "new", "--before", folder)
    assert "Alto Sax 1: other notes in bar 9" in said
    assert "3 of 4 sheets changed" in said
    assert "decision not applied" not in said
    report = (tmp_path / "new" / "tram2_agreement.txt").read_text(encoding="utf-8")
    assert "SINCE THE OLDER VERSION" in report
    decided = load_workbook(tmp_path / "new" / "tram2_rehearsal.xlsx")[tables.MARKS]
    values = {cell.value for row in decided.iter_rows() for cell in row}
    assert "tenuto" in values
    assert _sheets(tmp_path / "new")["04_Bass"] == _sheets(folder)["04_Bass"]


def test_a_folder_without_an_earlier_run_is_named(tmp_path: Path) -> None:
    chart = _chart(tmp_path / "tram.musicxml")
    (tmp_path / "empty").mkdir()
    done = CliRunner().invoke(app, ["prepare", str(chart), "--before", str(tmp_path / "empty")])
    assert "holds no earlier run" in str(done.exception)


def test_two_different_charts_are_no_two_versions(tmp_path: Path) -> None:
    one = _chart(tmp_path / "a.musicxml")
    held = "G4/2 E4/2 C5/1 D5/2. F5/4 A4/2 B4/4 G4/4 " * 2 + "G4/1"
    other = _chart(tmp_path / "b.musicxml", alto=held, bass="G2/2 D3/2 " * 9)
    done = CliRunner().invoke(app, ["check", str(one), "--against", str(other)])
    assert "is another chart" in str(done.exception)
    assert _run("check", one, "--against", one)


def test_what_a_director_has_settled_is_not_asked_again_until_the_music_changes(
    tmp_path: Path,
) -> None:
    """ "Not a fault" in the sheet Agreement: gone from what to look at first, named as settled, and
    open again when the bar has other notes."""
    alto = TUNE * 3
    chart, folder = tmp_path / "tram.musicxml", tmp_path / "out"

    def write(wrong: str) -> None:
        parts = {
            "Alto Sax 1": alto,
            "Alto Sax 2": alto.replace("G5/4", wrong, 1),
            "Tenor Sax 1": transposed(alto, -12),
            "Bass": OTHER * 9,
        }
        chart.write_bytes(score_xml({n: part_xml(p) for n, p in parts.items()}))

    write("Ab5/4")
    said = _run("prepare", chart, "-o", folder)
    assert "Alto Sax 2: plays Ab5" in said
    workbook = folder / "tram_rehearsal.xlsx"
    book = load_workbook(workbook)
    sheet = book[tables.AGREEMENT]
    head = next(r for r in sheet.iter_rows(max_row=5) if any(c.value == "Status" for c in r))
    at = {cell.value: cell.column for cell in head}
    rows = range(head[0].row + 1, sheet.max_row + 1)
    row = next(n for n in rows if "plays Ab5" in str(sheet.cell(n, at["What"]).value))
    sheet.cell(row, at["Status"]).value = "not a fault"
    book.save(workbook)
    said = _run("prepare", chart, "-o", folder)
    assert "plays Ab5" not in said
    assert "Settled by you: 1 finding." in said
    start = load_workbook(workbook)[tables.START]
    words = [str(row[0]) for row in start.iter_rows(values_only=True)]
    assert any("plays Ab5" in line for line in words[words.index("Settled by you") :])
    write("A5/4")
    said = _run("prepare", chart, "-o", folder)
    assert "Alto Sax 2: plays A5" in said
    assert "Settled by you" not in said
