"""How fast the stages are, each as a ratio measured in one run on charts made here.

`python tests/benchmark.py` prints one table (`--json FILE` writes it); `--quick` is what CI runs:
smaller charts where the target does not name a size, and it fails only on gross regressions (three
times the target).
"""

from __future__ import annotations

import argparse
import io
import json
import math
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from build import part_xml, score_xml, transposed

from sectionprep import preparing, stages
from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.results import Options

_NAMES = [
    "Alto Sax 1",
    "Alto Sax 2",
    "Tenor Sax 1",
    "Tenor Sax 2",
    "Baritone Sax",
    "Trumpet 1",
    "Trumpet 2",
    "Trumpet 3",
    "Trumpet 4",
    "Trombone 1",
    "Trombone 2",
    "Trombone 3",
    "Bass Trombone",
    "Guitar",
    "Piano",
    "Bass",
    "Vibes",
]
_TUNE = (
    "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4 "
    "r/4 G4/8 A4/8 B4/8t C5/8t B4/8t A4/4 "
)
_PUNCH = "r/2 r/8 E4/4. r/1 r/4 F4/8 r/8 r/8 G4/4. r/1 "
_LINE = "C3/4 E3/4 G3/4 A3/4 D3/4 F3/4 A3/4 B3/4 "


@dataclass(frozen=True, slots=True)
class Row:
    """One measured ratio, or a figure whose unit is in its name, and its target (smaller is
    better)."""

    what: str
    value: float
    target: float

    @property
    def ok(self) -> bool:
        return self.value <= self.target


