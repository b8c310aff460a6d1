"""Names as long as a file system takes them (255 bytes, common practice, no source)."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from sectionprep.outputs.files import write_file
from sectionprep.outputs.names import MOST_BYTES, stem_of

LONGEST = 255


def _run(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "sectionprep", *map(str, arguments)],
        capture_output=True,
        text=True,
    )


@pytest.mark.parametrize("letter", ["a", "\u00e9", "\u6f22"])
def test_a_name_is_cut_to_whole_letters(letter: str) -> None:
    name = letter * (240 // len(letter.encode()))
    stem = stem_of(Path(f"{name}.musicxml"))
    assert name.startswith(stem)
    assert MOST_BYTES - 3 <= len(os.fsencode(stem)) <= MOST_BYTES


def test_a_file_is_written_whose_name_has_no_room_for_a_letter_more(tmp_path: Path) -> None:
    path = tmp_path / ("n" * LONGEST)
    write_file(path, b"whole")
    assert path.read_bytes() == b"whole"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("letter", ["a", "\u6f22"])
def test_a_chart_with_the_longest_name_is_marked_beside_itself(
    letter: str, demo_path: Path, tmp_path: Path
) -> None:
    room = LONGEST - len(".musicxml")
    name = letter * (room // len(letter.encode()))
    chart = tmp_path / f"{name}.musicxml"
    shutil.copy(demo_path, chart)
    made = _run("checklist", chart)
    assert made.returncode == 0, made.stderr
    (book,) = set(tmp_path.iterdir()) - {chart}
    assert name.startswith(book.name.partition("_")[0])


def test_a_name_that_is_too_long_to_be_written_is_said_before_anything_is_done(
    demo_path: Path, tmp_path: Path
) -> None:
    for name in ("m" * 240 + ".musicxml", "m" * 500 + ".musicxml"):
        refused = _run("mark", demo_path, "-o", tmp_path / name)
        assert refused.returncode == 2
        assert f"at most {MOST_BYTES} letters" in refused.stderr
    assert not list(tmp_path.iterdir())
