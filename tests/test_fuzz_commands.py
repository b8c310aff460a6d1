"""400 command lines over damaged and odd files: each works or is refused in words with one of the
README's exit codes. `python tests/fuzz_commands.py --cases N` runs any number. What the hunt has
found is kept below by its cause."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from build import part_xml, score_xml

TUNE = score_xml({name: part_xml("C4/4 D4/4 E4/2 F4/1") for name in ("Alto Sax 1", "Alto Sax 2")})


def _run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "sectionprep", *arguments],
        cwd=folder,
        capture_output=True,
        timeout=120,
        check=False,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).resolve().parent.parent)},
    )


def test_four_hundred_command_lines() -> None:
    """In two halves at once: 70 s of processor time."""
    fuzz = Path(__file__).with_name("fuzz_commands.py")
    halves = [
        subprocess.Popen(
            [sys.executable, str(fuzz), "--cases", "200", "--seed", seed],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        for seed in ("9000", "9200")
    ]
    for half in halves:
        said, _ = half.communicate(timeout=900)
        assert half.returncode == 0, said[-5000:]


@pytest.mark.skipif(sys.platform == "darwin", reason="names there are always UTF-8")
@pytest.mark.parametrize("command", ["prepare", "mark", "sheets"])
def test_a_name_that_is_no_text_stands_for_nothing_else(command: str, tmp_path: Path) -> None:
    """Without a title in the file its name is the title; bytes that are no
    UTF-8 ended the record, the sheets and the folder's manifest in a traceback (PEP 383)."""
    chart = os.fsdecode(b"\xff\xfe.musicxml")
    (tmp_path / chart).write_bytes(TUNE.replace(b"movement-title", b"x"))
    to = "marked.musicxml" if command == "mark" else "out"
    for _ in range(2):
        done = _run(tmp_path, command, chart, "-o", to)
        assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(sys.platform == "darwin", reason="names there are always UTF-8")
@pytest.mark.parametrize("command", ["prepare", "sheets", "audition"])
def test_a_folder_for_results_whose_name_is_no_text(command: str, tmp_path: Path) -> None:
    """The libraries that bind PDF sheets and write sound ended in a traceback (PEP 383; found by
    seeds 101418 and 105909). The second run looks at the sheets of the first."""
    (tmp_path / "a.musicxml").write_bytes(TUNE)
    for _ in range(2):
        done = _run(tmp_path, command, "a.musicxml", "-o", os.fsdecode(b"\xff\xfe"))
        assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.parametrize("ending", ["mid", "krn", "mei"])
def test_a_device_is_not_converted(ending: str, tmp_path: Path) -> None:
    """A link to an endless device was converted until memory ended (5.6 GB)."""
    (tmp_path / f"x.{ending}").symlink_to("/dev/zero")
    done = _run(tmp_path, "check", f"x.{ending}")
    assert (done.returncode, b"no ordinary file" in done.stderr) == (3, True)


def test_what_nobody_foresaw_is_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Never a traceback, code 1, the place in our code (README, exit codes)."""
    from sectionprep import cli

    def broken(**_given: object) -> None:
        raise KeyError("odd")

    monkeypatch.setattr(cli, "app", broken)
    monkeypatch.delenv("SECTIONPREP_TRACE", raising=False)
    with pytest.raises(SystemExit) as ended:
        cli.main()
    said = capsys.readouterr().err
    assert (ended.value.code, said.count("\n")) == (1, 1)
    assert "KeyError at test_fuzz_commands.py" in said


def test_a_name_that_is_wider_than_the_page(tmp_path: Path) -> None:
    """Beside it no room was left for the study pages' music (math domain error)."""
    (tmp_path / "a.musicxml").write_bytes(TUNE.replace(b"Alto Sax 1", b"A" * 300))
    done = _run(tmp_path, "prepare", "a.musicxml", "-o", "out")
    assert (done.returncode, done.stderr) == (0, b"")


def test_a_workbook_whose_directory_points_outside(tmp_path: Path) -> None:
    """The library then seeks before the file's beginning (ValueError)."""
    import openpyxl

    from sectionprep.errors import UnusableSettings
    from sectionprep.outputs.workbook import read_typed

    path = tmp_path / "w.xlsx"
    openpyxl.Workbook().save(path)
    data = path.read_bytes()
    path.write_bytes(data[500:])
    with pytest.raises(UnusableSettings, match="cannot be opened as a workbook"):
        read_typed(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no such pipes")
@pytest.mark.parametrize(
    ("pipe", "code", "arguments"),
    [
        ("out/.sectionprep-folder.json", 5, ("prepare", "a.musicxml", "-o", "out")),
        ("x.mid", 3, ("mark", "x.mid", "-o", "m.musicxml")),
    ],
)
def test_pipes_are_never_waited_for(
    pipe: str, code: int, arguments: tuple[str, ...], tmp_path: Path
) -> None:
    (tmp_path / "a.musicxml").write_bytes(TUNE)
    (tmp_path / pipe).parent.mkdir(exist_ok=True)
    os.mkfifo(tmp_path / pipe)
    done = _run(tmp_path, *arguments)
    assert (done.returncode, b"no ordinary file" in done.stderr) == (code, True)


@pytest.mark.skipif(sys.platform == "darwin", reason="names there are always UTF-8")
def test_a_chart_of_a_book_whose_name_is_no_text_stops_nothing(tmp_path: Path) -> None:
    """Its folder's name ended `book` in a traceback; a second run knows it again."""
    (tmp_path / "lib").mkdir()
    for name in (b"\xff.musicxml", b"good.musicxml"):
        (tmp_path / "lib" / os.fsdecode(name)).write_bytes(TUNE)
    for status in (b"done", b"unchanged"):
        done = _run(tmp_path, "book", "lib", "-o", "out")
        assert (done.returncode, done.stderr) == (0, b"")
        state = (tmp_path / "out" / "book.json").read_bytes()
        assert state.count(b'"status": "' + status) == 2
