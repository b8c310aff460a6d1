"""What was rehearsed when: the commands as typed. Breaks when an evening counts twice or is lost,
when what was done weeks ago weighs like last night, when two runs at once lose a line, or when a
broken history stands in the way of anything.

Published facts held here: a transaction of SQLite is whole or not there after a kill (sqlite.org,
"Atomic Commit In SQLite"), tried by killing.
"""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from typer.testing import CliRunner

from sectionprep.cli import app
from sectionprep.errors import DestinationError, UnreadableFile
from sectionprep.evening.history import FILE, Entry, faded, pasts, remembered
from sectionprep.evening.paper import DONE, NOTE, RATING, TONIGHT
from sectionprep.evening.told import BOOK, BY_EVENING, BY_PLACE

TODAY = date.today()


@pytest.fixture(scope="module")
def chart(tmp_path_factory: pytest.TempPathFactory, saxes_path: Path) -> Path:
    path = tmp_path_factory.mktemp("history") / "tune.musicxml"
    path.write_bytes(saxes_path.read_bytes())
    return path


def _evening(chart: Path, folder: Path) -> dict[str, Any]:
    words = ["evening", chart, "-o", folder, "--minutes", 60, "--json"]
    done = CliRunner().invoke(app, list(map(str, words)))
    assert done.exit_code == 0, done.output
    return dict(json.loads(done.stdout))


def _rehearsed(folder: Path) -> list[dict[str, Any]]:
    done = CliRunner().invoke(app, ["rehearsed", str(folder), "--json"])
    assert done.exit_code == 0, done.output
    return list(json.loads(done.stdout)["rehearsed"])


def _type(book: Path, what: str, **cells: object) -> None:
    """Type into the line of an evening's workbook, as a person would."""
    workbook = openpyxl.load_workbook(book)
    sheet = workbook[TONIGHT]
    columns = {cell.value: cell.column for cell in sheet[2]}
    (row,) = (
        n
        for n in range(3, sheet.max_row + 1)
        if sheet.cell(n, columns["What"]).value == what
    )  # fmt: skip
    for heading, value in cells.items():
        sheet.cell(
            row, columns[{"done": DONE, "rating": RATING, "note": NOTE}[heading]]
        ).value = value
    workbook.save(book)


def _of_day(book: Path, days_ago: int) -> Path:
    """The workbook as if its evening had been so many days ago."""
    day = TODAY - timedelta(days=days_ago)
    workbook = openpyxl.load_workbook(book)
    workbook.properties.subject = day.isoformat()
    workbook.save(book)
    return book.rename(book.with_name(f"evening_{day:%Y-%m-%d}.xlsx"))


def _place(made: dict[str, Any]) -> dict[str, Any]:
    return dict(max((b for b in made["blocks"] if b["what"].startswith("P")), key=_minutes))


def _minutes(block: dict[str, Any]) -> int:
    return int(block["minutes"])


def test_evenings_are_remembered_when_their_workbooks_are_gone(chart: Path, tmp_path: Path) -> None:
    first = _place(_evening(chart, tmp_path))
    (book,) = tmp_path.glob("evening_*.xlsx")
    _type(book, first["what"], done="x", rating=5, note="sits")
    old = _of_day(book, 7)
    assert [(one["day"], one["rating"]) for one in _rehearsed(tmp_path)] == [
        ((TODAY - timedelta(days=7)).isoformat(), 5)
    ]
    old.unlink()
    (line,) = _rehearsed(tmp_path)
    assert (line["what"], line["note"], line["done"]) == (first["what"], "sits", True)
    again = [b for b in _evening(chart, tmp_path)["blocks"] if b["what"] == first["what"]]
    assert not again or "rated 5 last time" in again[0]["why"]
    assert not again or again[0]["minutes"] < first["minutes"]


def test_an_evening_counts_once_however_often_it_is_read(chart: Path, tmp_path: Path) -> None:
    """Also as a copy under another name, and when the evening is made again the same day."""
    _evening(chart, tmp_path)
    run = "Run it without stopping"
    (book,) = tmp_path.glob("evening_*.xlsx")
    _type(book, run, done="x", rating=4)
    _evening(chart, tmp_path)
    (tmp_path / "evening_copy of mine.xlsx").write_bytes(book.read_bytes())
    for _ in range(2):
        assert [(one["what"], one["rating"]) for one in _rehearsed(tmp_path)] == [(run, 4)]
    (tmp_path / "evening_copy of mine.xlsx").unlink()
    _type(book, run, done=None, rating=None)
    done = CliRunner().invoke(app, ["rehearsed", str(tmp_path)])
    assert isinstance(done.exception, UnreadableFile), "what was taken back is still there"


