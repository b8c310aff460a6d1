"""How long the review page takes, and how much memory: `python tests/measure_review.py [CHART]`.

Without a chart: the demo, and 31 parts by 940 bars. Seconds by the clock on the wall; run it on a
quiet machine. The first page is timed from the command to the end of the answer.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import httpx
from benchmark import make_chart
from review_page import LATEST, Run, start

DEMO = Path(__file__).parents[1] / "demo_chart" / "late_tram_home.musicxml"
#: seconds, seconds, seconds, megabytes: what the issue asks for on the demo
FIRST, PASSAGE, DECISION, MEMORY = 0.8, 0.5, 0.5, 300


def _memory(run: Run) -> float:
    """Megabytes of the server and its processes together, shared pages counted once (Pss)."""
    listed = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(run.process.pid)], capture_output=True, text=True
    ).stdout
    total = 0
    for pid in [str(run.process.pid), *listed.split()]:
        try:
            rows = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
        except OSError:
            continue
        total += sum(int(row.split()[1]) for row in rows if row.startswith("Pss:"))
    return total / 1024


def _processor(run: Run) -> float:
    """Seconds of processor time that the server itself has taken."""
    fields = Path(f"/proc/{run.process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """first: seconds from the command to the first page; processor: what of it the server worked;
    passage, section, decision: seconds of each answer, sorted; memory: megabytes."""

    passages: int
    first: float
    processor: float
    passage: list[float]
    section: list[float]
    decision: list[float]
    memory: float


def measured(chart: Path) -> Figures:
    """Review a chart as a director does, and take the time."""
    began = time.perf_counter()
    run = start(chart)
    try:
        with httpx.Client(base_url=run.base, timeout=120, follow_redirects=True) as client:
            client.get(run.address)
            first, processor = time.perf_counter() - began, _processor(run)
            client.headers["origin"] = run.base
            page = client.get("/").text
            names = [piece.partition('"')[0] for piece in page.split('href="/passage/')[1:]]
            spent: dict[str, list[float]] = {"passage": [], "section": [], "decision": []}
            for name in dict.fromkeys(names[:12]):
                for what, address in (
                    ("passage", f"/passage/{name}"),
                    ("section", f"/passage/{name}/drawing?parts=all&width=140"),
                ):
                    clock = time.perf_counter()
                    client.get(address).raise_for_status()
                    spent[what].append(time.perf_counter() - clock)
                tick = client.get(f"/passage/{name}/drawing").json()["notes"][0]["tick"]
                wish = {"passage": name, "tick": tick, "verb": "mark", "mark": "ghost",
                        "width": 190, "pitch": "sounding", "version": LATEST}  # fmt: skip
                clock = time.perf_counter()
                client.post("/decide", json=wish).raise_for_status()
                spent["decision"].append(time.perf_counter() - clock)
            memory = _memory(run)
    finally:
        run.stop()
    return Figures(
        passages=len(set(names)),
        first=first,
        processor=processor,
        memory=memory,
        **{what: sorted(times) for what, times in spent.items()},
    )


def middle(times: list[float]) -> float:
    """The one in the middle of sorted ones."""
    return times[len(times) // 2]


def measure(chart: Path) -> None:
    took = measured(chart)
    print(f"{chart.name}: {took.passages} passages")
    print(
        f"  first page after the command   {took.first:6.2f} s   wanted {FIRST} "
        f"({took.processor:.2f} s of processor time)"
    )
    for what, times, wanted in (
        ("passage", took.passage, PASSAGE),
        ("section", took.section, PASSAGE),
        ("decision", took.decision, DECISION),
    ):
        print(f"  {what:<30} {middle(times):6.2f} s   worst {times[-1]:.2f}   wanted {wanted}")
    print(f"  memory                         {took.memory:6.0f} MB  wanted {MEMORY}")


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        charts = [Path(word) for word in sys.argv[1:]]
        if not charts:
            large = Path(folder) / "large.musicxml"
            large.write_bytes(make_chart(31, 940))
            charts = [DEMO, large]
        for chart in charts:
            copy = Path(folder) / f"copy_{chart.name}"
            copy.write_bytes(chart.read_bytes())
            measure(copy)


if __name__ == "__main__":
    main()
