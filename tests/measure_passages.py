"""Measures the passage finder on planted charts: `python tests/measure_passages.py --seeds 0-49`.

A found passage matches a planted one when it has the same set of parts and intersection over union in time
is at least 0.9. Precision and recall are counted from matches; starts and ends (within 0.01 beat), texture
and lead on matches only. Rows below the textures give the recall by trait of the planted passage.
"""

from __future__ import annotations

import argparse
import importlib
import json
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from charts import Passage, Truth, plant_chart

ROOT = Path(__file__).resolve().parent.parent
SAME_TIME, SAME_BEAT = 0.9, 0.01
COLUMNS = ("planted", "found", "match", "precision", "recall", "start", "end", "both", "texture", "lead", "shared")


def find(path: Path, function: str | None = None) -> dict[str, Any]:
    """The passages of a chart, as JSON: from the command line, or from a function 'module:name' of a path."""
    return run(["passages", str(path)], function, path)


def run(arguments: list[str], function: str | None, path: Path) -> dict[str, Any]:
    """Runs the program with --json (exit code 1 may mean 'there are findings') or calls the function."""
    if function:
        module, _, name = function.partition(":")
        return dict(getattr(importlib.import_module(module), name)(path))
    done = subprocess.run([sys.executable, "-m", "sectionprep", *arguments, "--json"], capture_output=True, text=True, cwd=ROOT)
    start = done.stdout.find("{")
    if start < 0:
        raise RuntimeError(f"{' '.join(arguments)}: exit code {done.returncode}, no JSON\n{done.stderr[-2000:]}")
    return dict(json.loads(done.stdout[start:]))


@dataclass(slots=True)
class Pair:
    """A planted passage and the found one that matches it, if any."""

    planted: Passage
    found: dict[str, Any] | None
    start: bool = False
    end: bool = False
    texture: bool = False
    lead: bool = False
    shared: bool = False


@dataclass(slots=True)
class Result:
    seed: int
    pairs: list[Pair] = field(default_factory=list)
    spare: list[dict[str, Any]] = field(default_factory=list)
    error: str = ""
    lines: list[str] = field(default_factory=list)


def span(truth: Truth, found: dict[str, Any]) -> tuple[float, float]:
    """Start and end of a found passage, in quarters from the start of the chart."""
    edges = [truth.beats((found[edge]["index"], found[edge]["beat"])) for edge in ("start", "end")]
    return edges[0], edges[1]


def overlap(one: tuple[float, float], two: tuple[float, float]) -> float:
    shared = min(one[1], two[1]) - max(one[0], two[0])
    return max(0.0, shared) / max(1e-9, max(one[1], two[1]) - min(one[0], two[0]))


def compare(truth: Truth, found: list[dict[str, Any]]) -> tuple[list[Pair], list[dict[str, Any]]]:
    """Pairs in falling order of overlap, one to one; and what was found without being planted."""
    wanted = {i: (truth.beats(p.start), truth.beats(p.end)) for i, p in enumerate(truth)}
    ranked = sorted(
        (-overlap(wanted[i], span(truth, f)), i, j)
        for i, p in enumerate(truth)
        for j, f in enumerate(found)
        if set(p.parts) == set(f["parts"])
    )
    mine: dict[int, int] = {}
    for fit, i, j in ranked:
        if -fit >= SAME_TIME and i not in mine and j not in mine.values():
            mine[i] = j
    pairs = []
    for i, p in enumerate(truth):
        if i not in mine:
            pairs.append(Pair(p, None))
            continue
        f = found[mine[i]]
        edges = span(truth, f)
        close = [abs(a - b) <= SAME_BEAT for a, b in zip(edges, wanted[i], strict=True)]
        same = f["texture"] == p.texture
        pairs.append(Pair(p, f, close[0], close[1], same, f["lead"] == p.lead, f["lead"] in p.leads))
    return pairs, [f for j, f in enumerate(found) if j not in mine.values()]


def measure(seed: int, function: str | None, deviations: bool, keep: Path | None) -> Result:
    chart, truth = plant_chart(seed, deviations=deviations)
    result = Result(seed)
    with tempfile.TemporaryDirectory() as folder:
        path = (keep or Path(folder)) / f"planted_{seed}.musicxml"
        path.write_bytes(chart)
        try:
            found = find(path, function)["passages"]
            result.pairs, result.spare = compare(truth, found)
        except Exception as error:  # a crash on one chart must not end the measuring
            result.error = f"{type(error).__name__}: {error}"
            result.pairs = [Pair(p, None) for p in truth]
            return result
    result.lines = list(mismatches(truth, result, found))
    return result