def make_chart(parts: int, bars: int) -> bytes:
    """A chart of repeating material: saxes in octaves and soli, brass figures, a walking bass."""
    made: dict[str, str] = {}
    for n in range(parts):
        name = _NAMES[n] if n < len(_NAMES) else f"Extra {n}"
        section = n % 17
        text = _TUNE if section < 5 else _PUNCH if section < 13 else _LINE
        text = transposed(text, -section if section < 13 else 0) * (bars // 2 + 1)
        xml = part_xml(" ".join(text.split()))
        made[name] = "</measure>".join(xml.split("</measure>")[:bars]) + "</measure>"
    return score_xml(made)


def seconds(job: Callable[[], object], times: int = 1) -> float:
    """Best wall time of a job: what the machine does to it besides only ever adds."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        job()
        spent.append(time.perf_counter() - start)
    return min(spent)


def analysis(data: bytes) -> bytes:
    """Reading, finding, planning, marking, checking, and writing the marked score."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "chart.musicxml"
        path.write_bytes(data)
        score = stages.read_score(path, Options())
        marked = stages.mark_score(score, Options())  # as the command `mark` does
        assert len(marked.before) >= len(marked.after)  # the checks run when they are asked for
        return stages.write_marked(marked, Path(folder) / "marked.musicxml")[0].read_bytes()


def against_music21(data: bytes) -> Row:
    import music21

    def general() -> None:
        parsed = music21.converter.parseData(data.decode(), format="musicxml")
        music21.musicxml.m21ToXml.GeneralObjectExporter(parsed).parse()

    return Row(
        "analysis path / music21 parse and write",
        seconds(lambda: analysis(data), 3) / seconds(general),
        0.1,
    )


def finding_against_reading(data: bytes) -> Row:
    document = parse_document(Path("x"), data)
    chart = read_chart(document)
    reading = seconds(lambda: read_chart(parse_document(Path("x"), data)))
    return Row("finding / reading", seconds(lambda: stages.find_passages(chart)) / reading, 1.0)


def bare_engraver(document: Document, chart: Chart) -> Callable[[], None]:
    """The engraver alone: it lays out the same parts and writes their SVG. Cutting the parts out of
    the score is not its work."""
    import verovio

    from sectionprep.drawing.engraver.toolkit import quiet
    from sectionprep.musicxml.copies.part import extract_part

    parts = [extract_part(document, part.id).decode() for part in chart.parts]

    def bare() -> None:
        toolkit = verovio.toolkit()
        toolkit.setOptions({"header": "none", "footer": "none"})
        with quiet():
            for part in parts:
                toolkit.loadData(part)
                for page in range(1, toolkit.getPageCount() + 1):
                    toolkit.renderToSVG(page)

    return bare


def sheets_against_engraver(data: bytes) -> Row:
    from sectionprep.outputs.parts.part_job import SheetStyle
    from sectionprep.outputs.parts.sheets import Basis, draw_all, part_jobs

    document = parse_document(Path("x"), data)
    chart = read_chart(document)

    bare = bare_engraver(document, chart)

    def ours() -> None:
        with tempfile.TemporaryDirectory() as folder:
            draw_all(part_jobs(Basis(document=document, chart=chart), Path(folder), SheetStyle()))

    bare()
    return Row(
        "part sheets to PDF / bare engraver to SVG", seconds(ours, 3) / seconds(bare, 3), 1.5
    )


def workbook_against_openpyxl() -> Row:
    import openpyxl

    from sectionprep.outputs.workbook import tables, write_workbook
    from sectionprep.outputs.workbook.row import Row as BookRow
    from sectionprep.outputs.workbook.rows import Book

    data = make_chart(5, 8)
    chart = read_chart(parse_document(Path("x"), data))
    rows = {
        name: [
            BookRow(
                key=f"{name}{n}", cells={c.heading: n if c.number else f"text {n}" for c in columns}
            )
            for n in range(3000 if name == tables.MARKS else 100)
        ]
        for name, columns in tables.TABLES.items()
    }
    book = Book(
        chart=chart,
        together=stages.find_passages(chart),
        plan=stages.Plan(style="", style_why="", passages=()),
        rows=rows,
    )

    def bare() -> None:
        workbook = openpyxl.Workbook()
        for name, table in rows.items():
            sheet = workbook.create_sheet(name)
            for row in table:
                sheet.append([*row.cells.values(), row.key])
        workbook.save(io.BytesIO())

    return Row(
        "workbook / bare openpyxl, same cells",
        seconds(lambda: write_workbook(book), 3) / seconds(bare, 3),
        1.5,
    )


def help_against_typer() -> Row:
    bare = (
        "import typer\napp=typer.Typer()\n@app.command()\ndef f(x:int=1): "
        "...\n@app.command()\ndef g(y:int=1): ...\napp()"
    )
    ours = seconds(
        lambda: subprocess.run(
            [sys.executable, "-m", "sectionprep", "--help"], capture_output=True, check=True
        ),
        5,
    )
    theirs = seconds(
        lambda: subprocess.run(
            [sys.executable, "-c", bare, "--help"], capture_output=True, check=True
        ),
        5,
    )
    return Row("--help / bare typer program", ours / theirs, 1.5)


def exponent(sizes: list[int], make: Callable[[int], bytes]) -> float:
    """Slope of log time over log size for the analysis path."""
    times = []
    for size in sizes:
        data = make(size)
        start = time.perf_counter()
        analysis(data)
        times.append(time.perf_counter() - start)
    xs, ys = [math.log(s) for s in sizes], [math.log(t) for t in times]
    mx, my = statistics.mean(xs), statistics.mean(ys)
    return sum((x - mx) * (y - my) for x, y in zip(xs, ys, strict=True)) / sum(
        (x - mx) ** 2 for x in xs
    )


def whole_against_engraver(data: bytes) -> Row:
    document = parse_document(Path("x"), data)
    chart = read_chart(document)

    bare = bare_engraver(document, chart)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "chart.musicxml"
        path.write_bytes(data)
        runs = iter(range(100))
        whole = seconds(
            lambda: preparing.prepare(path, Path(folder) / f"out{next(runs)}", Options()), 3
        )
    return Row("prepare, everything / bare engraver", whole / seconds(bare, 3), 2.5)


def _library(charts: int) -> tempfile.TemporaryDirectory[str]:
    folder = tempfile.TemporaryDirectory()
    for n in range(charts):
        (Path(folder.name) / f"chart{n:02d}.musicxml").write_bytes(make_chart(10, 40 + 4 * n))
    return folder


def book_on_two_cores(charts: int) -> Row:
    """Time of a book on two cores as a share of its time on one (a speed-up of 1.7 is a share of
    0.59). The same command, held to one core and to two."""
    run = (
        "import sys; from pathlib import Path; from sectionprep.library import book; from "
        "sectionprep.stages import Options\n"
        "book(Path(sys.argv[1]), Path(sys.argv[2]), Options())"
    )

    def timed(cores: set[int]) -> float:
        with _library(charts) as library, tempfile.TemporaryDirectory() as out:
            start = time.perf_counter()
            subprocess.run(
                [sys.executable, "-c", run, library, out],
                check=True,
                capture_output=True,
                preexec_fn=lambda: os.sched_setaffinity(0, cores),
            )
            return time.perf_counter() - start

    cores = sorted(os.sched_getaffinity(0))[:2]
    return Row("book: time on two cores / on one", timed(set(cores)) / timed({cores[0]}), 1 / 1.7)


def stages_by_size(sizes: list[tuple[int, int]]) -> list[Row]:
    """Analysis seconds at each size, as a share of the first: for reading, no target but
    proportion."""
    base = 0.0
    rows = []
    for parts, bars in sizes:
        data = make_chart(parts, bars)
        spent = seconds(lambda data=data: analysis(data), 2)  # type: ignore[misc]
        base = base or spent / (sizes[0][0] * sizes[0][1])
        rows.append(
            Row(
                f"analysis of {parts} parts x {bars} bars / its share by size",
                spent / (base * parts * bars),
                1.5,
            )
        )
    return rows


def review_page() -> list[Row]:
    """The review page of the demo, in seconds and megabytes. The first page is counted in processor
    time of the server, which hangs less on what else the machine does."""
    from measure_review import DECISION, DEMO, FIRST, MEMORY, PASSAGE, measured, middle

    with tempfile.TemporaryDirectory() as folder:
        chart = Path(folder) / DEMO.name
        chart.write_bytes(DEMO.read_bytes())
        took = measured(chart)
    return [
        Row("review: first page, seconds of processor time", took.processor, FIRST),
        Row("review: a passage, seconds", middle(took.passage), PASSAGE),
        Row("review: a decision, seconds", middle(took.decision), DECISION),
        Row("review: memory of all its processes, MB", took.memory, MEMORY),
    ]


def measure(quick: bool) -> list[Row]:
    """All rows."""
    chart = make_chart(17, 100)  # what the targets are about; smaller charts measure process starts
    rows = [
        against_music21(chart),
        finding_against_reading(make_chart(30, 60 if quick else 700)),
        sheets_against_engraver(chart),
        whole_against_engraver(chart),
        workbook_against_openpyxl(),
        help_against_typer(),
        *review_page(),
    ]
    rows.append(
        Row(
            "time exponent in bars",
            exponent(
                [25, 50, 100] if quick else [50, 100, 200, 400, 800], lambda n: make_chart(10, n)
            ),
            1.1,
        )
    )
    if not quick:
        rows += stages_by_size(
            [(17, 50), (17, 100), (17, 200), (17, 400), (17, 800), (10, 100), (30, 100)]
        )
        if len(os.sched_getaffinity(0)) > 1:
            rows.append(book_on_two_cores(12))
        rows.append(
            Row("time exponent in parts", exponent([10, 17, 30], lambda n: make_chart(n, 100)), 2.0)
        )
    peak = (
        max(
            resource.getrusage(who).ru_maxrss
            for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        )
        / 1024
    )
    rows.append(Row("peak memory of one process, MB (music21 loaded)", peak, 1200.0))
    return rows


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    rows = measure(options.quick)
    for row in rows:
        print(
            f"{row.what:<56} {row.value:>9.3f}   target {row.target:g}{'' if row.ok else '   OVER'}"
        )
    if options.json:
        options.json.write_text(json.dumps([asdict(row) for row in rows], indent=1))
    gross = [row for row in rows if row.value > 3 * row.target]
    return 1 if gross else 0


if __name__ == "__main__":
    sys.exit(main())
