"""One run at a time writes into a folder; what a killed one has left behind holds nobody up."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from sectionprep.errors import DestinationError
from sectionprep.outputs.files import staged

_RUN = """
import sys, time
from pathlib import Path
from sectionprep.outputs.files import staged
with staged(Path(sys.argv[1]), source=Path("none")) as stage:
    (stage / "half").write_text("x")
    print("in", flush=True)
    time.sleep(60)
"""


def test_a_second_run_is_told_who_writes_and_a_killed_one_leaves_nothing(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    command = [sys.executable, "-c", _RUN, str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "in\n"
        with (
            pytest.raises(DestinationError, match=f"process {other.pid} on "),
            staged(folder, source=tmp_path / "none"),
        ):
            pass
        other.kill()
    assert [path for path in folder.iterdir() if path.is_dir()]  # what it was making
    with staged(folder, source=tmp_path / "none") as stage:
        (stage / "whole").write_text("y")
    assert [path.name for path in folder.iterdir()] == ["whole"]


@pytest.mark.parametrize("said", ["", "1", "9" * 400, "-5", "\u00b2", "x"])
def test_a_lock_file_that_nobody_holds_blocks_nobody(said: str, tmp_path: Path) -> None:
    """Such as that of an older version, with the number of a process that lives by chance."""
    (tmp_path / ".sectionprep-busy").write_text(said, encoding="utf-8")
    with staged(tmp_path, source=tmp_path / "none") as stage:
        (stage / "whole").write_text("y")
    assert [path.name for path in tmp_path.iterdir()] == ["whole"]
