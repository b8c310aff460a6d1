"""How long the review page takes, and how much memory: `python tests/measure_review.py [CHART]`.

Without a chart: the demo, and 31 parts by 940 bars. Seconds by the clock on the wall; run it on a
quiet machine. The first page is timed from the command to the end of the answer.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import httpx
from benchmark import make_chart
from review_page import Run, start

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


def measure(chart: Path) -> None:
    began = time.perf_counter()
    run = start(chart)
    try:
        with httpx.Client(base_url=run.base, timeout=120, follow_redirects=True) as client:
            client.get(run.address)
            first = time.perf_counter() - began
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
                        "width": 190, "pitch": "sounding", "version": 999}  # fmt: skip
                clock = time.perf_counter()
                client.post("/decide", json=wish).raise_for_status()
                spent["decision"].append(time.perf_counter() - clock)
            memory = _memory(run)
    finally:
        run.stop()
    print(f"{chart.name}: {len(set(names))} passages")
    print(f"  first page after the command   {first:6.2f} s   wanted {FIRST}")
    for what, wanted in (("passage", PASSAGE), ("section", PASSAGE), ("decision", DECISION)):
        times = sorted(spent[what])
        print(
            f"  {what:<30} {times[len(times) // 2]:6.2f} s   worst {times[-1]:.2f}   "
            f"wanted {wanted}"
        )
    print(f"  memory                         {memory:6.0f} MB  wanted {MEMORY}")


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
