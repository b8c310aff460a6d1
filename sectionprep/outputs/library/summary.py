"""A whole library: every chart prepared, one line a chart, resumable, and what the book as a whole
shows."""

from __future__ import annotations

import hashlib
import io
import json
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from sectionprep.settings import writable
from sectionprep.version import __version__

_SUFFIXES = (".musicxml", ".xml", ".mxl", ".krn", ".abc", ".mei")
RECORD = "result.json"
BOOK = "book.json"
SUMMARY = "book.xlsx"


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


def without_lists(result: ChartResult) -> ChartResult:
    """The same without figures and lists: what a book of any length is held in memory by."""
    return replace(result, figures={}, listed={})


def house_differences(results: Iterable[ChartResult]) -> frozenset[int]:
    """Figures that two charts phrase differently, each by its hash: so that the figures of a large
    book need not be held."""
    seen: dict[int, int] = {}
    found = set()
    for result in results:
        for figure, marks in result.figures.items():
            if seen.setdefault(hash(figure), hash(marks)) != hash(marks):
                found.add(hash(figure))
    return frozenset(found)


def summary_workbook(charts: Callable[[], Iterable[ChartResult]]) -> bytes:
    """All charts, passages, findings, pages; who carries most findings; where the house style
    differs. charts: gives them one by one, twice; rows go to the disk as they come."""
    from openpyxl import Workbook

    workbook = Workbook(write_only=True)
    sheets = {name: _Sheet(workbook, name, *columns) for name, columns in _SHEETS.items()}
    differ = house_differences(charts())
    figures: list[tuple[str, str, str]] = []
    chairs: Counter[str] = Counter()
    checks: Counter[str] = Counter()
    for r in charts():
        name = writable(r.name)
        counts = (r.passages, r.before, r.after, r.marks, r.pages)
        why = r.reason or "; ".join(r.wrong_sheets)
        sheets["Charts"].add((name, r.title, r.outcome, *counts, why))
        for listed in ("Passages", "Findings"):
            for row in r.listed.get(listed, []):
                sheets[listed].add((name, *row))
        chairs.update(r.chairs)
        checks.update(r.checks)
        figures += [(f, name, marks) for f, marks in r.figures.items() if hash(f) in differ]
    at_the_end: dict[str, Sequence[Sequence[object]]] = {
        "Chairs": chairs.most_common(),
        "Faults": checks.most_common(),
        "House style": sorted(figures),
    }
    for sheet, last in at_the_end.items():
        for line in last:
            sheets[sheet].add(line)
    for each in sheets.values():
        each.close()
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


_Columns = tuple[tuple[str, ...], tuple[int, ...]]
#: headings and widths (characters) of each sheet
_SHEETS: dict[str, _Columns] = {
    "Charts": (
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
        (34, 34, 16, 10, 15, 8, 13, 8, 70),
    ),
    "Passages": (
        ("Chart", "Passage", "From", "To", "Who", "Texture", "Lead"),
        (34, 9, 14, 14, 34, 10, 18),
    ),
    "Findings": (
        ("Chart", "After marking", "Severity", "Where", "Part", "What"),
        (34, 13, 10, 18, 18, 80),
    ),
    "Chairs": (("Chair", "Findings in the book"), (24, 20)),
    "Faults": (("Fault", "How often"), (24, 12)),
    "House style": (("Figure", "Chart", "Marks"), (60, 34, 40)),
}
_LONGEST = 32_000  # characters in a cell; the format holds 32,767
_ROWS = 1_048_576  # of a sheet, as the format has it


_MORE = "There are more than a sheet can hold: look into the charts' own workbooks."


class _Sheet:
    """A sheet of the summary, filled row by row."""

    def __init__(
        self, workbook: Any, name: str, headings: tuple[str, ...], widths: tuple[int, ...]
    ) -> None:
        self._cells = workbook.create_sheet(name)
        self._columns, self._rows = len(headings), 0
        for n, width in enumerate(widths):
            self._cells.column_dimensions["ABCDEFGHIJ"[n]].width = width
        self._cells.freeze_panes = "A2"
        self._cells.page_setup.orientation = "landscape"
        self._cells.page_setup.fitToWidth, self._cells.page_setup.fitToHeight = 1, 0
        self._cells.sheet_properties.pageSetUpPr.fitToPage = True
        self.add(headings, bold=True)

    def add(self, row: Sequence[object], *, bold: bool = False) -> None:
        """Add a row; the last that a sheet can hold says that there are more."""
        from openpyxl.cell import WriteOnlyCell
        from openpyxl.styles import Font

        if self._rows == _ROWS:
            return
        if self._rows == _ROWS - 1:
            row = (_MORE,)
        cells: list[object] = []
        for value in row:
            if isinstance(value, str):
                cell = WriteOnlyCell(self._cells, "".join(c for c in value if c >= " ")[:_LONGEST])
                cell.data_type = "s"  # whatever it begins with
                if bold:
                    cell.font = Font(bold=True)
                value = cell
            cells.append(value)
        self._cells.append(cells)
        self._rows += 1

    def close(self) -> None:
        """All rows are there."""
        self._cells.auto_filter.ref = f"A1:{'ABCDEFGHIJ'[self._columns - 1]}{self._rows}"
