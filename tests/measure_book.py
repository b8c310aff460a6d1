"""What a library costs: `python tests/measure_book.py [--charts 2000] [--in FOLDER]`.

Writes so many small charts of two parts and eight bars, each another tune, runs `book` over them
and then once more, and prints the time of both runs and the memory (of the process that leads, and
of the largest that works) at a tenth of the charts, at half and at the end. Memory is flat when the
last two are alike; a run over unchanged charts is to take less than ten seconds for 2,000. With a
folder that an earlier measurement has left, what is done there is not done again.
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from build import part_xml, score_xml

_LOOK = 0.5  # seconds between two looks at the memory
_RHYTHMS = ("8 8 4 8 8 4", "4 8 8 2", "8 4 8 4 4", "2 4 4", "4 4 4 8 8")


def small_chart(seed: int) -> bytes:
    """Two altos in unison over eight bars."""
    chance = random.Random(seed)
    bars = [chance.choice(_RHYTHMS).split() for _ in range(8)]
    line = " ".join(
        f"{chance.choice('CDEFGAB')}{chance.choice('45')}/{length}"
        for bar in bars
        for length in bar
    )
    return score_xml({name: part_xml(line) for name in ("Alto Sax 1", "Alto Sax 2")})


def write_library(folder: Path, charts: int) -> None:
    """Charts that are not there yet."""
    folder.mkdir(parents=True, exist_ok=True)
    for n in range(charts):
        path = folder / f"tune_{n:06}.musicxml"
        if not path.exists():
            path.write_bytes(small_chart(n))


@dataclass(slots=True, kw_only=True)
class Run:
    """One run of `book`. seconds: by the clock; memory: (share of the charts done, MB of the
    process that leads, MB of the largest below it) at each look."""

    code: int
    seconds: float
    counts: dict[str, int]
    memory: list[tuple[float, float, float]] = field(default_factory=list)

    def at(self, share: float) -> tuple[float, float]:
        """MB when so much was done."""
        looks = [look for look in self.memory if look[0] >= share] or self.memory[-1:]
        return looks[0][1:] if looks else (0.0, 0.0)


def run_book(library: Path, out: Path) -> Run:
    """Run `book` and watch it."""
    began = time.monotonic()
    command = [sys.executable, "-m", "sectionprep", "book", str(library), "-o", str(out)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    looks = []
    while process.poll() is None:
        time.sleep(_LOOK)
        state = _state(out, began=time.time() - (time.monotonic() - began))
        done = 1 - state.get("left", 0) / state["charts"] if state.get("charts") else 0.0
        below = [_megabytes(child) for child in _below(process.pid)]
        looks.append((done, _megabytes(process.pid), max(below, default=0.0)))
    seconds = time.monotonic() - began
    state = _state(out, began=0.0)
    counts = {name: state.get(name, 0) for name in ("done", "unchanged", "failed")}
    return Run(code=process.returncode, seconds=seconds, counts=counts, memory=looks)


def _state(out: Path, began: float) -> dict[str, int]:
    """What `book.json` says, if it was written since then (seconds since the epoch)."""
    path = out / "book.json"
    try:
        if path.stat().st_mtime < began:
            return {}
        state = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return {}
    return {k: v for k, v in state.items() if isinstance(v, int)}


def _megabytes(process: int) -> float:
    """Memory that is in use, 0 where it cannot be told."""
    try:
        for line in Path(f"/proc/{process}/status").read_text().splitlines():
            if line.startswith("VmRSS:"):
                return int(line.split()[1]) / 1024
    except OSError:
        pass
    return 0.0


def _below(process: int) -> list[int]:
    """Processes that this one has started, and those that they have."""
    found: list[int] = []
    try:
        for task in Path(f"/proc/{process}/task").iterdir():
            children = [int(c) for c in (task / "children").read_text().split()]
            found += children
            for child in children:
                found += _below(child)
    except OSError:
        pass
    return found


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--charts", type=int, default=2000)
    parser.add_argument("--in", dest="folder", type=Path, help="folder to work in, and to leave")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="book") as passing:
        folder = given.folder or Path(passing)
        write_library(folder / "charts", given.charts)
        for name in ("first run", "second run"):
            run = run_book(folder / "charts", folder / "results")
            told = ", ".join(f"{count} {what}" for what, count in run.counts.items() if count)
            print(f"{name}: {run.seconds:.1f} s, code {run.code}, {told}")
            for share in (0.1, 0.5, 1.0):
                lead, work = run.at(share)
                print(f"  at {share:4.0%}: {lead:.0f} MB leads, {work:.0f} MB works", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
