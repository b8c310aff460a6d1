"""A part that is not printed, or not as the file has it, is said first: on screen, in the report,
the workbook, the book's record; and the exit code says so."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import hard_parts
import openpyxl
import pytest
from build import part_xml, score_xml

from sectionprep import cli
from sectionprep.drawing.engraver.toolkit import EngravingFailed
from sectionprep.errors import NOT_PRINTED_EXIT_CODE
from sectionprep.library import book
from sectionprep.outputs.parts import laying_out
from sectionprep.results import Options

TUNE = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4"


@pytest.fixture
def good(tmp_path: Path) -> Path:
    path = tmp_path / "good.musicxml"
    path.write_bytes(score_xml({"Alto Sax 1": part_xml(TUNE), "Alto Sax 2": part_xml(TUNE)}))
    return path


@pytest.fixture
def odd(tmp_path: Path) -> Path:
    """Bars 1 and 2 cannot be drawn as the file has them."""
    path = tmp_path / "odd.musicxml"
    path.write_bytes(hard_parts.HOPELESS)
    return path


@pytest.fixture
def alto_2_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """The engraver gives up over Alto Sax 2, however it is told."""
    real = laying_out.measure

    def measure(part: bytes, **given: Any) -> Any:
        if given["where"] == "Alto Sax 2":
            raise EngravingFailed(
                "it cannot be drawn.", where="Alto Sax 2", remedy="Check the score."
            )
        return real(part, **given)

    monkeypatch.setattr(laying_out, "measure", measure)


def _run(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *arguments: str | Path
) -> tuple[int, list[str]]:
    monkeypatch.setattr("sys.argv", ["sectionprep", *map(str, arguments)])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    return int(ended.value.code or 0), capsys.readouterr().out.splitlines()


def test_where_all_is_well_the_workbook_says_so_and_the_code_is_0(
    good: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, _ = _run(capsys, monkeypatch, "prepare", good, "-o", tmp_path / "out")
    assert code == 0
    said = _first_sheet(tmp_path / "out" / "good_rehearsal.xlsx")
    assert any(
        "All 2 parts are printed; each of their 30 note heads was compared with the file." in line
        for line in said
    )
    report = (tmp_path / "out" / "good_agreement.txt").read_text()
    assert "THE SHEETS\n\n  All 2 parts are printed" in report


def _first_sheet(path: Path) -> list[str]:
    workbook = openpyxl.load_workbook(path)
    assert workbook.sheetnames[:2] == ["Start here", "Passages"]
    return [
        str(row[0].value) for row in workbook["Start here"].iter_rows(max_col=1) if row[0].value
    ]


def test_bars_not_as_the_file_has_them(
    odd: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, lines = _run(capsys, monkeypatch, "prepare", odd, "-o", tmp_path / "out")
    assert code == NOT_PRINTED_EXIT_CODE == 9
    assert lines[0].startswith("NOT AS THE FILE HAS IT: Piano, bar 1: the note C7 is read as C")
    assert lines[1].startswith("NOT AS THE FILE HAS IT: Piano, bar 2: ")
    report = (tmp_path / "out" / "odd_agreement.txt").read_text().splitlines()
    assert report[2] == "THE SHEETS"
    assert report[4].startswith("  Not as the file has it: Piano, bar 1: the note C7 is read as C")
    assert (
        "Not drawn as the file has it, check against the score: Piano bars 1, 2."
        in _first_sheet(tmp_path / "out" / "odd_rehearsal.xlsx")
    )
    code, lines = _run(capsys, monkeypatch, "sheets", odd, "-o", tmp_path / "parts")
    assert code == 9
    assert lines[0].startswith("NOT AS THE FILE HAS IT: Piano, bar 1")


@pytest.mark.usefixtures("alto_2_fails")
def test_a_part_that_is_not_printed(
    good: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, lines = _run(capsys, monkeypatch, "prepare", good, "-o", tmp_path / "out")
    assert code == 9
    assert lines[0] == "NOT PRINTED: Alto Sax 2: it cannot be drawn. Check the score."
    assert [p.name for p in (tmp_path / "out" / "parts").iterdir()] == ["01_Alto_Sax_1.pdf"]
    assert "NOT PRINTED: Alto Sax 2." in _first_sheet(tmp_path / "out" / "good_rehearsal.xlsx")
    parts = openpyxl.load_workbook(tmp_path / "out" / "good_rehearsal.xlsx")["Parts"]
    assert [row[3].value for row in parts.iter_rows(min_row=3) if row[0].value] == [
        None,
        "NOT PRINTED",
    ]
    assert (
        (tmp_path / "out" / "good_agreement.txt")
        .read_text()
        .splitlines()[4]
        .startswith("  NOT PRINTED: Alto Sax 2")
    )


@pytest.mark.usefixtures("alto_2_fails")
def test_a_books_record_says_so_and_goes_on_saying_so(
    good: Path,
    odd: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from sectionprep.library import all_charts, one_chart

    monkeypatch.setattr(
        all_charts, "spread", lambda jobs, _: (one_chart.prepare_for_book(*job) for job in jobs)
    )
    folder = tmp_path / "library"
    folder.mkdir()
    for path in (good, odd):
        path.rename(folder / path.name)
    for status in ("done", "unchanged"):
        results = {r.name: r for r in book(folder, tmp_path / "out", Options())}
        assert results["good.musicxml"].outcome == f"{status}, 1 part not printed"
        assert results["odd.musicxml"].outcome == f"{status}, 2 bars not as the file has them"
    charts = openpyxl.load_workbook(tmp_path / "out" / "book.xlsx")["Charts"]
    assert [row[2].value for row in charts.iter_rows(min_row=2)] == [
        "unchanged, 1 part not printed",
        "unchanged, 2 bars not as the file has them",
    ]
    assert any(
        "1 part not printed" in line
        for line in _run(capsys, monkeypatch, "book", folder, "-o", tmp_path / "out")[1]
    )
    record = json.loads(next((tmp_path / "out").glob("good_*/result.json")).read_text())
    assert record["wrong_sheets"] == ["Alto Sax 2: it cannot be drawn. Check the score."]
    assert _run(capsys, monkeypatch, "book", folder, "-o", tmp_path / "out")[0] == 9