def test_a_workbook_lost_on_its_own_day_gets_its_ticks_back(chart: Path, tmp_path: Path) -> None:
    place = _place(_evening(chart, tmp_path))
    (book,) = tmp_path.glob("evening_*.xlsx")
    _type(book, place["what"], done="x", rating=2, note="slower")
    _rehearsed(tmp_path)
    book.unlink()
    _evening(chart, tmp_path)
    assert [(one["rating"], one["note"]) for one in _rehearsed(tmp_path)] == [(2, "slower")]


def test_what_was_won_fades_and_the_latest_rating_counts() -> None:
    def line(days_ago: int, **more: Any) -> Entry:
        return Entry(day=TODAY - timedelta(days=days_ago), line="a|P1", **more)

    known = pasts([line(60, rating=2), line(30, rating=5), line(1, done=True)], TODAY)["a|P1"]
    assert (known.times, known.rating, known.age) == (3, 5, 30)
    assert known.last == TODAY - timedelta(days=1)
    fresh = pasts([line(0, rating=5)], TODAY)["a|P1"].left
    old = pasts([line(28, rating=5)], TODAY)["a|P1"].left
    assert fresh == pytest.approx(0.1)
    assert old == pytest.approx(0.55)
    assert faded(1.4, 0) > faded(1.4, 28) > 1, "what went badly is not remembered for ever either"
    assert pasts([line(-3, rating=5)], TODAY)["a|P1"].left == pytest.approx(0.1), "a wrong clock"


def test_dates_move_the_order(chart: Path, tmp_path: Path) -> None:
    """The same rating takes more from a place when it was given last night than long ago."""
    place = _place(_evening(chart, tmp_path))
    (book,) = tmp_path.glob("evening_*.xlsx")
    _type(book, place["what"], rating=4)
    lengths = {}
    for days_ago in (1, 200):
        book = _of_day(book, days_ago)
        (tmp_path / FILE).unlink(missing_ok=True)
        for today in tmp_path.glob(f"evening_{TODAY:%Y-%m-%d}.*"):
            today.unlink()
        made = _evening(chart, tmp_path)
        lengths[days_ago] = sum(b["minutes"] for b in made["blocks"] if b["what"] == place["what"])
    assert lengths[1] < lengths[200]


def test_the_workbook_tells_evenings_and_places(chart: Path, tmp_path: Path) -> None:
    made = _evening(chart, tmp_path)
    (book,) = tmp_path.glob("evening_*.xlsx")
    _type(book, _place(made)["what"], done="x", rating=3)
    _type(book, "Run it without stopping", done="x", note="=1+1")
    _of_day(book, 2)
    assert len(_rehearsed(tmp_path)) == 2
    told = openpyxl.load_workbook(tmp_path / BOOK)
    rows = list(told[BY_EVENING].iter_rows(min_row=3, values_only=True))
    assert {row[0] for row in rows} == {(TODAY - timedelta(days=2)).isoformat()}
    assert {row[6] for row in rows} == {None, "=1+1"}
    assert all(cell.data_type != "f" for row in told[BY_EVENING].iter_rows() for cell in row)
    places = list(told[BY_PLACE].iter_rows(min_row=3, values_only=True))
    assert sorted(row[3] for row in places) == [1, 1]
    edited = openpyxl.load_workbook(tmp_path / BOOK)
    edited[BY_PLACE]["A1"] = "mine"
    edited.save(tmp_path / BOOK)
    done = CliRunner().invoke(app, ["rehearsed", str(tmp_path)])
    assert isinstance(done.exception, DestinationError), "a workbook that somebody edited is kept"


@pytest.mark.parametrize("kind", ["junk", "cut", "folder", "other", "newer", "empty", "odd rows"])
def test_a_broken_history_is_said_and_never_in_the_way(
    chart: Path, tmp_path: Path, kind: str
) -> None:
    """What was typed into the workbooks that are there counts all the same."""
    place = _place(_evening(chart, tmp_path))
    (book,) = tmp_path.glob("evening_*.xlsx")
    _type(book, place["what"], rating=4)
    _rehearsed(tmp_path)
    path = tmp_path / FILE
    kept = path.read_bytes()
    _spoil(path, kind)
    spoilt = None if kind == "folder" else path.read_bytes()
    made = _evening(chart, tmp_path)
    assert [b["rated"] for b in _evening(chart, tmp_path)["blocks"] if b["rated"]] in ([4], [])
    assert [one["rating"] for one in _rehearsed(tmp_path) if one["line"] != "odd"] == [4]
    if kind in ("junk", "cut"):
        assert any("kept as rehearsed.broken.sqlite" in note for note in made["notes"])
        assert (tmp_path / "rehearsed.broken.sqlite").read_bytes() == spoilt
        assert not _evening(chart, tmp_path)["notes"], "said once"
    elif kind in ("folder", "other", "newer"):
        assert any(FILE in note for note in made["notes"])
        assert path.is_dir() or path.read_bytes() == spoilt != kept
    else:
        assert not made["notes"]