def mismatches(truth: Truth, result: Result, found: list[dict[str, Any]]) -> Iterable[str]:
    for pair in result.pairs:
        p, f = pair.planted, pair.found
        here = f"{p.texture} {place(p.start)} to {place(p.end)} in {', '.join(p.parts)} [{'; '.join(p.traits)}]"
        if p.deviations:
            here += " {" + ", ".join(f"{d.kind} {d.part} {place(d.at)}" for d in p.deviations) + "}"
        if f is None:
            yield f"  missed: {here}"
            when = (truth.beats(p.start), truth.beats(p.end))
            rivals = [(overlap(when, span(truth, g)), g) for g in found if set(g["parts"]) & set(p.parts)]
            for fit, g in sorted(rivals, key=lambda r: -r[0])[:2]:
                if fit > 0:
                    more, less = set(g["parts"]) - set(p.parts), set(p.parts) - set(g["parts"])
                    change = " ".join([*(f"+{m}" for m in sorted(more)), *(f"-{m}" for m in sorted(less))])
                    yield f"    nearest: {told(g)}, overlap {fit:.2f}, parts {change or 'the same'}"
        elif not (pair.start and pair.end and pair.texture and pair.shared):
            yield f"  differs: {here}\n    found: {told(f)}, lead {f['lead']} (planted {p.lead})"
    for f in result.spare:
        when, names = span(truth, f), set(f["parts"])
        over = {
            o.kind for o in truth.others if set(o.parts) & names and overlap((truth.beats(o.start), truth.beats(o.end)), when) > 0
        }
        inside = any(set(p.parts) & names and overlap(span_of(truth, p), when) > 0 for p in truth)
        over |= {"passage"} if inside else set()
        where = ", ".join(sorted(over)) or "rhythm"
        yield f"  not planted: {told(f)} in {', '.join(f['parts'])} (over: {where})"


def span_of(truth: Truth, passage: Passage) -> tuple[float, float]:
    return truth.beats(passage.start), truth.beats(passage.end)


def place(at: tuple[int, float]) -> str:
    return f"bar {at[0]}:{at[1]:g}"


def told(f: dict[str, Any]) -> str:
    edges = [place((f[edge]["index"], f[edge]["beat"])) for edge in ("start", "end")]
    return f"{f['texture']} {edges[0]} to {edges[1]}"


def row(name: str, pairs: list[Pair], found: int | None) -> str:
    """One line of the table; `found` is None where precision has no meaning."""
    hits = [p for p in pairs if p.found is not None]
    cells = [str(len(pairs)), "" if found is None else str(found), str(len(hits))]
    cells.append("" if found is None else share(len(hits), found))
    cells.append(share(len(hits), len(pairs)))
    tests: list[Callable[[Pair], bool]] = [
        lambda p: p.start,
        lambda p: p.end,
        lambda p: p.start and p.end,
        lambda p: p.texture,
        lambda p: p.lead,
        lambda p: p.shared,
    ]
    cells += [share(sum(map(test, hits)), len(hits)) for test in tests]
    return f"{name:<28}" + "".join(f"{cell:>10}" for cell in cells)


def share(part: int, whole: int) -> str:
    return f"{part / whole:.3f}" if whole else "-"


def table(results: list[Result]) -> str:
    """Precision of a texture counts what was found under that name; 'shared' accepts any part on top."""
    pairs = [p for r in results for p in r.pairs]
    every = [p.found for p in pairs if p.found is not None] + [f for r in results for f in r.spare]
    lines = [f"{'':<28}" + "".join(f"{c:>10}" for c in COLUMNS), row("all", pairs, len(every))]
    for texture in ("unison", "octaves", "soli"):
        mine = [p for p in pairs if p.planted.texture == texture]
        matched = sum(p.found is not None for p in mine)
        spare = sum(f["texture"] == texture for r in results for f in r.spare)
        lines.append(row(texture, mine, matched + spare))
    traits = sorted({t for p in pairs for t in p.planted.traits})
    lines += [row(f"  {t}", [p for p in pairs if t in p.planted.traits], None) for t in traits]
    return "\n".join(lines)


def arguments(text: str | None) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=text, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="0-49", help="such as 0-49 or 3,7,20-29")
    parser.add_argument("--in-process", metavar="MODULE:FUNCTION", help="call function(path) -> dict instead")
    parser.add_argument("--jobs", type=int, default=4)
    parser.add_argument("--keep", type=Path, help="write the charts into this folder and leave them there")
    parser.add_argument("--verbose", action="store_true", help="list what does not agree")
    return parser


def seeds(text: str) -> list[int]:
    out: list[int] = []
    for word in text.split(","):
        first, _, last = word.partition("-")
        out += range(int(first), int(last or first) + 1)
    return out


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("--no-deviations", action="store_true", help="plant clean passages only")
    options = parser.parse_args()
    if options.keep:
        options.keep.mkdir(parents=True, exist_ok=True)
    work = partial(measure, function=options.in_process, deviations=not options.no_deviations, keep=options.keep)
    with ProcessPoolExecutor(options.jobs) as pool:
        results = list(pool.map(work, seeds(options.seeds)))
    for result in results:
        if result.error:
            print(f"seed {result.seed}: {result.error}", file=sys.stderr)
        if options.verbose and result.lines:
            print(f"seed {result.seed}", *result.lines, sep="\n")
    print(table(results))
    return 1 if any(r.error for r in results) else 0


if __name__ == "__main__":
    raise SystemExit(main())
