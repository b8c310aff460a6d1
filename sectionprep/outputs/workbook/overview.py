"""The first sheet: what chart this is, what to look at first, the chart map in cells, cautions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter

from sectionprep.outputs.director.chart_map import ChartMap, chart_map
from sectionprep.outputs.parts.printed import one_line
from sectionprep.outputs.parts.sheet_remarks import said_once
from sectionprep.outputs.workbook.rows import Book
from sectionprep.outputs.workbook.sheet_writer import print_setup, protect, put
from sectionprep.outputs.workbook.tables import CHANGES_MADE

CAUTIONS = (
    "Sound level: occupational guidance (NIOSH publication 98-126) recommends at most 85 "
    "dBA averaged over 8 hours and halves "
    "the time for every 3 dB more (88 dBA: 4 h, 91 dBA: 2 h, 94 dBA: 1 h). A big band "
    "indoors can pass that; protect ears, give "
    "pauses. Local rules and qualified people come first.",
    "Lips and breath: loud high passages tire brass and reed players. Rehearse them "
    "short, soft or down an octave, with rests; "
    "pain, numbness or dizziness means stop. Ask a teacher or doctor, not a workbook.",
    "Breath lengths, note lengths and tempo steps here are judgements for planning, not "
    "rules: the players know better.",
    "Prepare, print and copy only music that you may copy.",
)

_FILLS = {
    "unison": PatternFill("solid", fgColor="404040"),
    "octaves": PatternFill("solid", fgColor="8C8C8C"),
    "soli": PatternFill("lightUp", fgColor="404040", bgColor="FFFFFF"),
    "rhythm": PatternFill("gray125"),
    "alone": PatternFill("solid", fgColor="EFEFEF"),
}
_MAP_BARS = 64  # bars in one row of the map: as many as can be read on paper; judgement
_MAP_ROW = 10.5  # points
_PAGE = 78  # rows that one printed page holds without getting too small to read; judgement
_LINE = 165  # characters across the page
_REMARKS = 6  # of the reader that are shown here; judgement
_TAKEN = 8  # marks taken out that are listed here; judgement
_LETTERS = {"unison": "U", "octaves": "O", "soli": "S", "rhythm": "r", "alone": "", "": ""}
_SAYS = {
    "unison": "unison",
    "octaves": "octaves",
    "soli": "soli: one rhythm, harmonised",
    "rhythm": "same rhythm on held notes",
    "alone": "plays its own line",
}


def write_overview(sheet: Any, book: Book) -> None:
    """Fill the first sheet. Waits for the parts to be drawn."""
    print_setup(sheet)
    protect(sheet)
    sheet.column_dimensions["A"].width = 19
    for n in range(2, _MAP_BARS + 3):
        sheet.column_dimensions[get_column_letter(n)].width = 1.9
    sheet.freeze_panes = "B1"

    paper = _Paper(sheet)
    _heading(paper, book)
    for title, said in _chapters(book):
        paper.line("")
        paper.line(title, bold=True, size=12)
        for words in said:
            for piece in _wrapped(words, _LINE):
                paper.line(piece)
    paper.line("")
    paper.line("Who moves together", bold=True, size=12)
    _map(paper, chart_map(book.chart, book.together))
    sheet.page_setup.fitToHeight = max(1, round(paper.rows / _PAGE))


def _heading(paper: _Paper, book: Book) -> None:
    """What chart this is, and how it stands."""
    chart = book.chart
    paper.line(chart.title, bold=True, size=16)
    credits_ = " / ".join(dict.fromkeys(t for t in (chart.composer, chart.arranger) if t))
    if credits_:
        paper.line(credits_)
    tempo = f", {chart.tempo:g} beats per minute" if chart.tempo else ""
    pickup = f"; {chart.says_pickup}" if chart.says_pickup else ""
    paper.line(
        f"{len(chart.parts)} parts, {len(chart.bars)} bars{tempo}, phrased as {book.style}{pickup}"
    )
    paper.line(one_line(chart, book.reports) or " ", bold=True)
    for remark in chart.remarks[:_REMARKS]:
        paper.line(f"Note: {remark.where}: {remark.what}")


def _chapters(book: Book) -> Iterator[tuple[str, Sequence[str]]]:
    """What the sheet says in words, each with its title, the most pressing first."""
    more = len(book.taken) - _TAKEN
    yield (
        f"Taken out: {len(book.taken)} of the marks that were printed",
        [
            *book.taken[:_TAKEN],
            *([f"and {more} more: they stand first in the sheet {CHANGES_MADE}"] * (more > 0)),
        ],
    )
    first = book.first or ["Nothing is left open: lead and section agree."]
    yield "Look at these first", [f"{n}. {said}" for n, said in enumerate(first, start=1)]
    if book.settled:
        yield "Settled by you", book.settled
    unseen = said_once(remark for report in book.reports for remark in report.remarks)
    if unseen:
        yield "What the sheets do not show", unseen
    if book.band:
        yield "The band", book.band
    yield "Cautions", CAUTIONS


def _wrapped(words: str, most: int) -> list[str]:
    lines, now = [], ""
    for word in words.split():
        if len(now) + len(word) + 1 > most:
            lines.append(now)
            now = "   " + word
        else:
            now = f"{now} {word}".strip() if now.strip() else word
    return [*lines, now]


@dataclass(frozen=True, slots=True)
class _Look:
    """One cell: value and how it looks."""

    value: str = ""
    font: Font | None = None
    fill: PatternFill | None = None
    alignment: Alignment | None = None


class _Paper:
    """The sheet, written row by row."""

    def __init__(self, sheet: Any) -> None:
        self.sheet, self.rows = sheet, 0
        self._styles: dict[
            tuple[int, int, int], tuple[_Look, Any]
        ] = {}  # working out a cell's style is most of its cost

    def line(self, words: str, *, bold: bool = False, size: int = 10) -> None:
        """A line of words across the page."""
        self.add([_Look(words, Font(name="Calibri", size=size, bold=bold))])

    def add(self, cells: Sequence[_Look | None] = (), height: float = 0.0) -> None:
        self.rows += 1
        if height:
            self.sheet.row_dimensions[self.rows].height = height
        for n, look in enumerate(cells, start=1):
            if look is None:
                continue
            cell = put(self.sheet, self.rows, n, look.value)
            key = (id(look.font), id(look.fill), id(look.alignment))
            if key in self._styles:
                cell._style = self._styles[key][1]
                continue
            for name in ("font", "fill", "alignment"):
                if getattr(look, name) is not None:
                    setattr(cell, name, getattr(look, name))
            self._styles[key] = (
                look,
                cell._style,
            )  # the look is kept, so that its ids stay its own


def _map(paper: _Paper, drawn: ChartMap) -> None:
    tiny, white = (
        Font(name="Calibri", size=6),
        Font(name="Calibri", size=6, color="FFFFFF", bold=True),
    )
    small, bold = Font(name="Calibri", size=8), Font(name="Calibri", size=8, bold=True)
    centre = Alignment(horizontal="center", vertical="center")
    looks = {
        kind: _Look(_LETTERS[kind], white if kind in ("unison", "octaves") else tiny, fill, centre)
        for kind, fill in _FILLS.items()
    }
    for start in range(0, len(drawn.bars), _MAP_BARS):
        bars = drawn.bars[start : start + _MAP_BARS]
        if start:
            paper.add()
        paper.add([None, *(_Look(bar.letter, bold) if bar.letter else None for bar in bars)])
        paper.add(
            [
                _Look("bar", tiny, None, centre),
                *(
                    _Look(bar.number, tiny) if n % 4 == 1 or bar.letter else None
                    for n, bar in enumerate(bars)
                ),
            ]
        )
        for name, kinds in drawn.rows:
            paper.add(
                [
                    _Look(name, small),
                    *(looks.get(kind) for kind in kinds[start : start + _MAP_BARS]),
                ],
                _MAP_ROW,
            )
    paper.add()
    for kind, says in _SAYS.items():
        paper.add([None, looks[kind], None, _Look(says, small)])
