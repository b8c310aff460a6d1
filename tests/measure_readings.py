"""How many passages have three readings that a director would want to choose between.

    python tests/measure_readings.py [--charts 40]

The demo and generated charts (tests/charts, every other one dense). A passage counts if it has
three readings, and if each leans otherwise than the plan and than every other reading on two notes
or more.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from charts import plant_chart

from sectionprep import stages
from sectionprep.phrasing.plan import PassagePlan
from sectionprep.phrasing.readings import LEAST
from sectionprep.results import Options

_DEMO = Path(__file__).parents[1] / "demo_chart" / "late_tram_home.musicxml"


def worth_hearing(planned: PassagePlan) -> bool:
    """Three readings, all unlike each other and the plan."""
    sets = [
        {note.tone.onset for note in notes if note.leaned}
        for notes in (planned.notes, *(reading.notes for reading in planned.readings))
    ]
    unlike = (len(one ^ other) for n, one in enumerate(sets) for other in sets[:n])
    return len(sets) == 4 and min(unlike) >= LEAST


def passages(charts: int) -> Iterator[PassagePlan]:
    """The plans of all passages."""
    with tempfile.TemporaryDirectory() as folder:
        files = [_DEMO]
        for seed in range(charts):
            files.append(Path(folder) / f"chart{seed}.musicxml")
            files[-1].write_bytes(plant_chart(seed, kind="dense" if seed % 2 else "ordinary")[0])
        for file in files:
            plan, _ = stages.plan_score(stages.read_score(file, Options()), Options())
            yield from plan.passages


def main() -> None:
    """Print the share, and how the readings came about."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--charts", type=int, default=40)
    found = list(passages(parser.parse_args().charts))
    good = sum(worth_hearing(planned) for planned in found)
    print(f"{good} of {len(found)} passages ({100 * good / len(found):.1f} %)")
    ways = Counter(
        (r.name, r.says.partition("; ")[2] or "at its usual size")
        for planned in found
        for r in planned.readings
    )
    for (name, why), times in sorted(ways.items()):
        print(f"  {name:13} {times:4}  {why}")


if __name__ == "__main__":
    main()
