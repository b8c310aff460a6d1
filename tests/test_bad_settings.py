"""Plans, rosters and workbooks that hang, explode or mean nothing are refused in one line, with
the code for settings that cannot be used; what is only unusual is read."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import openpyxl
import pytest
from build import part_xml, score_xml
from openpyxl.chart import BarChart

from sectionprep.errors import UnusableSettings
from sectionprep.music.roster import read_roster
from sectionprep.outputs.workbook import read_typed, tables
from sectionprep.phrasing.director_words import parse_beat
from sectionprep.phrasing.plan_file import read_plan


def _written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "x.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_byte_order_mark_is_no_error(tmp_path: Path) -> None:
    assert read_plan(_written(tmp_path, '\ufeff[house]\nstyle = "funk"\n')).style == "funk"


PLANS = {
    "house = 5": "house: must be a table, and is a whole number",
    "passage = 5": "double brackets",
    "passage = [5]": "passage 1: must be a table",
    '[[passage]]\nlead = "A"\nLines = ["1 1 | G5 | accent"]': "does not know 'Lines'",
    '[[passage]]\nlead = "A"\nlines = ["1 1e999999999 | G5 | accent"]': "no bar and beat",
    '[[passage]]\nlead = "A"\nlines = ["1 1 | | accent", "1 2 | | f", "1 1 | | plain"]': (
        "passage ?, line 3: says something else of the note of line 1"
    ),
    "x = " + "[" * 1000 + "]" * 1000: "nested more than",
    "x = " + "9" * 5000: "not valid TOML",
    "x = 1e300": "too large at 'x'",
    "x = nan": "too large at 'x'",
    "x = 2020-01-01": "a date or a time at 'x'",
    "a.b.c.d.e.f.g.h = 1": "nested more than",
}


@pytest.mark.parametrize("text", PLANS)
def test_a_plan_that_means_nothing_is_refused(text: str, tmp_path: Path) -> None:
    with pytest.raises(UnusableSettings) as refused:
        read_plan(_written(tmp_path, text))
    assert PLANS[text] in str(refused.value)
    assert str(refused.value).startswith(str(tmp_path))


@pytest.mark.parametrize(
    "text", ["seat = 5", "lead = 'x y'\nseat = 3", "[seat]\npart='A'", "seat = [5]", "x = 1.5"]
)
def test_a_roster_of_wrong_kinds_is_refused(text: str, tmp_path: Path) -> None:
    with pytest.raises(UnusableSettings):
        read_roster(_written(tmp_path, text))


@pytest.mark.parametrize("text", ["9" * 6000, "1e999999999", "\u00b2", "1/" + "7" * 5000])
def test_numbers_beyond_measure_are_no_beats(text: str) -> None:
    assert parse_beat(text) is None


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no such pipes")
@pytest.mark.parametrize("read", [read_plan, read_roster, read_typed])
def test_a_pipe_is_not_waited_for(read: object, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(UnusableSettings, match="no ordinary file"):
        read(tmp_path / "pipe")  # type: ignore[operator]


def _workbook(path: Path) -> Path:
    book = openpyxl.Workbook()
    book.save(path)
    return path


def _with_member(path: Path, name: str, text: bytes) -> Path:
    """The workbook with one member exchanged."""
    _workbook(path)
    with zipfile.ZipFile(path) as archive:
        members = {info: archive.read(info) for info in archive.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for member, data in (members | {name: text}).items():
            archive.writestr(member, data)
    return path


SHEET = "xl/worksheets/sheet1.xml"
BOMB = b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">]><worksheet>&b;</worksheet>'


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        (SHEET, BOMB, "sheet1.xml: declares a document type"),
        (SHEET, BOMB.decode().encode("utf-16"), "sheet1.xml: declares a document type"),
        (SHEET, b"<worksheet><sheetData>", "sheet1.xml: is damaged"),
        (SHEET, b"<a>" + b" " * 70_000_000 + b"</a>", "unpacks to more than"),
        ("xl/styles.xml", b"<styleSheet/>", "cannot be opened as a workbook|none of the sheets"),
        ("xl/workbook.xml", b"<x/>", "cannot be opened as a workbook|none of the sheets"),
    ],
)
def test_a_workbook_made_to_explode_is_refused_by_its_sheet(
    name: str, text: bytes, said: str, tmp_path: Path
) -> None:
    with pytest.raises(UnusableSettings, match=said):
        read_typed(_with_member(tmp_path / "w.xlsx", name, text))


def test_a_stray_cell_in_the_last_row_names_its_sheet(tmp_path: Path) -> None:
    """Reading all rows up to it took 3 GB and 70 s."""
    book = openpyxl.Workbook()
    book.create_sheet("Far").cell(1_048_576, 1).value = " "
    book.save(tmp_path / "w.xlsx")
    with pytest.raises(UnusableSettings, match='sheet "Far": its table reaches to row 1,048,576'):
        read_typed(tmp_path / "w.xlsx")


def test_a_sheet_of_ours_that_is_a_diagram_is_refused(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.create_chartsheet(tables.MARKS).add_chart(BarChart())
    book.save(tmp_path / "w.xlsx")
    with pytest.raises(UnusableSettings, match=r"is a picture of a diagram|as a workbook"):
        read_typed(tmp_path / "w.xlsx")


@pytest.mark.parametrize("command", ["passages", "plan", "check", "mark", "sheets", "audition"])
def test_a_part_that_a_roster_misspells_is_said(command: str, tmp_path: Path) -> None:
    """Only `prepare` said so; everywhere else the line was dropped in silence."""
    chart, roster = tmp_path / "a.musicxml", tmp_path / "who.toml"
    chart.write_bytes(score_xml({"Trumpet 1": part_xml("C5/1 D5/1")}))
    roster.write_text('[[seat]]\npart = "Trumpt 1"\nnumber = 1\n')
    to = {"mark": ["-o", "m.musicxml"], "sheets": ["-o", "out"], "audition": ["-o", "out"]}
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "sectionprep",
            command,
            chart,
            "--roster",
            roster,
            *to.get(command, []),
        ],
        cwd=tmp_path,
        capture_output=True,
        text=True,
    )
    assert "roster: a seat for Trumpt 1: " in done.stderr + done.stdout
    assert done.returncode == 0
