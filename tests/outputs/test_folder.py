"""A folder of results is there whole or not at all, and only files of ours are ever replaced.

Runs are killed at every call that changes a name: no finally block runs, as with a real kill.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import os
import subprocess
import sys
from functools import partial
from pathlib import Path

import pytest
from kills import in_a_small_process, killed_after

from sectionprep.errors import DestinationError
from sectionprep.outputs import folder as folder_module
from sectionprep.outputs.folder import MANIFEST, Run, staged

_RUN = """
import sys, time
from pathlib import Path
from sectionprep.outputs.folder import Run, staged
with staged(Path(sys.argv[1]), Run(chart=Path("none"))) as stage:
    (stage / "half").write_text("x")
    print("in", flush=True)
    time.sleep(60)
"""
_CHART = Path("tune.musicxml")
_OLD = {"score": "old", "parts/a": "old a", "parts/b": "old b", "parts/gone": "old g", "same": "s"}
_NEW = {"score": "new", "parts/a": "new a", "parts/b": "new b", "parts/c": "new c", "same": "s"}


def _run(kind: str = "prepare", **more: object) -> Run:
    return Run(chart=_CHART, kind=kind, **more)  # type: ignore[arg-type]


def _write(folder: Path, files: dict[str, str], run: Run | None = None) -> None:
    with staged(folder, run or _run()) as stage:
        for name, text in files.items():
            (stage / name).parent.mkdir(parents=True, exist_ok=True)
            (stage / name).write_text(text)


def _held(folder: Path) -> dict[str, str]:
    """What a person finds in the folder."""
    return {
        str(path.relative_to(folder)): path.read_text()
        for path in folder.rglob("*")
        if path.is_file() and not path.relative_to(folder).parts[0].startswith(".sectionprep")
    }


def test_a_second_run_is_told_who_writes_and_a_killed_one_leaves_nothing(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    command = [sys.executable, "-c", _RUN, str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "in\n"
        with (
            pytest.raises(DestinationError, match=f"process {other.pid} on "),
            staged(folder, _run()),
        ):
            pass
        other.kill()
    assert [path for path in folder.iterdir() if path.is_dir()]  # what it was making
    _write(folder, {"whole": "y"})
    assert _held(folder) == {"whole": "y"}
    assert sorted(path.name for path in folder.iterdir()) == [MANIFEST, "whole"]


@pytest.mark.parametrize("said", ["", "1", "9" * 400, "-5", "\u00b2", "x"])
def test_a_lock_file_that_nobody_holds_blocks_nobody(said: str, tmp_path: Path) -> None:
    """Such as that of an older version, with the number of a process that lives by chance."""
    (tmp_path / ".sectionprep-busy").write_text(said, encoding="utf-8")
    _write(tmp_path, {"whole": "y"}, Run(chart=_CHART))
    assert [path.name for path in tmp_path.iterdir()] == ["whole"]


def test_a_run_killed_anywhere_leaves_the_old_set_or_the_new_one(tmp_path: Path) -> None:
    in_a_small_process(__name__, "kill_everywhere", tmp_path)


def kill_everywhere(folder: Path) -> None:
    """After the next run of any kind has taken the lock. Each moment twice: the run that puts the
    folder in order is killed as well."""
    kills = 0
    for moment in itertools.count():
        into = folder / str(moment)
        _write(into, _OLD)
        if not killed_after(moment, partial(_write, into, _NEW)):
            assert _held(into) == _NEW
            break
        for second in itertools.count():
            if not killed_after(second, partial(_write, into, {"x": ""}, _run("audition"))):
                break
            kills += 1
        held = _held(into)
        assert held.pop("x") == ""
        assert held in (_OLD, _NEW), moment
        kills += 1
    assert moment > 20
    assert kills > 500


@pytest.mark.parametrize("broken", ["", "{", "[]", '{"put": 5}', '{"put": ["../x"], "drop": []}'])
def test_a_broken_journal_loses_no_file_and_stops_nobody(broken: str, tmp_path: Path) -> None:
    """As after a power cut, or where somebody has put one there."""
    in_a_small_process(__name__, "break_journals", tmp_path, broken)


def break_journals(folder: Path, broken: str) -> None:
    journals = 0
    (folder / "x").write_text("outside")
    for moment in itertools.count():
        into = folder / str(moment)
        _write(into, _OLD)
        if not killed_after(moment, partial(_write, into, _NEW)):
            break
        for journal in into.glob(".sectionprep-*/journal.json"):
            journal.write_text(broken)
            journals += 1
        _write(into, {"y": ""}, _run("audition"))
        held = _held(into)
        assert all(held.get(name) in (text, _NEW.get(name)) for name, text in _OLD.items()), moment
        assert not list(into.glob(".sectionprep-*/journal.json"))
    assert journals > 5
    assert (folder / "x").read_text() == "outside"


def test_a_manifest_that_names_places_elsewhere_takes_nothing_away(tmp_path: Path) -> None:
    outside, folder = tmp_path / "mine", tmp_path / "made"
    outside.write_text("mine")
    _write(folder, _OLD)
    known = json.loads((folder / MANIFEST).read_text())
    known["made"]["prepare"]["../mine"] = hashlib.sha256(b"mine").hexdigest()
    (folder / MANIFEST).write_text(json.dumps(known))
    _write(folder, _NEW)
    assert outside.read_text() == "mine"


def test_a_file_that_cannot_be_replaced_keeps_the_old_set_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As where a viewer on another system holds a sheet open."""
    _write(tmp_path, _OLD)
    real = os.replace

    def held_open(source: Path, target: Path) -> None:
        if Path(target) == tmp_path / "parts/b" and "new" in Path(source).parts:
            raise PermissionError(13, "is open elsewhere", str(source), None, str(target))
        real(source, target)

    monkeypatch.setattr(folder_module.os, "replace", held_open)
    with pytest.raises(DestinationError, match=r"parts/b: cannot be replaced \(is open elsewhere"):
        _write(tmp_path, _NEW)
    assert _held(tmp_path) == _OLD
    monkeypatch.undo()
    _write(tmp_path, _NEW)
    assert _held(tmp_path) == _NEW


