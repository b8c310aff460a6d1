"""The evening: the commands as typed, over charts of different bands. Breaks when minutes do not
add up, when tired lips get no rest, when a rating of tonight does not move tomorrow, or when a
chart or a place vanishes without a word.

Common practice, no source: a soft warm-up first, a break in a long evening, never three things in a
row that tire the brass.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from build import part_xml, score_xml
from charts import plant_chart
from typer.testing import CliRunner

from sectionprep.cli import app
from sectionprep.errors import DestinationError, UnusableSettings
from sectionprep.evening.paper import TONIGHT, UNCOVERED


@pytest.fixture(scope="module")
def charts(tmp_path_factory: pytest.TempPathFactory, demo_path: Path) -> Path:
    folder = tmp_path_factory.mktemp("night")
    for seed in (3, 5):
        (folder / f"chart{seed}.musicxml").write_bytes(plant_chart(seed)[0])
    (folder / "demo.musicxml").write_bytes(demo_path.read_bytes())
    return folder


def _run(*words: object) -> dict[str, Any]:
    done = CliRunner().invoke(app, ["evening", *map(str, words), "--json"])
    assert done.exit_code == 0, done.output
    return dict(json.loads(done.stdout))


@pytest.mark.parametrize("minutes", [15, 45, 120, 240])
def test_the_minutes_add_up_and_lips_rest(charts: Path, tmp_path: Path, minutes: int) -> None:
    made = _run(charts, "-o", tmp_path, "--minutes", minutes)
    blocks = made["blocks"]
    assert sum(block["minutes"] for block in blocks) == minutes
    assert blocks[0]["what"].startswith("Warm-up")
    at = 0
    for block in blocks:
        assert block["at"] == at
        at += block["minutes"]
    heavy = [block["heavy"] for block in blocks]
    assert not any(all(heavy[n : n + 3]) for n in range(len(heavy) - 2))
    assert any(block["what"] == "Break" for block in blocks) == (minutes >= 100)
    titles = {block["chart"] for block in blocks if block["chart"]}
    told = " ".join(made["left_out"])
    for title in ("Late Tram Home", "Planted chart 3", "Planted chart 5"):
        assert title in titles or title in told


def test_a_set_list_keeps_its_order(charts: Path, tmp_path: Path) -> None:
    named = [charts / "demo.musicxml", charts / "chart5.musicxml", charts / "chart3.musicxml"]
    made = _run(*named, "-o", tmp_path, "--keep-order")
    order = dict.fromkeys(b["chart"] for b in made["blocks"][1:] if b["chart"])
    assert list(order) == ["Late Tram Home", "Planted chart 5", "Planted chart 3"]


def test_a_rating_of_tonight_moves_tomorrow(charts: Path, tmp_path: Path) -> None:
    """What was rated 5 is not taken again before what was not; ticks and notes of today stay."""
    first = _run(charts / "demo.musicxml", "-o", tmp_path, "--minutes", 60)
    best = next(block for block in first["blocks"] if block["what"].startswith("P"))
    (book,) = tmp_path.glob("evening_*.xlsx")
    workbook = openpyxl.load_workbook(book)
    sheet = workbook[TONIGHT]
    columns = {cell.value: cell.column for cell in sheet[2]}
    row = next(
        n
        for n in range(3, sheet.max_row + 1)
        if sheet.cell(n, columns["What"]).value == best["what"]
    )
    sheet.cell(row, columns["Rating 1-5"]).value = "5"
    sheet.cell(row, columns["Your note"]).value = "sits"
    workbook.save(book)
    again = _run(charts / "demo.musicxml", "-o", tmp_path, "--minutes", 60)
    places = [block["what"] for block in again["blocks"]]
    assert best["what"] not in places or places.index(best["what"]) > places.index(
        next(what for what in places if what.startswith("P") and what != best["what"])
    )
    tomorrow = _run(charts / "demo.musicxml", "-o", tmp_path, "--minutes", 200)
    assert next(b["rated"] for b in tomorrow["blocks"] if b["what"] == best["what"]) == 5
    sheet = openpyxl.load_workbook(book)[TONIGHT]
    notes = [sheet.cell(n, columns["Your note"]).value for n in range(3, sheet.max_row + 1)]
    assert "sits" in notes


def test_the_page_and_the_workbook(charts: Path, tmp_path: Path) -> None:
    from pypdf import PdfReader

    made = _run(charts, "-o", tmp_path, "--start", "9.05")
    assert made["blocks"][0]["time"] == "9:05"
    (page,) = tmp_path.glob("evening_*.pdf")
    pages = PdfReader(page).pages
    assert len(pages) == 1
    text = pages[0].extract_text()
    assert "Late Tram Home: bar 0 is the pick-up." in text
    for block in made["blocks"]:
        assert block["time"] in text
    late = [one for one in made["needed"] if one["words"]]
    assert all(one["part"] in text for one in late)


def test_slashes_and_chord_symbols_are_something_to_play(tmp_path: Path) -> None:
    """The guitar has slashes, the piano chord symbols over rests: both are needed in what all take
    and in the run, not while the saxes are alone. The vibes have nothing but rests: not named."""
    slash = "<notehead>slash</notehead>"
    chord = (
        "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"  # over a rest
    )
    sax = "C5/8 D5/8 E5/8 G5/8 A5/4 G5/4 r/8 E5/8 G5/8 A5/8 C6/4 A5/4 " * 4
    guitar = part_xml("B4/4 " * 4 * 8).replace("</type>", f"</type>{slash}")
    rests = part_xml("r/1 " * 8)
    parts = {
        "Alto Sax 1": part_xml(sax),
        "Alto Sax 2": part_xml(sax),
        "Guitar": guitar,
        "Piano": rests.replace("<note>", f"{chord}<note>", 1),
        "Vibraphone": rests,
    }
    chart = tmp_path / "a.musicxml"
    chart.write_bytes(score_xml(parts))
    made = _run(chart, "-o", tmp_path / "out", "--minutes", 60)
    needed = {one["part"]: one for one in made["needed"]}
    assert {"Guitar", "Piano"} <= set(needed)
    assert not any("Vib" in part for part in needed)
    alone = next(b for b in made["blocks"] if b["who"] == "saxes")
    run = next(b for b in made["blocks"] if b["who"] == "all" and b["at"] > alone["at"])
    assert needed["Guitar"]["from"] == run["time"]


def test_what_cannot_be_read_is_said_and_stops_nobody(charts: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.musicxml"
    bad.write_text("no score")
    words = ["evening", str(bad), str(charts / "demo.musicxml"), "-o", str(tmp_path / "out")]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 3, done.output
    assert "LEFT OUT" in done.output
    assert "bad.musicxml" in done.output
    assert next((tmp_path / "out").glob("evening_*.pdf")).is_file()
    for wrong in (["--start", "25:00"], ["--start", "soon"]):
        assert CliRunner().invoke(app, [*words[:3], *wrong, "-o", str(tmp_path)]).exit_code != 0
    empty = tmp_path / "empty"
    empty.mkdir()
    assert CliRunner().invoke(app, ["evening", str(empty), "-o", str(tmp_path)]).exit_code != 0


def test_a_folder_that_prepare_has_filled_is_a_chart(saxes_path: Path, tmp_path: Path) -> None:
    """With the ratings typed into its own workbook."""
    from sectionprep import preparing
    from sectionprep.outputs.workbook import tables
    from sectionprep.results import Options

    done = preparing.prepare(saxes_path, tmp_path / "made", Options())
    book = next(file for file in done.files if file.suffix == ".xlsx")
    workbook = openpyxl.load_workbook(book)
    sheet = workbook[tables.REHEARSAL]
    columns = {cell.value: cell.column for cell in sheet[2]}
    sheet.cell(3, columns["Rating 1-5"]).value = 4
    workbook.save(book)
    made = _run(tmp_path / "made", "-o", tmp_path / "out", "--minutes", 200)
    assert [b["rated"] for b in made["blocks"] if b["rated"]] == [4]


def test_who_is_missing_leaves_what_and_who_could_take_it(tmp_path: Path) -> None:
    """Two bars that Trumpet 1 has alone: Trumpet 2 rests and reads the same; the tenor has to
    transpose; the trombone does not reach the top note (its range: shared/instruments.toml)."""
    chart = tmp_path / "a.musicxml"
    solo = "C6/4 D6/4 E6/2 F6/4 E6/4 D6/2 "
    rest, other = "r/1 r/1 ", "C4/1 D4/1 "
    parts = {
        "Trumpet 1": part_xml(rest + solo + rest, transpose=(-1, -2)),
        "Trumpet 2": part_xml("E4/1 F4/1 " + rest + "E4/1 F4/1", transpose=(-1, -2)),
        "Tenor Sax 1": part_xml("A4/1 B4/1 " + rest + "A4/1 B4/1", transpose=(-8, -14)),
        "Trombone 1": part_xml(other + rest + other),
    }
    chart.write_bytes(score_xml(parts))
    roster = tmp_path / "roster.toml"
    roster.write_text('[[seat]]\npart = "Trumpet 1"\nplayer = "Robin"\n')
    made = _run(chart, "-o", tmp_path / "out", "--missing", "Robin", "--roster", roster)
    (gap,) = made["uncovered"]
    assert (gap["part"], gap["bars"]) == ("Trumpet 1", "3-4")
    assert "alone" in gap["what"]
    assert gap["takers"][0] == "Trumpet 2 (rests; reads it as it stands)"
    assert not any("Trombone" in taker for taker in gap["takers"])
    (book,) = (tmp_path / "out").glob("evening_*.xlsx")
    assert UNCOVERED in openpyxl.load_workbook(book).sheetnames
    words = ["evening", str(chart), "-o", str(tmp_path / "out"), "--missing", "Kazoo 3"]
    wrong = CliRunner().invoke(app, words)
    assert "knows 'Kazoo 3'" in str(wrong.exception)
    near = CliRunner().invoke(app, [*words[:4], "--missing", "trumpt 2"])
    assert "Did you mean Trumpet 2?" in str(near.exception)
    said = CliRunner().invoke(app, [*words[:4], "--missing", "Tenor Sax 1"]).output
    assert "Without Tenor Sax 1: " in said


def test_a_lead_that_is_missing_is_said_with_its_passages(charts: Path, tmp_path: Path) -> None:
    made = _run(charts / "demo.musicxml", "-o", tmp_path, "--missing", "Trumpet 1")
    led = [gap["bars"] for gap in made["uncovered"] if gap["what"].startswith("leads")]
    assert "44-50" in led
    takers = next(gap["takers"] for gap in made["uncovered"] if gap["bars"] == "44-50")
    assert takers[0].startswith("Trumpet 2 (moves up and leaves its own notes")


def test_a_melody_that_leads_no_passage_is_missed(tmp_path: Path) -> None:
    """A first violin over long notes of the others, every second of them doubled by pitch class: it
    was said that nothing is lost. The second could take it. A line of off-beats, struck alone, is
    missed too; a part of held notes that others have is not."""
    tune = "C6/4 E5/8 D5/8 F5/4 E5/4 G5/4 F5/8 E5/8 D5/4 C5/4 " * 3
    chart = tmp_path / "a.musicxml"
    parts = {
        "Violin 1": part_xml(tune),
        "Violin 2": part_xml("E4/1 D4/1 " * 3),
        "Viola": part_xml("r/8 C4/4 C4/4 C4/4 C4/8 " * 6),
        "Cello": part_xml("E3/1 D3/1 " * 3),
    }
    chart.write_bytes(score_xml(parts))
    said = {}
    for n, part in enumerate(parts):
        made = _run(chart, "-o", tmp_path / f"out{n}", "--missing", part)
        said[part] = [(gap["what"], gap["takers"]) for gap in made["uncovered"]]
    ((what, takers),) = said["Violin 1"]
    assert what == "has the top line"
    assert takers[0].startswith("Violin 2")
    assert [what for what, _ in said["Viola"]] == ["has a line that nobody else plays"]
    assert said["Cello"] == []


def test_nothing_of_anybody_elses_is_replaced(charts: Path, tmp_path: Path) -> None:
    """A workbook of today's name that is no evening, and one that is broken."""
    words = [charts / "demo.musicxml", "-o", tmp_path, "--minutes", 30]
    _run(*words)
    (book,) = tmp_path.glob("evening_*.xlsx")
    mine = openpyxl.Workbook()
    mine.save(book)
    kept = book.read_bytes()
    for data in (kept, b"junk"):
        book.write_bytes(data)
        done = CliRunner().invoke(app, ["evening", *map(str, words)])
        assert isinstance(done.exception, DestinationError | UnusableSettings)
        assert book.read_bytes() == data
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".sectionprep-making")]


def test_a_sheet_of_ones_own_is_kept(tmp_path: Path) -> None:
    """The same evening once more wrote over it without a word."""
    (tmp_path / "a.musicxml").write_bytes(score_xml({"Alto Sax 1": part_xml("C5/4 D5/4 E5/2")}))
    _run(tmp_path / "a.musicxml", "-o", tmp_path / "out")
    (path,) = (tmp_path / "out").glob("evening_*.xlsx")
    book = openpyxl.load_workbook(path)
    book.create_sheet("Bus times")["A1"] = "19:30"
    book.save(path)
    _run(tmp_path / "a.musicxml", "-o", tmp_path / "out")
    kept = openpyxl.load_workbook(path.with_stem(f"{path.stem}_kept"))
    assert kept["Bus times"]["A1"].value == "19:30"
    assert "Bus times" not in openpyxl.load_workbook(path).sheetnames


def test_every_name_that_is_missing_must_be_known(charts: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    words = ["evening", str(charts / "demo.musicxml"), "-o", str(out)]
    done = CliRunner().invoke(app, [*words, "--missing", "Trumpet 1", "--missing", "Kazoo"])
    assert "'Kazoo'" in str(done.exception)
    assert not out.exists()
