"""What is wrong on printed pages? Prints a count for each fault and pair of kinds.

    python tests/measure_pages.py [CHART ...] [--corpus N] [--syllables] [--director] [--list]
        [--quiet]

Looks at every part as it is printed (and, with --director, at the director's pages and both small
scores) for the faults of page_faults.py, and times every turn anew by the clock: the rest between
the last note before it and the next one after it, in the order of playing.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy
import pypdfium2
from lxml import etree
from page_faults import BODIES, Fault, collisions, economy, kind_of, line_faults, signs_of

from sectionprep import stages
from sectionprep.drawing.pdf.painter import MM, Painter
from sectionprep.drawing.scene.ink import System
from sectionprep.drawing.scene.line_extras import Extra
from sectionprep.music.chart import Chart
from sectionprep.outputs.parts.alike import made_alike
from sectionprep.outputs.parts.laying_out import laid_out
from sectionprep.outputs.parts.part_job import PartJob, SheetStyle
from sectionprep.outputs.parts.sheets import Basis, part_jobs
from sectionprep.results import Marked, Options

_DEMO = Path(__file__).resolve().parent.parent / "demo_chart" / "late_tram_home.musicxml"
#: of a list of scores out of music21's corpus; and the most of one composer
_LIST, _ALIKE = 40, 6
#: whose scores are kept for judging the finder
_KEPT = frozenset({"haydn"})
_HALF = 0.5  # seconds by which a turn's time may differ: the printed one is in whole seconds


@dataclass(slots=True)
class Count:
    """What was looked at and found. hard: turns without time to turn; staff: of one part, its
    height as a share of the one asked for."""

    faults: list[Fault] = field(default_factory=list)
    signs: int = 0
    pages: int = 0
    turns: int = 0
    hard: int = 0
    staff: float = 0.0

    def add(self, other: Count) -> None:
        """Take another count into this one."""
        self.faults += other.faults
        self.signs += other.signs
        self.pages += other.pages
        self.turns += other.turns
        self.hard += other.hard


def line_collisions(part: str, line: int, system: System, extras: list[Extra]) -> list[Fault]:
    """All collisions on one line."""
    return collisions(part, line, signs_of(system, extras))


def part_count(job: PartJob, chart: Chart, index: int) -> Count:
    """All faults on the sheet of one part."""
    sheet = laid_out(job)
    drawn, broken = sheet.engraving, sheet.fit.pages
    ends = [*broken.starts[1:], len(drawn.lines)]
    found = Count(pages=len(broken.starts) + broken.cover, staff=sheet.fit.share)
    for n, (system, extras) in enumerate(zip(drawn.systems, sheet.extras, strict=True)):
        found.faults += line_faults(job.name, n + 1, system, extras, drawn)
        found.signs += sum(kind_of(ink) not in ("", *BODIES) for ink in system.ink)
    found.faults += economy(
        job.name,
        [last - first + 1 for first, last in drawn.lines],
        [end - start for start, end in zip(broken.starts, ends, strict=True)],
    )
    for turn in broken.turns:
        found.turns += 1
        found.hard += not turn.possible
        if turn.to:
            continue  # jumps: tests/outputs/test_fitting.py
        last = drawn.bars[drawn.lines[broken.starts[turn.page] - 1][1]]
        plain = plain_bars(job) if turn.in_time else frozenset[int]()
        seconds = seconds_to_turn(chart, index, last.index + last.bars - 1, plain)
        if abs(seconds - turn.seconds) > _HALF:
            words = (f"{turn.seconds:.1f} s", f"{seconds:.1f} s by the clock")
            found.faults.append(Fault("turn", words, job.name, 0, (0.0, 0.0, 0.0, 0.0)))
    return found


def plain_bars(job: PartJob) -> frozenset[int]:
    """Bars of a sheet (indices) that show slashes and no other head."""
    bars = enumerate(etree.fromstring(job.xml).iter("measure"))
    heads = {n: [note.findtext("notehead") for note in bar.findall("note")] for n, bar in bars}
    return frozenset(n for n, kinds in heads.items() if kinds and {*kinds} == {"slash"})


def seconds_to_turn(
    chart: Chart, part: int, bar: int, plain: frozenset[int] = frozenset()
) -> float:
    """Seconds without a note of a part around the end of a bar, tempo by tempo: counted tick by
    tick over the quarters, so that nothing is shared with what the sheets count. plain: bars whose
    notes do not count."""
    end = chart.bars[bar].end
    sounding = [
        (note.onset, note.onset + note.duration)
        for note in chart.parts[part].notes
        if note.duration and not note.is_rest and not note.is_cue and note.bar not in plain
    ]
    since = max((off for on, off in sounding if on < end), default=0)
    until = min((on for on, _ in sounding if on >= end), default=chart.bars[-1].end)
    if since > end:
        return 0.0
    tempos = sorted(chart.tempos) or [(0, chart.assumed_tempo)]
    total, step = 0.0, max(1, chart.resolution // 8)
    for tick in range(since, until, step):
        tempo = next((v for at, v in reversed(tempos) if at <= tick), tempos[0][1])
        total += min(step, until - tick) / chart.resolution * 60 / tempo
    return total


def marked_of(path: Path) -> Marked:
    """A chart, marked."""
    return stages.mark_score(stages.read_score(path, Options()), Options())


def parts_count(marked: Marked, *, syllables: bool = False) -> Count:
    """All faults on the parts of a marked chart."""
    again, found = marked.again, Count()
    with tempfile.TemporaryDirectory() as folder:
        jobs = [
            *part_jobs(
                Basis.of_score(again, marked.plan),
                Path(folder),
                SheetStyle(syllables=syllables),
            )
        ]

        def drawn(levels: Mapping[int, int | None]) -> dict[int, Count]:
            return {
                n: part_count(replace(jobs[n], level=level), again.chart, n)
                for n, level in levels.items()
            }

        counts = drawn(dict.fromkeys(range(len(jobs))))
        staves: dict[str, list[float]] = {}
        for n, part in made_alike(counts, [job.alike for job in jobs], drawn).items():
            staves.setdefault(jobs[n].section, []).append(part.staff)
            found.add(part)
    for section, shares in staves.items():
        found.faults += uneven(section, shares)
    return found


def uneven(section: str, shares: Iterable[float]) -> list[Fault]:
    """A section whose staves come in more than two sizes: its players compare their sheets."""
    sizes = {round(share, 3) for share in shares}
    if len(sizes) <= 2:
        return []
    words = ("staves", "of more than two sizes")
    return [Fault("uneven", words, section, 0, (0.0, 0.0, 0.0, 0.0))]


def collisions_in(path: Path, *, syllables: bool = False) -> tuple[list[Fault], int]:
    """All faults on the marked parts of a chart, and how many signs were looked at."""
    found = parts_count(marked_of(path), syllables=syllables)
    return found.faults, found.signs


@dataclass(slots=True)
class Painted:
    """A line that is painted, what is added to it, and the page it stands on (from 1)."""

    system: System
    page: int
    extras: list[Extra] = field(default_factory=list)


@contextmanager
def painted() -> Iterator[list[Painted]]:
    """Every line that is painted meanwhile."""
    seen: list[Painted] = []
    paint, add = Painter.system, Painter.extras

    def watch(self: Painter, system: System, *where: Any, **how: Any) -> None:
        seen.append(Painted(system, self.canvas.getPageNumber()))
        paint(self, system, *where, **how)

    def watch_added(self: Painter, added: Iterable[Extra]) -> None:
        seen[-1].extras += added
        add(self, seen[-1].extras)

    Painter.system, Painter.extras = watch, watch_added  # type: ignore[method-assign]
    try:
        yield seen
    finally:
        Painter.system, Painter.extras = paint, add  # type: ignore[method-assign]


def lonely_bars(name: str, lines: Sequence[Painted], wholes: Sequence[int]) -> list[Fault]:
    """A bar alone on a line of several bars, and a page with nothing but one bar. wholes: bars of
    each piece of music, in the order in which their lines are painted."""
    nowhere, found, n = (0.0, 0.0, 0.0, 0.0), [], 0
    on_page: Counter[int] = Counter()
    for whole in wholes:
        left = whole
        while left > 0 and n < len(lines):
            bars = len(lines[n].system.measures)
            on_page[lines[n].page] += bars
            if bars == 1 and whole > 1:
                found.append(Fault("economy", ("one bar", "a line"), name, n + 1, nowhere))
            left -= bars
            n += 1
    if len(on_page) > 1:
        lone = [page for page, bars in on_page.items() if bars == 1]
        found += [Fault("economy", ("one bar", "a page"), name, 0, nowhere) for _ in lone]
    return found


_AROUND = 200  # points around the paper that are looked at


def off_the_page(name: str, pdf: bytes) -> list[Fault]:
    """What is drawn nearer to the edge of the paper than printers print (5 mm), page by page: the
    paper is made larger, and the ink that shows there is looked for."""
    found, edge = [], 5 * MM
    for n, page in enumerate(pypdfium2.PdfDocument(pdf), start=1):
        wide, high = page.get_size()
        page.set_mediabox(-_AROUND, -_AROUND, wide + _AROUND, high + _AROUND)
        page.set_cropbox(-_AROUND, -_AROUND, wide + _AROUND, high + _AROUND)
        ink = numpy.asarray(page.render(scale=1, grayscale=True).to_pil()) < 255
        first, below = round(_AROUND + edge), round(_AROUND + high - edge)
        ink[first:below, first : round(_AROUND + wide - edge)] = False
        if ink.any():
            y, x = (float(where[0]) - _AROUND for where in ink.nonzero())
            found.append(Fault("off the page", (f"page {n}", ""), name, 0, (x, y, x, y)))
    return found


def director_count(marked: Marked) -> Count:
    """All faults on the music of the director's pages and of both small scores."""
    from sectionprep.outputs.director.pages import director_pdf, studies_of
    from sectionprep.outputs.director.small_score import small_score_pdf

    shown = studies_of(marked)
    with painted() as lines:
        pdf = director_pdf(marked, shown, paper="letter", footer="").pdf
    found = _lines_count("study pages", lines, [len(study.bars) for study in shown.studies], pdf)
    for pitch in ("written", "sounding"):
        with painted() as lines:
            pdf = small_score_pdf(marked.again, paper="letter", footer="", pitch=pitch).pdf
        bars = [len(marked.again.chart.bars)]
        found.add(_lines_count(f"small score, {pitch}", lines, bars, pdf))
    return found


