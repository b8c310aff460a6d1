"""Measures the checks on planted faults: `python tests/measure_checks.py --seeds 0-49`.

Every chart is marked up consistently and checked (each finding there is a false one), then spoiled
and checked again. A fault is found when a finding names its part and its bar (or one of the fault's
other places; any bar for a wrong transposition). A finding that the clean chart has as well finds
nothing.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))

from charts import plant_chart
from faults import Fault, mark_up, plant_faults
from measure_passages import arguments, run, seeds
from passage_scores import SAME_BEAT, share

Finding = dict[str, Any]


@dataclass(slots=True)
class Result:
    seed: int
    bars: int
    rows: list[tuple[Fault, list[Finding], bool]] = field(
        default_factory=list
    )  # fault, findings, beat too
    false: list[Finding] = field(default_factory=list)  # on the clean chart
    extra: list[Finding] = field(
        default_factory=list
    )  # on the spoiled chart, explained by no fault
    error: str = ""


def check(path: Path, function: str | None = None) -> list[Finding]:
    """The findings of a chart: from the command line, or from a function 'module:name' of a
    path."""
    return list(run(["check", str(path)], function, path)["findings"])


def named(finding: Finding, fault: Fault) -> bool:
    if finding.get("part") != fault.part:
        return False
    return fault.whole_part or finding.get("index") in {p.bar for p in fault.places}


def on_beat(finding: Finding, fault: Fault) -> bool:
    beat, index = finding.get("beat"), finding.get("index")
    if fault.whole_part:
        return True
    return beat is not None and any(
        index == p.bar and abs(beat - p.beat) <= SAME_BEAT for p in fault.places
    )


def key(finding: Finding) -> tuple[str, ...]:
    return tuple(str(finding.get(k)) for k in ("check", "index", "beat", "part", "message"))


def measure(seed: int, function: str | None, keep: Path | None) -> Result:
    plain, truth = plant_chart(seed, deviations=False)
    clean = mark_up(plain, truth, seed)
    spoiled, faults = plant_faults(clean, truth, seed)
    result = Result(seed, len(truth.bar_beats))
    with tempfile.TemporaryDirectory() as folder:
        try:
            found = []
            for name, data in (("clean", clean), ("spoiled", spoiled)):
                path = (keep or Path(folder)) / f"planted_{seed}_{name}.musicxml"
                path.write_bytes(data)
                found.append(check(path, function))
        except Exception as error:  # a crash on one chart must not end the measuring
            result.error = f"{type(error).__name__}: {error}"
            result.rows = [(f, [], False) for f in faults]
            return result
    result.false = found[0]
    known = {key(f) for f in found[0]}
    new = [f for f in found[1] if key(f) not in known]
    for fault in faults:
        hits = [f for f in new if named(f, fault)]
        result.rows.append((fault, hits, any(on_beat(f, fault) for f in hits)))
    result.extra = [f for f in new if not any(named(f, fault) for fault in faults)]
    return result


def table(results: list[Result]) -> str:
    rows = [r for result in results for r in result.rows]
    lines = [f"{'fault':<24}{'planted':>9}{'found':>8}{'recall':>9}{'on beat':>9}  named by"]
    for kind in ["all", *sorted({r[0].kind for r in rows})]:
        mine = [r for r in rows if kind in ("all", r[0].kind)]
        hits = [r for r in mine if r[1]]
        checks = Counter(name for r in hits for name in {str(f.get("check")) for f in r[1]})
        names = "" if kind == "all" else ", ".join(f"{n} {c}" for n, c in checks.most_common(4))
        lines.append(
            f"{kind:<24}{len(mine):>9}{len(hits):>8}{share(len(hits), len(mine)):>9}"
            f"{share(sum(r[2] for r in hits), len(hits)):>9}  {names}"
        )
    bars = sum(r.bars for r in results if not r.error)
    for name, groups in (
        ("false on clean charts", [r.false for r in results]),
        ("unexplained on spoiled", [r.extra for r in results]),
    ):
        listed = [f for group in groups for f in group]
        by = Counter((str(f.get("check")), str(f.get("severity"))) for f in listed)
        rate = 100 * len(listed) / bars if bars else 0.0
        lines.append(f"{name:<24}{len(listed):>9} in {bars} bars: {rate:.2f} per 100 bars")
        lines += [
            f"    {check} ({severity}): {count}" for (check, severity), count in by.most_common()
        ]
    return "\n".join(lines)


def told(finding: Finding) -> str:
    where = f"bar {finding.get('index')}:{finding.get('beat')} {finding.get('part')}"
    return f"{finding.get('check')} ({finding.get('severity')}) {where}: {finding.get('message')}"


def report(result: Result) -> None:
    print(f"seed {result.seed}")
    for fault, hits, beat in result.rows:
        where = (
            f"bar {fault.bar}:{fault.beat:g} {fault.part}, {fault.texture} of "
            f"{fault.size}: {fault.detail}"
        )
        if not hits:
            print(f"  missed: {fault.kind} {where}")
        elif not beat:
            print(f"  other beat: {fault.kind} {where}\n    found: {told(hits[0])}")
    for name, listed in (("false", result.false), ("unexplained", result.extra)):
        for finding in listed:
            print(f"  {name}: {told(finding)}")


def main() -> int:
    options = arguments(__doc__).parse_args()
    if options.keep:
        options.keep.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(options.jobs) as pool:
        work = partial(measure, function=options.in_process, keep=options.keep)
        results = list(pool.map(work, seeds(options.seeds)))
    for result in results:
        if result.error:
            print(f"seed {result.seed}: {result.error}", file=sys.stderr)
        elif options.verbose:
            report(result)
    print(table(results))
    return 1 if any(r.error for r in results) else 0


if __name__ == "__main__":
    raise SystemExit(main())
