"""What marking does to music nobody here wrote: `python tests/outside/measure_marking.py [PATH
...]`.

PATH is a score or a folder of scores; without any, works of the music21 corpus are taken (WORKS).
Of each file the table says how many findings there were before and after marking, how many marks
that were printed are gone, how many marks stand twice on one chord that did not before, and how
many insertions a second run makes. What is gone and what is doubled is counted by lxml alone in the
bytes before and after, never through our own model.

A file fails when a second run inserts anything, when there are more findings than before, or when a
mark is doubled; the run then ends with 1. `--list` says which; `--samples N` shows N of the marks
that were taken out, with their reasons.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from functools import partial
from importlib.util import find_spec
from pathlib import Path

from lxml import etree

from sectionprep import stages
from sectionprep.errors import SectionprepError
from sectionprep.outputs.reports.marked_score import packed
from sectionprep.results import Options

CORPUS = (
    Path((find_spec("music21") or sys.exit("music21 is missing")).origin or "").parent / "corpus"
)
#: Works below the corpus; of the patterns in EVERY only each n-th file.
WORKS = (
    "bach/*.mxl",
    "beach/*",
    "beethoven/*.mxl",
    "beethoven/*/*.mxl",
    "ciconia/*",
    "corelli/*/*",
    "cpebach/*",
    "handel/*/*",
    "haydn/*/*.mxl",
    "johnson_j_r/*",
    "joplin/*",
    "liliuokalani/*",
    "luca/*",
    "lusitano/*",
    "monteverdi/*.mxl",
    "mozart/*/*.mxl",
    "schoenberg/*/*",
    "schubert/*",
    "schumann_*/**/*",
    "trecento/*",
    "verdi/*",
    "weber/*",
    "webern/*",
)
EVERY = {"bach/*.mxl": 20, "monteverdi/*.mxl": 6, "trecento/*": 10}
SCORES = (".musicxml", ".xml", ".mxl")
_ON_NOTES = ("articulations", "technical", "ornaments")


@dataclass(kw_only=True)
class Row:
    """What came of one file. gone, gone_signs: printed marks on notes and signs between them that
    are there no more."""

    name: str
    parts: int = 0
    bars: int = 0
    before: int = 0
    after: int = 0
    inserted: int = 0
    gone: int = 0
    gone_signs: int = 0
    doubled: int = 0
    second: int = 0
    worse: dict[str, int] = field(default_factory=dict)
    again: list[str] = field(default_factory=list)
    taken: list[str] = field(default_factory=list)
    seconds: float = 0.0
    error: str = ""

    @property
    def fails(self) -> bool:
        """True for what must never be."""
        return bool(self.error or self.second or self.doubled or self.after > self.before)


# -- straight from the XML
# ----------------------------------------------------------------------------


def _tag(element: etree._Element) -> str:
    return str(etree.QName(element).localname) if isinstance(element.tag, str) else ""


def _notes(root: etree._Element) -> Iterator[etree._Element]:
    return (element for element in root.iter() if _tag(element) == "note")


def marks_on(note: etree._Element) -> Counter[str]:
    """Names of what stands on one note: articulations, technical marks, ornaments, slur ends, a
    head in parentheses."""
    found: Counter[str] = Counter()
    for child in note:
        if _tag(child) == "notehead" and child.get("parentheses") == "yes":
            found["ghost"] += 1
        for home in child if _tag(child) == "notations" else ():
            if _tag(home) in _ON_NOTES:
                found.update(_tag(mark) for mark in home if _tag(mark))
            elif _tag(home) == "slur":
                found[f"slur-{home.get('type')}"] += 1
    return found


def _signs(root: etree._Element) -> Counter[str]:
    """Dynamics and hairpin ends of a whole document, by part and bar."""
    found: Counter[str] = Counter()
    for element in root.iter():
        if _tag(element) in ("dynamics", "wedge"):
            bar = next((e for e in element.iterancestors() if _tag(e) == "measure"), element)
            part = next((e.get("id") for e in element.iterancestors() if _tag(e) == "part"), "")
            text = etree.tostring(element, with_tail=False, method="c14n").decode()
            found[f"{part} {bar.get('number')}: {text}"] += 1
    return found


def _chords(root: etree._Element) -> Iterator[list[etree._Element]]:
    chord: list[etree._Element] = []
    for note in _notes(root):
        if not any(_tag(e) == "chord" for e in note) and chord:
            yield chord
            chord = []
        chord.append(note)
    if chord:
        yield chord


def doubled(root: etree._Element) -> int:
    """Marks that stand on more than one note of a chord."""
    count = 0
    for chord in _chords(root):
        on = Counter(
            name for note in chord for name in set(marks_on(note)) if not name.startswith("slur")
        )
        count += sum(n - 1 for n in on.values())
    return count


def compare(before: bytes, after: bytes) -> tuple[int, int, int]:
    """Marks on notes that are gone, signs between notes that are gone, marks newly doubled in a
    chord."""
    old, new = etree.fromstring(before), etree.fromstring(after)
    pairs = zip(_notes(old), _notes(new), strict=True)
    gone = sum((marks_on(a) - marks_on(b)).total() for a, b in pairs)
    return gone, (_signs(old) - _signs(new)).total(), doubled(new) - doubled(old)


# -- through the stages
# -------------------------------------------------------------------------------


def measure(path: Path, *, section: str | None = None, name: str = "") -> Row:
    """Mark a file twice and look at it before, between and after."""
    row, began = Row(name=name or path.name), time.process_time()
    options = Options() if section is None else Options(section=section)
    try:
        first = stages.mark_score(stages.read_score(path, options), options)
        chart = first.score.chart
        row.parts, row.bars = len(chart.parts), len(chart.bars)
        row.before, row.after = len(first.before), len(first.after)
        row.worse = dict(
            Counter(f.check for f in first.after) - Counter(f.check for f in first.before)
        )
        row.inserted = sum(len(file.splices) for file in first.files)
        row.gone, row.gone_signs, row.doubled = compare(
            first.files[0].source.data, first.files[0].data
        )
        for c in first.marking.changes:
            if c.applied and c.taken:
                row.taken.append(
                    f"{chart.place(c.tick)}, {chart.parts[c.part].name}: {c.was} -> {c.now} "
                    f"({c.why}) [{c.passage}]"
                )
        with tempfile.TemporaryDirectory() as folder:
            twin = Path(folder) / f"marked{path.suffix}"
            twin.write_bytes(packed(first.files[0].source, first.files[0].data, twin.suffix))
            second = stages.mark_score(stages.read_score(twin, options), options)
        row.second = sum(len(file.splices) for file in second.files)
        row.again = [
            f"{chart.place(c.tick)}, {chart.parts[c.part].name}: {c.kind}: {c.was} -> {c.now} "
            f"({c.why}) [{c.passage}]"
            for c in second.marking.changes
            if c.applied
        ]
    except SectionprepError as error:
        row.name += f" (refused: {error})"
    except Exception:
        row.error = traceback.format_exc()
    row.seconds = time.process_time() - began
    return row


def works() -> list[Path]:
    """The works of the corpus that are measured."""
    found: dict[Path, None] = {}
    for pattern in WORKS:
        every = sorted(p for p in CORPUS.glob(pattern) if p.suffix in SCORES)
        found.update(dict.fromkeys(every[:: EVERY.get(pattern, 1)]))
    return list(found)


def _named(paths: Iterable[Path]) -> Iterator[Path]:
    for path in paths:
        yield from (
            sorted(p for p in path.rglob("*") if p.suffix in SCORES) if path.is_dir() else [path]
        )


def _name(path: Path) -> str:
    return str(path.relative_to(CORPUS)) if path.is_relative_to(CORPUS) else path.name


def _one(path: Path, section: str | None) -> Row:
    return measure(path, section=section, name=_name(path))


def table(rows: list[Row]) -> str:
    """One line a file, then the sums."""
    head = (
        f"{'file':<52}{'parts':>6}{'bars':>6}{'before':>8}{'after':>7}"
        f"{'edits':>7}{'gone':>6}{'signs':>6}{'twice':>6}{'2nd':>5}"
    )
    lines = [head]
    for r in rows:
        flag = "  <- fails" if r.fails else ""
        lines.append(
            f"{r.name[:51]:<52}{r.parts:>6}{r.bars:>6}{r.before:>8}{r.after:>7}{r.inserted:>7}{r.gone:>6}{r.gone_signs:>6}"
            f"{r.doubled:>6}{r.second:>5}{flag}"
        )
    lines.append(
        f"{len(rows)} files; findings {sum(r.before for r in rows)} -> "
        f"{sum(r.after for r in rows)}; "
        f"{sum(r.after > r.before for r in rows)} end with more; printed marks gone: "
        f"{sum(r.gone for r in rows)} in "
        f"{sum(r.gone > 0 for r in rows)} files, signs gone: "
        f"{sum(r.gone_signs for r in rows)}; doubled in chords: "
        f"{sum(r.doubled for r in rows)} in {sum(r.doubled > 0 for r in rows)} files; a "
        f"second run inserts in "
        f"{sum(r.second > 0 for r in rows)} files; {sum(bool(r.error) for r in rows)} broke; "
        f"{sum(r.seconds for r in rows):.0f} s"
    )
    return "\n".join(lines)


def main() -> int:
    """Measure, and print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("paths", nargs="*", type=Path)
    parser.add_argument(
        "--section",
        help="policy for marks that the section has printed (default: the program's own)",
    )
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--json", type=Path, help="write all rows there")
    parser.add_argument("--list", action="store_true", help="say what fails, and how")
    parser.add_argument(
        "--samples", type=int, default=0, help="show so many of the marks taken out"
    )
    given = parser.parse_args()
    paths = list(_named(given.paths)) or works()
    with ProcessPoolExecutor(given.jobs) as pool:
        rows = list(pool.map(partial(_one, section=given.section), paths))
    if given.json:
        given.json.write_text(
            json.dumps([asdict(r) for r in rows], ensure_ascii=False, indent=1), encoding="utf-8"
        )
    print(table(rows))
    for r in rows if given.list else ():
        if r.fails:
            print(f"\n{r.name}: {r.error or r.worse}", *r.again[:20], sep="\n  ")
    taken = [f"{r.name}: {line}" for r in rows for line in r.taken]
    print(*random.Random(1).sample(taken, min(given.samples, len(taken))), sep="\n")
    return int(any(r.fails for r in rows))


if __name__ == "__main__":
    sys.exit(main())