def _spoil(path: Path, kind: str) -> None:
    data = path.read_bytes()
    if kind == "junk":
        path.write_bytes(b"this is no database " * 99)
    elif kind == "cut":
        path.write_bytes(data[:1500] + b"\xff" * (len(data) - 1500))
    elif kind == "empty":
        path.write_bytes(b"")
    elif kind == "folder":
        path.unlink()
        path.mkdir()
    else:
        statements = {
            "other": ["PRAGMA application_id = 7", "CREATE TABLE recipes (a)"],
            "newer": ["PRAGMA user_version = 99"],
            "odd rows": [
                "INSERT INTO rehearsed VALUES ('soon', 'a', 1, 2, 3, 'x', 'five', x'ff')",
                "INSERT INTO rehearsed VALUES ('2020-01-01', 'odd', x'ff', '', '', 1, 77, NULL)",
            ],
        }[kind]
        memory = sqlite3.connect(path)
        for statement in statements:
            memory.execute(statement)
        memory.commit()
        memory.close()


def test_no_chart_needs_the_history(chart: Path, tmp_path: Path) -> None:
    """`prepare` into a folder with a broken one does not even look at it."""
    (tmp_path / FILE).write_bytes(b"junk")
    words = ["check", str(chart)]
    assert CliRunner().invoke(app, words).exit_code == 0
    assert (tmp_path / FILE).read_bytes() == b"junk"
    code = "import sys, sectionprep.preparing; assert 'sqlite3' not in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)


_WRITER = """
import sys
from datetime import date
from pathlib import Path
from sectionprep.evening.history import Entry, remembered
folder, year = Path(sys.argv[1]), int(sys.argv[2])
print("ready", flush=True)
for n in range(int(sys.argv[3])):
    day = date(year, 1 + n % 12, 1 + n // 12)
    remembered(folder, {day: [Entry(day=day, line="a|P1", rating=3)] * 1}, sys.exit)
"""


def _writer(folder: Path, year: int, times: int) -> subprocess.Popen[bytes]:
    words = [sys.executable, "-c", _WRITER, str(folder), str(year), str(times)]
    return subprocess.Popen(words, stdout=subprocess.PIPE)


def test_runs_at_once_lose_nothing(tmp_path: Path) -> None:
    """Four processes, fifty evenings each, into one file that none of them has made before."""
    writers = [_writer(tmp_path, 2001 + n, 50) for n in range(4)]
    for writer in writers:
        writer.communicate(timeout=120)
        assert writer.returncode == 0
    said: list[str] = []
    assert len(remembered(tmp_path, {}, said.append)) == 200
    assert not said


def test_a_run_killed_anywhere_leaves_what_was_there(tmp_path: Path) -> None:
    for n in range(8):
        with _writer(tmp_path, 2001 + n, 300) as writer:
            assert writer.stdout is not None
            writer.stdout.readline()
            try:
                writer.wait(timeout=0.01 + 0.02 * n)
            except subprocess.TimeoutExpired:
                os.kill(writer.pid, signal.SIGKILL)
        said: list[str] = []
        found = remembered(tmp_path, {}, said.append)
        assert not said
        years = [line for line in found if line.day.year == 2001 + n]
        days = [date(2001 + n, 1 + k % 12, 1 + k // 12) for k in range(300)]
        assert {line.day for line in years} == set(days[: len(years)]), "evenings before the kill"


def test_a_long_wait_ends_with_a_word(
    chart: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sectionprep.evening.history._WAIT", 0.05)
    place = _place(_evening(chart, tmp_path))
    (book,) = tmp_path.glob("evening_*.xlsx")
    _type(book, place["what"], rating=4)
    _rehearsed(tmp_path)
    other = sqlite3.connect(tmp_path / FILE, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    try:
        made = _evening(chart, tmp_path)
    finally:
        other.close()
    assert any("locked" in note for note in made["notes"])
    assert [b["rated"] for b in made["blocks"] if b["rated"]] in ([4], [])
