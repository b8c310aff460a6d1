"""Measures the passage finder on planted charts: `python tests/measure_passages.py --seeds 0-49`.

For each kind of chart (`--kind ordinary|dense|all`): precision, recall, boundaries, textures and
lead, by texture and by trait of the planted passage, and how often passages called sure are right.
`--misses 20` lists the worst; `--kind dense --write 7 chart.musicxml` writes one to look at.
"""

from __future__ import annotations

import argparse
import importlib
import json
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import product
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import passage_scores as scores
from charts import KINDS, RATES, plant_chart
from passage_scores import Pair, Result

ROOT = Path(__file__).resolve().parent.parent


def find(path: Path, function: str | None = None) -> dict[str, Any]:
    """The passages of a chart, as JSON: from the command line, or from 'module:name' of a path."""
    return run(["passages", str(path)], function, path)


def run(arguments: list[str], function: str | None, path: Path) -> dict[str, Any]:
    """Runs the program with --json (exit code 1 may mean 'there are findings'), or the function."""
    if function:
        module, _, name = function.partition(":")
        return dict(getattr(importlib.import_module(module), name)(path))
    command = [sys.executable, "-m", "sectionprep", *arguments, "--json"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    start = done.stdout.find("{")
    if start < 0:
        said = f"exit code {done.returncode}, no JSON\n{done.stderr[-2000:]}"
        raise RuntimeError(f"{' '.join(arguments)}: {said}")
    return dict(json.loads(done.stdout[start:]))


def measure(
    job: tuple[str, int],
    function: str | None,
    deviations: bool,
    rate: str | None,
    keep: Path | None,
) -> Result:
    kind, seed = job
    chart, truth = plant_chart(seed, kind=kind, deviations=deviations, rate=rate)
    with tempfile.TemporaryDirectory() as folder:
        path = (keep or Path(folder)) / f"planted_{kind}_{seed}.musicxml"
        path.write_bytes(chart)
        try:
            found = find(path, function)["passages"]
            result = scores.compare(truth, found)
            result.misses = list(scores.mismatches(truth, result, found))
        except Exception as error:  # a crash on one chart must not end the measuring
            said = f"{type(error).__name__}: {error}"
            result = Result(seed, kind, [Pair(p, None) for p in truth], error=said)
    return result


def arguments(text: str | None) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=text, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="0-49", help="such as 0-49 or 3,7,20-29")
    parser.add_argument(
        "--in-process", metavar="MODULE:FUNCTION", help="call function(path) -> dict instead"
    )
    parser.add_argument("--jobs", type=int, default=4)
    parser.add_argument("--keep", type=Path, help="write the charts into this folder")
    parser.add_argument("--verbose", action="store_true", help="list what does not agree")
    return parser


def seeds(text: str) -> list[int]:
    out: list[int] = []
    for word in text.split(","):
        first, _, last = word.partition("-")
        out += range(int(first), int(last or first) + 1)
    return out


def options() -> argparse.Namespace:
    parser = arguments(__doc__)
    parser.add_argument("--kind", choices=(*KINDS, "all"), default="all")
    parser.add_argument("--rate", choices=RATES, help="how busy the lines of dense charts are")
    parser.add_argument("--no-deviations", action="store_true", help="plant clean passages only")
    parser.add_argument("--misses", type=int, default=0, metavar="N", help="list the N worst")
    parser.add_argument("--write", nargs=2, metavar=("SEED", "FILE"), help="write one chart")
    chosen = parser.parse_args()
    if chosen.write and chosen.kind == "all":
        parser.error("say which kind of chart to write: --kind ordinary or --kind dense")
    return chosen


def report(kind: str, results: list[Result], misses: int, verbose: bool) -> None:
    print(f"== {kind}", scores.table(results), "", scores.reliability(results), "", sep="\n")
    ranked = sorted(((*m, r.seed) for r in results for m in r.misses), key=lambda m: -m[0])
    for weight, text, seed in ranked[:misses]:
        print(f"{kind} seed {seed}, weight {weight:.0f}\n  {text}")
    for r in results if verbose else ():
        print(f"{kind} seed {r.seed}", *(f"  {text}" for _, text in r.misses), sep="\n")


def main() -> int:
    chosen = options()
    clean = {"deviations": not chosen.no_deviations, "rate": chosen.rate}
    if chosen.write:
        seed, file = chosen.write
        Path(file).write_bytes(plant_chart(int(seed), kind=chosen.kind, **clean)[0])
        return 0
    if chosen.keep:
        chosen.keep.mkdir(parents=True, exist_ok=True)
    kinds = KINDS if chosen.kind == "all" else (chosen.kind,)
    work = partial(measure, function=chosen.in_process, keep=chosen.keep, **clean)
    with ProcessPoolExecutor(chosen.jobs) as pool:
        results = list(pool.map(work, product(kinds, seeds(chosen.seeds))))
    for r in results:
        if r.error:
            print(f"{r.kind} seed {r.seed}: {r.error}", file=sys.stderr)
    for kind in kinds:
        report(kind, [r for r in results if r.kind == kind], chosen.misses, chosen.verbose)
    return 1 if any(r.error for r in results) else 0


if __name__ == "__main__":
    raise SystemExit(main())
