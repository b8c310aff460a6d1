"""How a run ends when it is told to, and what it can still say to an old terminal."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from build import part_xml, score_xml

from sectionprep.errors import BadArgument
from sectionprep.outputs.audition.sampled import font_at
from sectionprep.outputs.audition.soundfiles import SOUNDS, write_sound
from sectionprep.stages import to_json

CHART = Path(__file__).parents[1] / "demo_chart" / "late_tram_home.musicxml"
COMMAND = [sys.executable, "-m", "sectionprep"]


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="this system has no such signals")
@pytest.mark.parametrize("how", ["SIGTERM", "SIGHUP"])
def test_a_run_that_is_told_to_end_leaves_nothing(how: str, tmp_path: Path) -> None:
    folder, number = tmp_path / "out", int(getattr(signal, how))
    with subprocess.Popen([*COMMAND, "prepare", CHART, "-o", folder], stderr=-1) as run:
        while not list(folder.glob(".sectionprep-making-*")) and run.poll() is None:
            time.sleep(0.01)
        run.send_signal(number)
        _, said = run.communicate(timeout=60)
    assert (run.returncode, said) == (128 + number, b"")
    assert not folder.exists()


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_letters_that_a_terminal_lacks_are_no_error(encoding: str, tmp_path: Path) -> None:
    path = tmp_path / "a.musicxml"
    path.write_bytes(score_xml({"Sax in E\u266d \U0001f3b7": part_xml("C4/1 D4/1")}))
    done = subprocess.run(
        [*COMMAND, "check", path],
        capture_output=True,
        env=os.environ | {"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
    )
    assert b"Traceback" not in done.stderr
    assert done.returncode == 0


def test_json_holds_nothing_that_steers_a_terminal() -> None:
    """Bidirectional controls (Unicode 15, UAX 9) and C1 controls; what is read back is the same."""
    names = ["a\u202eb", "\x1b[31m", "\u0085", "\u2028", "E\u266d"]
    text = to_json({"names": names})
    assert all(c.isprintable() or c == "\n" for c in text)
    assert json.loads(text)["names"] == names
    assert "E\u266d" in text


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no such device")
@pytest.mark.parametrize("more", [[], ["--json"], ["--all"]])
def test_output_that_cannot_be_written_is_said_and_has_its_code(more: list[str]) -> None:
    """Also where the message itself cannot be written (exit codes of the README)."""
    with open("/dev/full", "wb") as full:
        said = subprocess.run([*COMMAND, "check", CHART, *more], stdout=full, stderr=-1, timeout=60)
        mute = subprocess.run([*COMMAND, "check", CHART, *more], stdout=full, stderr=full)
    assert said.returncode == mute.returncode == 3
    assert said.stderr == b"sectionprep: standard output: No space left on device.\n"


@pytest.mark.parametrize("more", [["--all"], ["--json"]])
def test_a_pipe_that_closes_early_is_a_quiet_end(more: list[str]) -> None:
    with subprocess.Popen([*COMMAND, "check", CHART, *more], stdout=-1, stderr=-1) as run:
        assert run.stdout is not None
        assert run.stderr is not None
        assert run.stdout.readline()
        run.stdout.close()
        assert (run.stderr.read(), run.wait(60)) == (b"", 0)


def test_a_part_whose_name_holds_a_bar_sign_is_planned_by_its_file(tmp_path: Path) -> None:
    """A line of a plan is divided by such signs; a name with them must not shift its fields."""
    tune = part_xml("D5/8 F5/8> r/4 G5/4. A5/8 B4/4 C5/4 D5/2")
    names = ("Alto | accent", "Alto 2 | G5 |")
    (tmp_path / "a.musicxml").write_bytes(score_xml(dict.fromkeys(names, tune)))
    run = partial(subprocess.run, cwd=tmp_path, capture_output=True, timeout=60)
    assert run([*COMMAND, "plan", "a.musicxml", "-o", "p.toml"]).returncode == 0
    done = run([*COMMAND, "mark", "a.musicxml", "--plan", "p.toml", "-o", "m.musicxml"])
    assert (done.returncode, done.stderr) == (0, b"")


_STOPPED_AT = """
import os, runpy, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # whoever runs the tests may ignore it
loading = sys.argv[1]
class Finder:
    def find_spec(self, name, *_):
        if name == loading:
            os.kill(os.getpid(), signal.SIGINT)