def test_what_comes_out_the_same_is_not_touched(tmp_path: Path) -> None:
    _write(tmp_path, _OLD)
    before = (tmp_path / "same").stat(), (tmp_path / "score").stat()
    _write(tmp_path, _NEW)
    after = (tmp_path / "same").stat(), (tmp_path / "score").stat()
    assert (before[0].st_ino, before[0].st_mtime_ns) == (after[0].st_ino, after[0].st_mtime_ns)
    assert before[1].st_ino != after[1].st_ino


def test_files_of_an_earlier_run_go_unless_they_were_edited(tmp_path: Path) -> None:
    _write(tmp_path, _OLD | {"parts/noted": "mine"})
    (tmp_path / "parts/noted").write_text("and hers")
    said: list[str] = []
    with pytest.raises(DestinationError, match="noted: was changed since it was written"):
        _write(tmp_path, _NEW)
    _write(tmp_path, _NEW, _run(force=True, say=said.append))
    assert _held(tmp_path) == _NEW | {"parts/noted": "and hers"}
    assert any("parts/gone was of an earlier run" in line for line in said)


def test_a_run_of_some_parts_leaves_the_others(tmp_path: Path) -> None:
    _write(tmp_path, {"a": "1", "b": "1"}, _run("sheets"))
    _write(tmp_path, {"b": "2"}, _run("sheets", whole=False))
    assert _held(tmp_path) == {"a": "1", "b": "2"}
    _write(tmp_path, {"b": "3"}, _run("sheets"))
    assert _held(tmp_path) == {"b": "3"}


@pytest.mark.parametrize("how", ["foreign", "edited", "elsewhere", "folder"])
def test_only_our_own_files_are_replaced(how: str, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    _write(folder, {"parts/a": "old"})
    spot = folder / "parts/a"
    if how == "edited":
        spot.write_text("theirs")
    elif how == "foreign":
        (folder / MANIFEST).unlink()
    elif how == "elsewhere":
        (folder / "parts").rename(tmp_path / "other")
        (folder / "parts").symlink_to(tmp_path / "other", target_is_directory=True)
    else:
        spot.unlink()
        (spot / "inside").mkdir(parents=True)
    before = _held(tmp_path)
    with pytest.raises(DestinationError, match="parts/a"):
        _write(folder, {"parts/a": "new"})
    assert {k: v for k, v in _held(tmp_path).items() if MANIFEST not in k} == {
        k: v for k, v in before.items() if MANIFEST not in k
    }
    if how in ("edited", "foreign"):
        said: list[str] = []
        _write(folder, {"parts/a": "new"}, _run(force=True, say=said.append))
        assert spot.read_text() == "new"
        assert any("replaced, as --force asks" in line for line in said)


def test_another_charts_folder_is_refused(tmp_path: Path) -> None:
    _write(tmp_path, {"a": "1"})
    other = Run(chart=Path("tune.xml"), kind="audition")
    with pytest.raises(DestinationError, match=r"holds what was made from tune\.musicxml"):
        _write(tmp_path, {"b": "1"}, other)
    assert _held(tmp_path) == {"a": "1"}


def test_what_is_read_is_never_written_over(tmp_path: Path) -> None:
    read = tmp_path / "roster.toml"
    read.write_text("mine")
    with pytest.raises(DestinationError, match="overwrite the input"):
        _write(tmp_path, {"roster.toml": "x"}, _run(reads=(read,), force=True))
    assert read.read_text() == "mine"
