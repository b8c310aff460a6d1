"""A director's evening, story by story, with the commands as they are typed and the workbook filled
in as in a spreadsheet program. Breaks when something that a person decided is dropped, when it does
not reach every command, or when it moves something else the second time.

The charts are small and our own; works that others made are in `test_decided_twice.py`.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from build import part_xml, score_xml, transposed
from openpyxl.worksheet.worksheet import Worksheet
from pypdf import PdfReader
from typer.testing import CliRunner

from sectionprep import stages
from sectionprep.cli.app import app
from sectionprep.music.chart import Chart
from sectionprep.outputs.workbook import tables
from sectionprep.results import Options

TUNE = "r/8 D5/8 F5/8 A5/8 B5/4 A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8 E5/8 E5/4 D5/8 C5/8 B4/4 r/4 "
OTHER = "C3/4 E3/4 G3/4 A3/4 "
RHYTHM = "E2/2 B2/2 "
TEMPO = (
    "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>120"
    '</per-minute></metronome></direction-type><sound tempo="120"/></direction>'
)


def _chart(path: Path, alto: str = TUNE * 3, *, second: str = "", tempo: str = TEMPO) -> Path:
    parts = {
        "Alto Sax 1": part_xml(alto, first=tempo),
        "Alto Sax 2": part_xml(second or transposed(alto, -3)),
        "Tenor Sax 1": part_xml(transposed(alto, -12)),
        "Bass": part_xml(OTHER * 9),
    }
    head = "<work><work-title>Night Tram</work-title></work>"
    path.write_bytes(score_xml(parts, head=head))
    return path


def _run(*words: object, code: int = 0) -> str:
    done = CliRunner().invoke(app, [str(word) for word in words])
    said = f"{done.output}{done.exception or ''}"
    assert done.exit_code == code or code != 0 != done.exit_code, said
    return said


def _type(book: Path, sheet: str, cells: dict[str, Any], row: int = 3) -> None:
    """Fill cells of one row in by their headings."""
    workbook = openpyxl.load_workbook(book)
    columns = _columns(workbook[sheet])
    for heading, value in cells.items():
        workbook[sheet].cell(row, columns[heading]).value = value
    workbook.save(book)


def _columns(sheet: Worksheet) -> dict[str, int]:
    return {str(cell.value): int(cell.column or 0) for cell in sheet[2]}


def _cells(book: Path, sheet: str, heading: str) -> list[Any]:
    worksheet = openpyxl.load_workbook(book)[sheet]
    column = _columns(worksheet)[heading]
    return [worksheet.cell(n, column).value for n in range(3, worksheet.max_row + 1)]


def _row_of(book: Path, sheet: str, wanted: dict[str, str]) -> int:
    found = zip(*(_cells(book, sheet, heading) for heading in wanted), strict=True)
    values = tuple(wanted.values())
    return 3 + next(n for n, row in enumerate(found) if tuple(map(str, row)) == values)


def _own(book: Path, rows: Iterable[tuple[Any, ...]]) -> None:
    """Rows of "Your own decisions": part, bar, beat, to bar, to beat, what."""
    headings = ("Part", "Bar", "Beat", "To bar", "To beat", "What")
    for n, row in enumerate(rows, start=3):
        _type(book, tables.OWN, dict(zip(headings, row, strict=True)), n)


def _read(path: Path) -> Chart:
    return stages.read_score(path, Options()).chart


def _marks(chart: Chart, part: int, bar: str, beat: float) -> frozenset[str]:
    tick = chart.tick(chart.bars_by_number()[bar], Fraction(beat))
    return next(tone.marks for tone in chart.lines[part] if tone.onset == tick)


@pytest.fixture
def prepared(tmp_path: Path) -> tuple[Path, Path, Path]:
    """A chart, the folder that `prepare` made of it, and the workbook there."""
    chart, folder = _chart(tmp_path / "tram.musicxml"), tmp_path / "out"
    _run("prepare", chart, "-o", folder)
    return chart, folder, folder / "tram_rehearsal.xlsx"


def test_what_no_sheet_lists_is_decided_in_rows_and_stands(
    prepared: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    """A mark for the section by naming its last part, a dynamic, a hairpin from here to there, a
    breath, a cut-off, a bar like another, a note that the bass has alone. Given again nothing
    changes; nor on the marked score as a new master."""
    chart, folder, book = prepared
    rows = [
        ("Tenor Sax 1", 2, 2, None, None, "rooftop accent"),
        ("Alto Sax 1", 4, 1.5, None, None, "pp"),
        ("Alto Sax 1", 5, 1, 6, 4, "crescendo"),
        ("Alto Sax 2", 3, 3, None, None, "breath"),
        ("Alto Sax 1", 8, 2, None, None, "off"),
        ("Alto Sax 1", 7, None, None, None, "as bar 1"),
        ("Bass", 3, 3, None, None, "accent"),
    ]
    _own(book, rows)
    _run("prepare", chart, "-o", folder, "--decisions", book)
    came = _cells(book, tables.OWN, "What came of it")[: len(rows)]
    assert all(str(said).startswith("done") for said in came), came
    marked = _read(folder / "tram_marked.musicxml")
    for part in range(3):
        assert "strong-accent" in _marks(marked, part, "2", 2)
        assert "breath-mark" in _marks(marked, part, "3", 3)
        signs = [s.value for s in marked.signs(part, "wedge")]
        assert signs[:2] == ["crescendo", "stop"]
        assert "pp" in [s.value for s in marked.signs(part, "dynamic")]
    assert "accent" in _marks(marked, 3, "3", 3)
    said = _run("prepare", chart, "-o", folder, "--decisions", book)
    assert "None of 4 sheets changed" in said
    again = tmp_path / "again"
    _run("prepare", folder / "tram_marked.musicxml", "-o", again, "--decisions", book)
    (twice,) = again.glob("*_marked.musicxml")
    assert twice.read_bytes() == (folder / "tram_marked.musicxml").read_bytes()


def test_a_reading_is_chosen_in_one_cell_and_stands(
    prepared: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    chart, folder, book = prepared
    before = (folder / "tram_marked.musicxml").read_bytes()
    _type(book, tables.PASSAGES, {"Reading": "plainer"})
    _run("prepare", chart, "-o", folder, "--decisions", book)
    plainer = (folder / "tram_marked.musicxml").read_bytes()
    assert plainer.count(b"accent") < before.count(b"accent")
    _run("prepare", folder / "tram_marked.musicxml", "-o", tmp_path / "x", "--decisions", book)
    assert next((tmp_path / "x").glob("*_marked.musicxml")).read_bytes() == plainer


def test_all_bad_cells_are_named_at_once(prepared: tuple[Path, Path, Path]) -> None:
    chart, folder, book = prepared
    _own(book, [("Alto Sax 1", 2, 1, None, None, "louder"), ("Alto Sax 1", "", 1, "", "", "mf")])
    _type(book, tables.MARKS, {"Change to": "acent"})
    _type(book, tables.PASSAGES, {"Reading": "plainest"})
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*") if path != book}
    said = _run("prepare", chart, "-o", folder, "--decisions", book, code=7)
    for sheet, heading, row in (
        (tables.OWN, "What", 3),
        (tables.MARKS, "Change to", 3),
        (tables.PASSAGES, "Reading", 3),
    ):
        column = _columns(openpyxl.load_workbook(book)[sheet])[heading]
        cell = openpyxl.utils.get_column_letter(column) + str(row)  # type: ignore[attr-defined]
        assert sheet in said, said
        assert cell in said, said
    assert before == {path: path.stat().st_mtime_ns for path in folder.rglob("*") if path != book}


def test_leave_it_settles_what_was_found_there_until_the_music_changes(tmp_path: Path) -> None:
    """An accent in Alto 1 against a staccato in Alto 2 alone: "leave it" takes that out of what to
    look at first, in `prepare` and in `check`; other notes in the bar open it again."""
    first = (TUNE * 3).replace("G5/4", "G5/4>", 1)
    second = transposed(TUNE * 3, -3).replace("E5/4", "E5/4!", 1)
    chart, folder = _chart(tmp_path / "tram.musicxml", first, second=second), tmp_path / "out"
    said = _run("prepare", chart, "-o", folder, "--section", "add")
    assert "bar 2 beat 1, Alto Sax 2" in said
    book = folder / "tram_rehearsal.xlsx"
    row = _row_of(book, tables.MARKS, {"Bar": "2", "Beat": "1"})
    _type(book, tables.MARKS, {"Decision": "leave it"}, row)
    said = _run("prepare", chart, "-o", folder, "--section", "add", "--decisions", book)
    assert "Settled by you" in said
    assert "bar 2 beat 1" not in said.partition("Look at these first")[2].partition("Settled")[0]
    said = _run("check", chart, "--decisions", book)
    assert "Settled by you" in said
    newer = _chart(
        tmp_path / "tram2.musicxml",
        first.replace("A5/8 F5/8 G5/4>", "A5/8 E5/8 F5/4>"),
        second=second.replace("E5/4!", "D5/4!"),
    )
    said = _run("check", newer, "--decisions", book)
    assert "Settled by you" not in said
    assert "Alto Sax 2" in said


def test_not_a_fault_is_settled_on_the_marked_score_too(tmp_path: Path) -> None:
    wrong = (TUNE * 3).replace("G5/4", "Ab5/4", 1)
    chart, folder = _chart(tmp_path / "tram.musicxml", second=wrong), tmp_path / "out"
    assert "plays Ab5" in _run("prepare", chart, "-o", folder)
    book = folder / "tram_rehearsal.xlsx"
    said = _cells(book, tables.AGREEMENT, "What")
    row = 3 + next(n for n, words in enumerate(said) if "plays Ab5" in str(words))
    _type(book, tables.AGREEMENT, {"Status": "not a fault"}, row)
    for score in (chart, folder / "tram_marked.musicxml"):
        said = _run("prepare", score, "-o", tmp_path / score.stem, "--decisions", book)
        assert "Settled by you: 1 finding" in said
        assert "plays Ab5" not in said


def test_a_new_version_keeps_copies_ratings_ticks_and_notes(
    prepared: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    _, folder, book = prepared
    typed = {"Rating 1-5": 4, "Pass 1": "x", "Your note": "softer"}
    _type(book, tables.REHEARSAL, typed)
    _type(book, tables.PARTS, {"Copies": 3})
    _own(book, [("Alto Sax 1", 1, 2, None, None, "tenuto"), ("Alto Sax 1", 99, 1, "", "", "mf")])
    newer = _chart(tmp_path / "tram2.musicxml", TUNE * 2 + TUNE.replace("B4/4", "A4/4"))
    said = _run("prepare", newer, "-o", tmp_path / "new", "--before", folder)
    assert "Alto Sax 1: other notes in bar 9" in said
    assert "there is no bar 99" in said
    made = tmp_path / "new" / "tram2_rehearsal.xlsx"
    for heading, value in typed.items():
        assert str(value) in map(str, _cells(made, tables.REHEARSAL, heading)), heading
    assert _cells(made, tables.PARTS, "Copies")[0] == 3
    band = PdfReader(tmp_path / "new" / "sets" / "band.pdf")
    titles = [item.title for item in band.outline]  # type: ignore[union-attr]
    assert titles.count("Alto Sax 1") == 3
    marked = _read(tmp_path / "new" / "tram2_marked.musicxml")
    assert "tenuto" in _marks(marked, 0, "1", 2)


def test_the_roster_gives_copies_and_names_to_sheets_and_workbook(
    prepared: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    """Over the 1 that was filled in before there was a roster, not over what was typed."""
    chart, folder, book = prepared
    roster = tmp_path / "roster.toml"
    roster.write_text(
        '[[seat]]\npart = "Alto Sax 1"\nplayer = "Robin"\ncopies = 2\n'
        '[[seat]]\npart = "Alto Sax 2"\nplayer = "Sam"\ncopies = 2\n'
    )
    _type(book, tables.PARTS, {"Copies": 3}, 4)
    _run("prepare", chart, "-o", folder, "--roster", roster, "--decisions", book)
    assert _cells(book, tables.PARTS, "Copies")[:3] == [2, 3, 1]
    assert _cells(book, tables.PARTS, "Player")[:2] == ["Robin", "Sam"]
    page = PdfReader(folder / "parts" / "01_Alto_Sax_1.pdf").pages[0].extract_text()
    assert "Robin" in page


def test_every_command_takes_the_decisions(
    prepared: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    """`plan`, `mark`, `sheets` and `audition`: each with another result than without; `book` finds
    them among its own results."""
    chart, _, book = prepared
    _own(book, [("Alto Sax 1", 1, 2, None, None, "staccato, accent")])
    planned = [_run("plan", chart, "--json", *more) for more in ([], ["--decisions", book])]
    notes = [json.loads(text)["passages"][0]["notes"] for text in planned]
    decided = [next(n["marks"] for n in one if (n["bar"], n["beat"]) == ("1", 2)) for one in notes]
    assert decided[1] == ["accent", "staccato"] != decided[0]
    for name, more in (("without", []), ("with", ["--decisions", book])):
        _run("mark", chart, "-o", tmp_path / f"{name}.musicxml", *more)
        _run("audition", chart, "-o", tmp_path / name, "--passage", "P1", *more)
    marked = _read(tmp_path / "with.musicxml")
    assert _marks(marked, 1, "1", 2) == {"staccato", "accent"}
    sounds = [sorted((tmp_path / name).rglob("*.mid")) for name in ("without", "with")]
    assert [p.name for p in sounds[0]] == [p.name for p in sounds[1]] != []
    assert any(a.read_bytes() != b.read_bytes() for a, b in zip(*sounds, strict=True))
    charts, results = tmp_path / "charts", tmp_path / "results"
    charts.mkdir()
    _chart(charts / "tram.musicxml")
    (charts / "tram_rehearsal.xlsx").write_bytes(book.read_bytes())
    _run("book", charts, "-o", results)
    (made,) = results.rglob("tram_marked.musicxml")
    assert _marks(_read(made), 2, "1", 2) == {"staccato", "accent"}


def test_one_house_for_all_charts_of_the_band(tmp_path: Path) -> None:
    house = tmp_path / "house.toml"
    house.write_text('[house]\nstyle = "funk"\nhabits = ["off-beat tops: rooftop accent"]\n')
    for n, alto in enumerate((TUNE * 3, (TUNE * 2) + TUNE.replace("B5/4", "C6/4"))):
        chart = _chart(tmp_path / f"chart{n}.musicxml", alto)
        said = json.loads(_run("plan", chart, "--json", "--house", house))
        assert said["style"] == "funk"


def test_words_are_taken_as_help_prints_them_and_near_misses_are_suggested(tmp_path: Path) -> None:
    chart = _chart(tmp_path / "tram.musicxml", tempo="")
    for style in ("bossa", "Bossa Nova", "MEDIUM-SWING", "medium swing", "Up-Tempo"):
        assert _run("plan", chart, "--style", style)
    assert "Did you mean bossa" in _run("plan", chart, "--style", "bosa", code=2)
    assert "Did you mean letter" in _run("sheets", chart, "--paper", "Leter", code=2)
    assert "'evening'" in _run("evenning", chart, code=2)
    said = _run("prepare", chart, "-o", tmp_path / "a")
    assert "beats a minute assumed" in said
    assert "--bpm" in said
    said = _run("prepare", chart, "-o", tmp_path / "b", "--bpm", 96)
    assert "assumed" not in said
    start = openpyxl.load_workbook(tmp_path / "b" / "tram_rehearsal.xlsx")[tables.START]
    assert "96 beats per minute" in str(start["A2"].value)


def test_look_first_holds_five_at_most_and_what_was_taken_out(demo_path: Path) -> None:
    """`check` of the demo with its planted faults: wrong notes first, one screen."""
    said = _run("check", demo_path).splitlines()
    assert len(said) <= 40
    assert said[1] == "Notes and rhythms"


def test_the_screen_after_prepare(tmp_path: Path) -> None:
    wrong = (TUNE * 3).replace("G5/4", "Ab5/4", 1)
    said = _run("prepare", _chart(tmp_path / "t.musicxml", second=wrong), "-o", tmp_path / "o")
    block = said.partition("Look at these first:\n")[2].splitlines()
    listed = [line for line in block if line.startswith("  bar")]
    assert 1 <= len(listed) <= 5
    assert "plays Ab5" in listed[0]
    assert block[len(listed)].strip() == "Taken out: 0 printed marks. Not printed: 0 parts."


def test_two_evenings_at_once_into_one_folder(tmp_path: Path) -> None:
    """Two runs of the command, each a process, in a folder in which an evening was rated: both
    end, the history has the rating once, and `rehearsed` writes it as a workbook."""
    chart, night = _chart(tmp_path / "tram.musicxml"), tmp_path / "night"
    _run("evening", chart, "-o", night, "--minutes", 30)
    (book,) = night.glob("evening_*.xlsx")
    made = json.loads(_run("evening", chart, "-o", night, "--minutes", 30, "--json"))
    place = next(b["what"] for b in made["blocks"] if b["what"].startswith("P"))
    workbook = openpyxl.load_workbook(book)
    sheet = workbook.worksheets[0]
    columns = _columns(sheet)
    row = next(n for n in range(3, 20) if sheet.cell(n, columns["What"]).value == place)
    sheet.cell(row, columns["Rating 1-5"]).value = 3
    workbook.save(book)
    words = [sys.executable, "-m", "sectionprep", "evening", str(chart), "-o", str(night)]
    both = [subprocess.Popen([*words, "--minutes", "30"], stdout=-3, stderr=-3) for _ in range(2)]
    codes = sorted(one.wait(timeout=300) for one in both)
    assert codes[0] == 0
    told = json.loads(_run("rehearsed", night, "--json"))["rehearsed"]
    assert [one["rating"] for one in told] == [3]
    rated = openpyxl.load_workbook(night / "rehearsed.xlsx")
    assert len(rated.worksheets) == 2
