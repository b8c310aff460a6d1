"""Do signs on the printed parts run into each other? Prints a count for each pair of kinds.

    python tests/measure_pages.py [CHART ...] [--syllables] [--list]

Every sign that a player reads (articulations, dynamics, words, chord symbols, jazz marks, bar
numbers, syllables ...) is held against every sign of another kind and against note heads,
accidentals, stems, beams, rests, slurs and ties of its line. Two things collide when their ink
boxes overlap by more than TOLERANCE both ways; slanted and curved ink (beams, slurs, hairpins) is
cut into short pieces first. Ledger lines, staff lines and bar lines are meant to be crossed.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from sectionprep import stages
from sectionprep.drawing.engraver.engraver import Engraving
from sectionprep.drawing.scene.ink import Box, Curve, Ink, Polygon, System
from sectionprep.drawing.scene.line_extras import Extra
from sectionprep.outputs.parts.sheet import PartJob, SheetStyle, engraved, extras_of
from sectionprep.outputs.parts.sheets import part_jobs
from sectionprep.results import Options

# hundredths of a millimetre; judgement: below this the eye sees two things that touch, not one blot
TOLERANCE = 15.0
_DEMO = Path(__file__).resolve().parent.parent / "demo_chart" / "late_tram_home.musicxml"
_KINDS = {
    "artic": "articulation",
    "fermata": "fermata",
    "dynam": "dynamic",
    "hairpin": "hairpin",
    "breath": "breath",
    "dir": "words",
    "tempo": "words",
    "reh": "rehearsal mark",
    "repeatMark": "road map",
    "voltaBracket": "ending",
    "tupletNum": "tuplet number",
    "notehead": "head",
    "accid": "accidental",
    "stem": "stem",
    "flag": "flag",
    "beam": "beam",
    "rest": "rest",
    "mRest": "rest",
    "multiRest": "rest",
    "slur": "slur",
    "tie": "tie",
    "clef": "clef",
    "lv": "tie",
    "gliss": "slide",
    "meterSig": "meter",
    "keyAccid": "key",
    "syl": "lyric",
    "fb": "figured bass",
}
_BODIES = frozenset(
    {
        "head",
        "accidental",
        "stem",
        "flag",
        "beam",
        "rest",
        "slur",
        "tie",
        "clef",
        "slide",
        "meter",
        "key",
    }
)
_MEANT = {  # pairs that touch in all good engraving
    frozenset(pair)
    for pair in (
        ("tuplet number", "beam"),
        ("ending", "words"),
        ("jazz", "head"),
        ("articulation", "slur"),
    )
}


@dataclass(frozen=True, slots=True)
class Collision:
    """Two signs that overlap: their kinds, the part, the line (from 1) and the box they share."""

    kinds: tuple[str, str]
    part: str
    line: int
    box: Box


def _kind(ink: Ink) -> str:
    return next((_KINDS[c] for c in reversed(ink.classes) if c in _KINDS), "")


def _pieces(ink: Ink) -> Iterator[Box]:
    """The ink's box, or boxes along it where it is slanted or curved."""
    if isinstance(ink.shape, Curve):
        points = [p for _, pts in ink.shape.segments for p in pts]
        half = len(points) // 2 or 1
        curve = points[: half + 1] if len(points) >= 4 else points
        dense = [_bezier(curve, t / 12) for t in range(13)] if len(curve) == 4 else curve
        for a, b in pairwise(dense):
            yield min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1])
    elif isinstance(ink.shape, Polygon) and ink.box[2] - ink.box[0] > 200:
        pts = sorted(ink.shape.points)
        x0, x1 = pts[0][0], pts[-1][0]
        tops = {
            x0: min(y for x, y in pts if x <= x0 + 1),
            x1: min(y for x, y in pts if x >= x1 - 1),
        }
        lows = {
            x0: max(y for x, y in pts if x <= x0 + 1),
            x1: max(y for x, y in pts if x >= x1 - 1),
        }
        for n in range(12):
            a, b = (n / 12, (n + 1) / 12)
            ys = [tops[x0] + (tops[x1] - tops[x0]) * t for t in (a, b)] + [
                lows[x0] + (lows[x1] - lows[x0]) * t for t in (a, b)
            ]
            yield x0 + (x1 - x0) * a, min(ys), x0 + (x1 - x0) * b, max(ys)
    else:
        yield ink.box