def _lines_count(name: str, lines: Sequence[Painted], wholes: Sequence[int], pdf: bytes) -> Count:
    found = Count(pages=len(pypdfium2.PdfDocument(pdf)))
    for n, line in enumerate(lines, start=1):
        ours = name == "study pages"
        found.faults += line_faults(name, n, line.system, line.extras, None, ours=ours)
        found.signs += len(line.extras)
        found.signs += sum(kind_of(ink) not in ("", *BODIES) for ink in line.system.ink)
    found.faults += lonely_bars(name, lines, wholes) + off_the_page(name, pdf)
    return found


def corpus_list(number: int) -> list[Path]:
    """Forty scores of the corpus that comes with music21, drawn by lot: the same for a number."""
    import music21

    home = Path(music21.__file__).parent / "corpus"
    scores = [p for p in home.rglob("*") if p.suffix in (".mxl", ".xml", ".musicxml")]

    def lot(path: Path) -> str:
        return hashlib.sha256(f"{number} {path.relative_to(home)}".encode()).hexdigest()

    found: list[Path] = []
    drawn: Counter[str] = Counter(dict.fromkeys(_KEPT, _ALIKE))
    for path in sorted(scores, key=lot):
        composer = path.relative_to(home).parts[0]
        drawn[composer] += 1
        if drawn[composer] <= _ALIKE:
            found.append(path)
    return found[:_LIST]


