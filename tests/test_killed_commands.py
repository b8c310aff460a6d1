"""Commands that write several files one after the other, killed at every call that changes a name:
each file is whole, the next run ends and leaves nothing behind, and what a person typed is found
again. Breaks when a file is written in place, or when what was read is taken away before what is
made of it stands."""

from __future__ import annotations

import itertools
import json
import shutil
import tomllib
import zipfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

import openpyxl
from build import part_xml, score_xml
from commands import begin, run
from kills import command_killed_after, in_a_small_process, killed_after

from sectionprep.evening.paper import NOTE, RATING, TONIGHT
from sectionprep.outputs.workbook import tables
from sectionprep.results import Options
from sectionprep.review.decisions import note_step
from sectionprep.review.session import Review

_TUNE = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4 "
_NOTED = "late second alto"


def _chart(path: Path, second: str = _TUNE) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    saxes = {"Alto Sax 1": part_xml(_TUNE * 2), "Alto Sax 2": part_xml(second * 2)}
    path.write_bytes(score_xml(saxes))
    return path


def _names(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


def _all_whole(folder: Path) -> None:
    for path in folder.rglob("*"):
        if any(part.startswith(".sectionprep") for part in path.parts):
            continue  # of the run that was killed
        if path.suffix == ".xlsx":
            assert zipfile.ZipFile(path).testzip() is None
        elif path.suffix == ".json":
            json.loads(path.read_text())
        elif path.suffix == ".toml":
            tomllib.loads(path.read_text())
        elif path.suffix == ".pdf":
            assert path.read_bytes().rstrip().endswith(b"%%EOF")


def _command(*words: object) -> None:
    done = run(*words)
    assert done.returncode in (0, 9), done.stderr


def _kill_everywhere(
    folder: Path,
    prepare: Callable[[Path], None],
    work: Callable[[Path], None],
    judge: Callable[[Path], None] = _all_whole,
    every: int = 1,
    kill: Callable[[int, Path], bool] | None = None,
) -> int:
    """How often the work was killed. prepare: what stands there before; judge: of what stands there
    after the next run; kill: how the work is killed, where this process may not be forked."""
    for name in ("whole", "killed"):
        (folder / name).mkdir()
    prepare(folder / "whole")
    work(folder / "whole")
    wanted = _names(folder / "whole")
    for kills, moment in enumerate(itertools.count(0, every)):
        into = folder / "killed" / str(moment)
        into.mkdir()
        prepare(into)
        died = kill(moment, into) if kill else killed_after(moment, partial(work, into))
        if not died:
            return kills
        _all_whole(into)
        work(into)
        assert _names(into) == wanted, f"killed at moment {moment}"
        judge(into)
        shutil.rmtree(into)
    raise AssertionError


def _evening(folder: Path) -> None:
    _command("evening", folder / "tune.musicxml", "-o", folder / "night", "--minutes", 15)


def _rated(folder: Path) -> None:
    """An evening with a rating and a note that somebody typed into its workbook."""
    _chart(folder / "tune.musicxml")
    _evening(folder)
    (book,) = (folder / "night").glob("evening_*.xlsx")
    workbook = openpyxl.load_workbook(book)
    sheet = workbook[TONIGHT]
    columns = {cell.value: cell.column for cell in sheet[2]}
    (row,) = (
        n
        for n in range(3, sheet.max_row + 1)
        if str(sheet.cell(n, columns["What"]).value).startswith("P1")
    )
    sheet.cell(row, columns[RATING]).value, sheet.cell(row, columns[NOTE]).value = 4, _NOTED
    workbook.save(book)


def _is_remembered(folder: Path) -> None:
    _all_whole(folder)
    done = run("rehearsed", folder / "night", "--json")
    assert [line["note"] for line in json.loads(done.stdout)["rehearsed"]] == [_NOTED], done.stdout


def test_an_evening_and_its_history(tmp_path: Path) -> None:
    in_a_small_process(__name__, "kill_evenings", tmp_path)


def kill_evenings(folder: Path) -> None:
    for name in ("first", "again", "told"):
        (folder / name).mkdir()
    assert _kill_everywhere(folder / "first", _bare, _evening) > 10
    assert _kill_everywhere(folder / "again", _rated, _evening, _is_remembered) > 15
    assert _kill_everywhere(folder / "told", _rated, _told, _is_remembered) > 10


def _bare(folder: Path) -> None:
    _chart(folder / "tune.musicxml")


def _told(folder: Path) -> None:
    _command("rehearsed", folder / "night")


def test_decisions_on_the_review_page(tmp_path: Path) -> None:
    in_a_small_process(__name__, "kill_decisions", tmp_path)


def kill_decisions(folder: Path) -> None:
    assert _kill_everywhere(folder, _decided, _decide, _are_all_there) > 4


def _decided(folder: Path) -> None:
    """A chart with a decision on the first note of its passage."""
    _bare(folder)
    _mark(folder, 0, "accent")


def _decide(folder: Path) -> None:
    """Another, and it is taken back and taken again."""
    review = _mark(folder, 4, "tenuto")
    assert review.undo(insist=True)
    assert review.redo(insist=True)


def _mark(folder: Path, n: int, mark: str) -> Review:
    review = Review(folder / "tune.musicxml", folder, Options())
    note = review.planned("P1").notes[n]
    if mark not in note.marks:
        tick = note.tone.onset
        review.decide(lambda: note_step(review, "P1", tick, "mark", mark), 0, insist=True)
    return review


def _are_all_there(folder: Path) -> None:
    _all_whole(folder)
    review = Review(folder / "tune.musicxml", folder, Options())
    notes = review.planned("P1").notes
    assert "accent" in notes[0].marks
    assert "tenuto" in notes[4].marks


def test_a_folder_with_a_workbook_that_somebody_typed_into(tmp_path: Path) -> None:
    """A run that was killed while its files changed places, and what it left was taken for
    somebody's. Every sixth moment; all of them were tried by hand (2026-11-27)."""
    kills = _kill_everywhere(
        tmp_path, _typed_into, _prepare, _is_still_typed, every=6, kill=_prepare_killed
    )
    assert kills > 5


def _prepare(folder: Path) -> None:
    done = begin("prepare", folder / "tune.musicxml", "-o", folder / "made")
    assert done.returncode in (0, 9), done.stderr


def _prepare_killed(moment: int, folder: Path) -> bool:
    return command_killed_after(moment, "prepare", folder / "tune.musicxml", "-o", folder / "made")


def _typed_into(folder: Path) -> None:
    _bare(folder)
    _prepare(folder)
    (book,) = (folder / "made").glob("*.xlsx")
    workbook = openpyxl.load_workbook(book)
    sheet = workbook[tables.MARKS]
    (place,) = (c for row in sheet.iter_rows(max_row=5) for c in row if c.value == "Change to")
    sheet.cell(place.row + 1, place.column).value = "tenuto"
    workbook.save(book)


def _is_still_typed(folder: Path) -> None:
    _all_whole(folder)
    (book,) = (folder / "made").glob("*.xlsx")
    rows = openpyxl.load_workbook(book)[tables.MARKS].iter_rows(values_only=True)
    assert sum("tenuto" in row for row in rows) == 1


def test_a_book(tmp_path: Path) -> None:
    """Every fifth moment: a book of two charts takes some seconds. All of them were tried by
    hand (2026-11-27)."""
    assert _kill_everywhere(tmp_path, _library, _book, every=5, kill=_book_killed) > 3


def _library(folder: Path) -> None:
    for n in range(2):
        _chart(folder / "library" / f"tune{n}.musicxml")


def _book(folder: Path) -> None:
    done = begin("book", folder / "library", "-o", folder / "made")
    assert done.returncode in (0, 9), done.stderr


def _book_killed(moment: int, folder: Path) -> bool:
    return command_killed_after(moment, "book", folder / "library", "-o", folder / "made")