def _bezier(p: list[tuple[float, float]], t: float) -> tuple[float, float]:
    u = 1 - t
    return tuple(
        u**3 * p[0][k] + 3 * u * u * t * p[1][k] + 3 * u * t * t * p[2][k] + t**3 * p[3][k]
        for k in (0, 1)
    )  # type: ignore[return-value]


def _overlap(a: Box, b: Box) -> Box | None:
    x0, y0, x1, y1 = max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3])
    return (
        (x0, y0, x1, y1)
        if x1 - x0 > min(TOLERANCE, (a[2] - a[0]) / 2, (b[2] - b[0]) / 2)
        and y1 - y0 > min(TOLERANCE, (a[3] - a[1]) / 2, (b[3] - b[1]) / 2)
        else None
    )


def line_collisions(part: str, line: int, system: System, extras: list[Extra]) -> list[Collision]:
    """All collisions on one line."""
    boxes = [
        (kind, box, ink.owner) for ink in system.ink if (kind := _kind(ink)) for box in _pieces(ink)
    ]
    boxes += [(extra.kind, extra.box, "") for extra in extras]
    signs = [item for item in boxes if item[0] not in _BODIES]
    found: dict[tuple[str, str, int], Collision] = {}
    for kind, box, owner in signs:
        for other, its, its_owner in boxes:
            pair = frozenset((kind, other))
            if (
                kind == other
                or pair in _MEANT
                or (owner and owner == its_owner and other in _BODIES and kind != "articulation")
            ):
                continue
            shared = _overlap(box, its)
            if shared is not None:
                names = (min(kind, other), max(kind, other))
                found.setdefault(
                    (*names, round(shared[0] / 200)), Collision(names, part, line, shared)
                )
    return list(found.values())


def collisions_of(job: PartJob, engraving: Engraving | None = None) -> list[Collision]:
    """All collisions on the sheet of one part."""
    drawn = engraving or engraved(job)
    extras = extras_of(drawn, job)
    return [
        c
        for n, system in enumerate(drawn.systems)
        for c in line_collisions(job.name, n + 1, system, extras[n])
    ]


def collisions_in(path: Path, *, syllables: bool = False) -> tuple[list[Collision], int]:
    """All collisions on the marked parts of a chart, and how many signs were looked at."""
    marked = stages.mark_score(stages.read_score(path, Options()), Options())
    with tempfile.TemporaryDirectory() as folder:
        jobs = list(
            part_jobs(
                marked.again.document,
                marked.again.chart,
                Path(folder),
                style=SheetStyle(syllables=syllables),
                footer="",
                together=marked.again.together,
                plan=marked.plan,
            )
        )
    found, looked_at = [], 0
    for job in jobs:
        drawn = engraved(job)
        found += collisions_of(job, drawn)
        looked_at += sum(
            _kind(ink) not in ("", *_BODIES) for system in drawn.systems for ink in system.ink
        )
    return found, looked_at


def main() -> None:
    """Print the count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("charts", nargs="*", type=Path)
    parser.add_argument("--syllables", action="store_true")
    parser.add_argument("--list", action="store_true")
    args = parser.parse_args()
    for chart in args.charts or [_DEMO]:
        found, looked_at = collisions_in(chart, syllables=args.syllables)
        print(
            f"{chart.name}: {len(found)} collisions among {looked_at} signs (more than "
            f"{TOLERANCE / 100:g} mm both ways)"
        )
        for (a, b), count in Counter(c.kinds for c in found).most_common():
            print(f"  {count:4d}  {a} / {b}")
        if args.list:
            for c in found:
                print(
                    f"        {c.part}, line {c.line}: {c.kinds[0]} / {c.kinds[1]} at "
                    f"{c.box[0] / 100:.0f} mm from the left"
                )


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent))
    main()