def _say(name: str, found: Count, listed: bool) -> None:
    print(
        f"{name}: {len(found.faults)} faults among {found.signs} signs on {found.pages} pages; "
        f"{found.turns} turns, {found.hard} without time"
    )
    for (kind, signs), count in Counter((f.kind, f.signs) for f in found.faults).most_common():
        print(f"  {count:4d}  {kind}: {' / '.join(filter(None, signs))}")
    for f in found.faults if listed else ():
        where = f"{f.part}, line {f.line}, {f.box[0] / 100:.0f} mm from the left"
        print(f"        {f.kind}: {' / '.join(filter(None, f.signs))}: {where}")


def main() -> None:
    """Print the count."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("charts", nargs="*", type=Path)
    parser.add_argument("--corpus", type=int, metavar="N", help="a list of scores drawn by lot")
    parser.add_argument("--syllables", action="store_true")
    parser.add_argument("--director", action="store_true")
    parser.add_argument("--list", action="store_true")
    parser.add_argument("--quiet", action="store_true", help="the sum over all charts alone")
    args = parser.parse_args()
    total, begun = Count(), time.monotonic()
    charts = args.charts + (corpus_list(args.corpus) if args.corpus is not None else [])
    for path in charts or [_DEMO]:
        try:
            marked = marked_of(path)
            found = parts_count(marked, syllables=args.syllables)
            if args.director:
                found.add(director_count(marked))
        except Exception as error:  # a measure goes on with the next chart
            print(f"{path.name}: not measured: {error!r:.200}", flush=True)
            continue
        total.add(found)
        if not args.quiet:
            _say(path.name, found, args.list)
    if len(charts) > 1:
        _say(f"all, {time.monotonic() - begun:.0f} s", total, False)


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent))
    main()
