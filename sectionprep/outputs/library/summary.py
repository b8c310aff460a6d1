"""A whole library: every chart prepared, one line a chart, resumable, and what the book as a whole
shows."""

from __future__ import annotations

import hashlib
import io
import json
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from sectionprep.settings import writable
from sectionprep.version import __version__

_SUFFIXES = (".musicxml", ".xml", ".mxl", ".krn", ".abc", ".mei")
RECORD = "result.json"
BOOK = "book.json"


@dataclass(slots=True, kw_only=True)
class ChartResult:
    """What became of one chart. status: done, unchanged or failed. figures: figure -> marks, for
    house style; listed: rows of the summary's Passages and Findings sheets; not_printed: how many
    parts; wrong_sheets: these parts, and bars that are not drawn as the file has them."""

    name: str
    key: str
    status: str
    title: str = ""
    passages: int = 0
    before: int = 0
    after: int = 0
    marks: int = 0
    pages: int = 0
    checks: dict[str, int] = field(default_factory=dict)
    chairs: dict[str, int] = field(default_factory=dict)
    figures: dict[str, str] = field(default_factory=dict)
    listed: dict[str, list[list[str]]] = field(default_factory=dict)
    reason: str = ""
    not_printed: int = 0
    wrong_sheets: list[str] = field(default_factory=list)

    @property
    def outcome(self) -> str:
        """What became of it, in words."""
        odd = len(self.wrong_sheets) - self.not_printed
        said = [self.status]
        if self.not_printed:
            said.append(f"{self.not_printed} part{'s' * (self.not_printed > 1)} not printed")
        if odd:
            said.append(
                f"{odd} bar{'s' * (odd > 1)} not as the file has {'them' if odd > 1 else 'it'}"
            )
        return ", ".join(said)


def charts_in(folder: Path, out: Path) -> list[Path]:
    """The charts of a library, in order of name; hidden files and our own results (in `out`, too)
    are left out."""
    found = [
        p
        for p in sorted(folder.rglob("*"))
        if p.is_file()
        and p.suffix.lower() in _SUFFIXES
        and not any(part.startswith(".") for part in p.relative_to(folder).parts)
    ]
    return [
        p
        for p in found
        if not p.stem.endswith("_marked") and out.resolve() not in p.resolve().parents
    ]


def key_of(path: Path, settings: str, files: Sequence[Path] = ()) -> str:
    """Content of the chart, the settings, what is in the files that they name, and the version of
    the program: equal keys need no new work. Raises OSError."""
    digest = hashlib.sha256(f"{__version__}\n{settings}".encode())
    for file in (path, *files):
        digest.update(hashlib.sha256(file.read_bytes()).digest())
    return digest.hexdigest()


def recorded(folder: Path) -> ChartResult | None:
    """The result an earlier run left, if it can be read."""
    try:
        data = json.loads((folder / RECORD).read_text(encoding="utf-8"))
        data.pop("sectionprep", None)
        return ChartResult(**data)
    except (OSError, ValueError, TypeError, AttributeError):
        return None


def as_json(result: ChartResult) -> bytes:
    """A result as the file that makes the book resumable."""
    kept = {"sectionprep": __version__, **asdict(result)}
    return json.dumps(kept, indent=1).encode("ascii")


def book_json(results: Sequence[ChartResult], of: int) -> bytes:
    """The state of a book for other programs: one entry a chart, without the lists that the
    workbook holds. of: charts in all. In ASCII, so that names which are no UTF-8 are kept, too."""
    charts = [
        {k: v for k, v in asdict(result).items() if k not in ("figures", "listed")}
        for result in sorted(results, key=lambda r: r.name)
    ]
    counts = Counter(result.status for result in results)
    body = {
        "sectionprep": __version__,
        "charts": of,
        **{status: counts[status] for status in ("done", "unchanged", "failed")},
        "left": of - len(results),
        "results": charts,
    }
    return json.dumps(body, indent=1).encode("ascii")


def house_differences(results: Sequence[ChartResult]) -> list[tuple[str, list[tuple[str, str]]]]:
    """Figures that two charts phrase differently: (figure, [(chart, marks)])."""
    seen: dict[str, dict[str, str]] = defaultdict(dict)
    for result in results:
        for figure, marks in result.figures.items():
            seen[figure][result.name] = marks
    return [
        (figure, sorted(charts.items()))
        for figure, charts in sorted(seen.items())
        if len(set(charts.values())) > 1
    ]


def summary_workbook(results: Sequence[ChartResult]) -> bytes:
    """All charts, passages, findings, pages; who carries most findings; where the house style
    differs."""
    from openpyxl import Workbook
    from openpyxl.styles import Font

    workbook = Workbook()
    bold = Font(bold=True)

    def fill(
        sheet: Any, headings: Sequence[str], rows: Sequence[Sequence[object]], widths: Sequence[int]
    ) -> None:
        sheet.append(list(headings))
        for cell in sheet[1]:
            cell.font = bold
        for row in rows:
            sheet.append([None] * len(headings))
            for n, value in enumerate(row, start=1):
                cell = sheet.cell(sheet.max_row, n)
                if isinstance(value, str):
                    cell.value = "".join(c for c in value if c >= " ")[:32000]
                    cell.data_type = "s"
                else:
                    cell.value = value
        for n, width in enumerate(widths):
            sheet.column_dimensions["ABCDEFGHIJ"[n]].width = width
        sheet.freeze_panes = "A2"
        sheet.auto_filter.ref = sheet.dimensions
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True

    del workbook["Sheet"]
    charts = workbook.create_sheet("Charts")
    fill(
        charts,
        (
            "Chart",
            "Title",
            "What became of it",
            "Passages",
            "Findings before",
            "Left",
            "Marks written",
            "Pages",
            "Why it failed, or what is wrong with its sheets",
        ),
        [
            (
                writable(r.name),
                r.title,
                r.outcome,
                r.passages,
                r.before,
                r.after,
                r.marks,
                r.pages,
                r.reason or "; ".join(r.wrong_sheets),
            )
            for r in results
        ],
        (34, 34, 16, 10, 15, 8, 13, 8, 70),
    )
    for name, headings, widths in (
        (
            "Passages",
            ("Chart", "Passage", "From", "To", "Who", "Texture", "Lead"),
            (34, 9, 14, 14, 34, 10, 18),
        ),
        (
            "Findings",
            ("Chart", "After marking", "Severity", "Where", "Part", "What"),
            (34, 13, 10, 18, 18, 80),
        ),
    ):
        fill(
            workbook.create_sheet(name),
            headings,
            [(writable(r.name), *row) for r in results for row in r.listed.get(name, [])],
            widths,
        )
    chairs: Counter[str] = Counter()
    checks: Counter[str] = Counter()
    for result in results:
        chairs.update(result.chairs)
        checks.update(result.checks)
    fill(
        workbook.create_sheet("Chairs"),
        ("Chair", "Findings in the book"),
        chairs.most_common(),
        (24, 20),
    )
    fill(workbook.create_sheet("Faults"), ("Fault", "How often"), checks.most_common(), (24, 12))
    fill(
        workbook.create_sheet("House style"),
        ("Figure", "Chart", "Marks"),
        [
            (figure, chart, marks)
            for figure, each in house_differences(results)
            for chart, marks in each
        ],
        (60, 34, 40),
    )
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()
