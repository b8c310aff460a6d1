"""Making the sheets: `prepare` in a process of its own, which tells how far it is.

It is its own because the engraver's processes are forked, which is safe only where nothing else
runs. What it is given and what it answers goes through its standard streams.
"""

from __future__ import annotations

import json
import os
import pickle
import subprocess
import sys
import tempfile
import threading
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sectionprep.checks.versions import PartChange, compare_versions
from sectionprep.errors import SectionprepError
from sectionprep.results import Options

_LAST_WORDS = 300  # characters of why it ended early; judgement
_INLINE = {".pdf": "application/pdf", ".png": "image/png"}


@dataclass(frozen=True, slots=True, kw_only=True)
class MakingState:
    """What a run has come to. stage, done, of: how far it is, while busy. failed: why it ended
    early. files: what can be opened, in the order of the answer; changed: what is new on the sheets
    since the run before, a line for each part; notes: what a person must know."""

    busy: bool = False
    stage: str = ""
    done: int = 0
    of: int = 1
    failed: str = ""
    files: tuple[Path, ...] = ()
    changed: tuple[str, ...] | None = None
    notes: tuple[str, ...] = ()


class Maker:
    """Makes the sheets, one run at a time."""

    def __init__(self, path: Path, folder: Path, options: Options) -> None:
        self._path, self._folder, self._options = path, folder, options
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self.made = MakingState()

    def start(self, plan: Path) -> bool:
        """Begin a run with this plan file; False where one is under way."""
        with self._lock:
            if self.made.busy:
                return False
            self.made = MakingState(busy=True, stage="beginning")
        options = replace(self._options, plan=plan if plan.exists() else None, decisions=None)
        threading.Thread(target=self._run, args=(options,), daemon=True).start()
        return True

    def stop(self) -> None:
        """End a run that is under way; it leaves nothing half-written."""
        process = self._process
        if process is not None and process.poll() is None:
            process.terminate()
            process.wait(20)

    def _run(self, options: Options) -> None:
        try:
            with (
                tempfile.TemporaryFile() as last_words,
                subprocess.Popen(
                    [sys.executable, "-c", "from sectionprep.review.making import main; main()"],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=last_words,
                    env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
                ) as process,
            ):
                self._process = process
                assert process.stdin is not None
                assert process.stdout is not None
                pickle.dump((self._path, self._folder, options), process.stdin)
                process.stdin.close()
                end = None
                for line in process.stdout:
                    said = json.loads(line)
                    if "stage" in said:
                        self.made = replace(self.made, **said)
                    else:
                        end = _end(said)
                process.wait()  # only then may another run begin
                if end is not None:
                    self.made = end
                else:
                    last_words.seek(0)
                    why = last_words.read().decode("utf-8", "replace").strip().rpartition("\n")[2]
                    self.made = MakingState(
                        failed="Making the sheets ended early; nothing half-written was left. "
                        + why[:_LAST_WORDS]
                    )
        except OSError as error:
            self.made = MakingState(failed=f"The sheets could not be made ({error.strerror}).")


def _end(said: dict[str, Any]) -> MakingState:
    if "failed" in said:
        return MakingState(failed=said["failed"])
    return MakingState(
        files=tuple(map(Path, said["files"])),
        changed=None if said["changed"] is None else tuple(said["changed"]),
        notes=tuple(said["notes"]),
    )


def kind_of(path: Path) -> tuple[str, bool]:
    """How a made file is sent, and whether a browser may show it."""
    kind = _INLINE.get(path.suffix.lower())
    return (kind or "application/octet-stream"), kind is not None


def main() -> None:
    """The life of the process: what it is to make comes in, lines of JSON go out."""
    from sectionprep import preparing

    path, folder, options = pickle.load(sys.stdin.buffer)

    def tell(**said: Any) -> None:
        print(json.dumps(said), flush=True)

    def progress(stage: str, done: int, of: int) -> None:
        tell(stage=stage, done=done, of=max(of, 1))

    try:
        before = _printed_before(folder, options)
        done = preparing.prepare(path, folder, options, progress)
    except SectionprepError as error:
        tell(failed=str(error))
        return
    notes = [*done.not_printed, *done.not_as_written, *done.notes]
    tell(
        files=[str(file) for file in done.files if file.suffix != ".json"],
        changed=_changes(before, done.marked.again.chart),
        notes=notes,
    )


def _printed_before(folder: Path, options: Options) -> Any:
    """The chart of the sheets that stand in the folder; None where there are none."""
    from sectionprep import stages

    for found in sorted(folder.glob("*_marked*")):
        if found.is_dir() or found.suffix in (".musicxml", ".xml", ".mxl"):
            try:
                return stages.read_score(found, replace(options, tune=None)).chart
            except SectionprepError:
                return None  # what stands there is no chart of ours
    return None


def _changes(before: Any, after: Any) -> list[str] | None:
    if before is None:
        return None
    return [f"{change.part}: {_said(change)}" for change in compare_versions(before, after)]


def _said(change: PartChange) -> str:
    if change.status != "changed":
        return change.status
    bars = sorted({*change.notes, *change.marks}, key=_as_number)
    return f"bar{'s' if len(bars) > 1 else ''} {', '.join(bars)}"


def _as_number(bar: str) -> tuple[int, str]:
    digits = "".join(c for c in bar if c.isdigit())
    return int(digits or 0), bar