sys.meta_path.insert(0, Finder())
sys.argv[1:] = ["--help"]
runpy.run_module("sectionprep", run_name="__main__")
"""


@pytest.mark.skipif(os.name == "nt", reason="this system ends programs in another way")
@pytest.mark.parametrize("loading", ["sectionprep.cli", "typer", "sectionprep.cli.preparing"])
def test_stopped_while_it_starts_it_says_nothing(loading: str) -> None:
    """Ctrl-C in the first half second printed a traceback."""
    done = subprocess.run([sys.executable, "-c", _STOPPED_AT, loading], capture_output=True)
    assert (done.returncode, done.stdout, done.stderr) == (-signal.SIGINT, b"", b"")


@pytest.mark.skipif(os.name == "nt", reason="this system limits no files")
def test_a_print_set_that_finds_no_room_is_said(tmp_path: Path) -> None:
    """The library that binds it ended its process, and the run told of memory and of a fault of
    ours (code 1)."""
    chart, whole, out = tmp_path / "a.musicxml", tmp_path / "whole", tmp_path / "out"
    line = part_xml("C5/4 D5/4 E5/4 F5/4 " * 24)
    chart.write_bytes(score_xml({f"Trumpet {n}": line for n in range(1, 5)}))
    subprocess.run([*COMMAND, "prepare", chart, "-o", whole], check=True, capture_output=True)
    sizes = {p: p.stat().st_size for p in whole.rglob("*") if p.is_file()}
    largest = max(sizes, key=sizes.__getitem__)
    assert largest.parent.name == "sets"
    done = _with_files_of(sizes[largest] - 1, "prepare", chart, "-o", out)
    assert (done.returncode, "cannot be written" in done.stderr) == (5, True)
    assert not out.exists()


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no such device")
@pytest.mark.parametrize("sound", SOUNDS)
def test_a_sound_that_finds_no_room_says_why(sound: str, tmp_path: Path) -> None:
    """The sound library loses why it could not write, and `audition` ended with code 1."""
    place = tmp_path / f"x.{sound}"
    place.symlink_to("/dev/full")
    with pytest.raises(OSError, match="No space left"):
        write_sound([np.ones(200_000, dtype=np.float32)], place)


def _with_files_of(most: int, *arguments: object) -> subprocess.CompletedProcess[str]:
    """A command that can write no file of more bytes: a full disk that comes at a chosen moment."""
    limited = (
        "import resource, runpy, sys; "
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({most}, {most})); "
        "runpy.run_module('sectionprep', run_name='__main__')"
    )
    command = [sys.executable, "-c", limited, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=120)


def test_closed_streams_are_no_error_and_get_no_file(tmp_path: Path) -> None:
    """Started by a service with all three closed, `prepare` ended with 1; and a file of results
    that is opened then has the number of a stream."""
    path = tmp_path / "a.musicxml"
    path.write_bytes(score_xml({n: part_xml("C5/4 D5/4 E5/4 F5/4") for n in ("A", "B")}))
    done = subprocess.run(
        [*COMMAND, "prepare", path, "-o", tmp_path / "out"],
        preexec_fn=partial(os.closerange, 0, 3),
        check=False,
    )
    assert done.returncode == 0
    assert (tmp_path / "out" / "a_marked.musicxml").is_file()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_in_place_of_a_sound_font_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "font.sf2")
    with pytest.raises(BadArgument, match="no ordinary file"):
        font_at(str(tmp_path / "font.sf2"))
