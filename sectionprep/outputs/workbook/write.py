"""Writes the workbook: tables with drop-downs, links, print set-up, and the chart map in cells."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from sectionprep.music.instruments import SECTIONS
from sectionprep.outputs.workbook import tables
from sectionprep.outputs.workbook.as_written import remember
from sectionprep.outputs.workbook.overview import write_overview
from sectionprep.outputs.workbook.read import Typed
from sectionprep.outputs.workbook.row import Row
from sectionprep.outputs.workbook.rows import Book
from sectionprep.outputs.workbook.tables import Column
from sectionprep.version import __version__

_LINE = Side(style="hair", color="808080")
_GRID = Border(bottom=_LINE, right=_LINE)
_HEAD_FONT = Font(name="Calibri", size=10, bold=True)
_HEAD_FILL = PatternFill("solid", fgColor="D9D9D9")
_FONT = Font(name="Calibri", size=10)
_SMALL = Font(name="Calibri", size=8, color="808080")
_LINK = Font(name="Calibri", size=10, underline="single")
_INPUT_FILL = PatternFill("solid", fgColor="FFF8DC")
_OPEN, _SHUT = Protection(locked=False), Protection(locked=True)
_PLAIN, _WRAP = Alignment(vertical="top"), Alignment(vertical="top", wrap_text=True)
_CLIPPED = Alignment(vertical="top", horizontal="fill")
_HEAD_ALIGN = Alignment(vertical="center", wrap_text=True)
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f]")
_FIRST_ROW = 3  # heading stands in row 2, what the sheet is for in row 1

_PURPOSE = {
    tables.PASSAGES: "Where the section moves together. Click a passage to see its "
    "marks. Voicing: how the chords are built: close (all within an octave), drop 2 or 3 (the "
    "second or third note from the top an octave lower), wide (further apart); lead doubled below: "
    "the top note again, an octave or more lower. Sure: do they belong together? (perhaps: look "
    "before you go by it). Reading: another way to phrase the whole passage; the Marks sheet says "
    'under "Instead" what each would do.',
    tables.MARKS: "What the plan asks of the lead line; the section gets the same. P and H are "
    "numbers: P of a passage, H of a hit or a held chord between passages. Weight: 0 light to 1 "
    "heavy in its surroundings. Decide in the pale columns (take it: as planned; leave it: every "
    'part stays as printed there; change it: what you choose under "Change to"), then run prepare '
    "with --decisions and this file.",
    tables.OWN: "What no other sheet lists: a mark, a breath, a cut-off (off), a dynamic or a "
    'hairpin at any place ("To bar" and "To beat": where it ends), "as bar 12" for a bar or more. '
    "Name any part: what its section plays together is decided for all of them. Notes are never "
    "changed. Then run prepare with --decisions and this file.",
    tables.CUES: "What the horns hit, shown small over the slashes of the rhythm section's sheets. "
    "Take a bar out here if it tells your players nothing, then run prepare with --decisions and "
    "this file.",
    tables.AGREEMENT: "Where lead and section differ in the score as it came. Notes "
    "are never changed: settle those with a pencil.",
    tables.REHEARSAL: "In this order: where most disagrees and most is to play comes "
    "first. Tick each pass, rate 1 (not yet) to 5 (ready). What "
    "you type is kept when the workbook is made again.",
    tables.HOME: "For players who practise with their pages (sectionprep practice): paste the line "
    "that each sends you, in any row. At the next run the Rehearsal sheet says who is slowest.",
    tables.PARTS: "What to print. Copies and players are yours to fill in.",
    tables.CHANGES_MADE: "Every mark that was written, replaced or left out on "
    "purpose, and why, in the order of the music. The same "
    "change in several parts is one row; for one part alone, "
    "filter the last column by its name. P: a passage; H: a hit or a held chord between passages.",
}


def _lines(words: str, width: float) -> int:
    """Lines that wrapped text takes in a column; word by word, a little pessimistic."""
    if len(words) < width:
        return 1
    lines, used = 1, 0.0
    for word in words.split():
        size = len(word) * 0.96 + 1
        if used and used + size > width:
            lines, used = lines + 1, 0.0
        used += size
    return lines


def text(value: object) -> str:
    """Text that a spreadsheet takes as text: no control characters, at most what a cell holds."""
    words = str(value)[:32000]
    return words if words.isprintable() else _CONTROL.sub("", words)


def put(sheet: Any, row: int, column: int, value: object) -> Any:
    """Write a value and return its cell; text is never a formula, whatever a part or title is
    called."""
    return hold(sheet.cell(row, column), value)


def hold(cell: Any, value: object) -> Any:
    """Put a value into a cell, and return the cell."""
    if isinstance(value, str):
        if value:
            cell.value = text(value)
            if value.startswith(("=", "#")):  # a formula, or the name of an error
                cell.data_type = "s"
    elif isinstance(value, int | float) and not isinstance(value, bool):
        cell.value = value
    elif value is not None:
        return hold(cell, str(value))
    return cell


class SheetWriter:
    """Writes one table; remembers the row of each key for links."""

    def __init__(
        self, sheet: Any, columns: tuple[Column, ...], typed: Mapping[str, Mapping[str, Any]]
    ) -> None:
        self.sheet, self.columns, self.typed = sheet, columns, typed
        self.last_row = _FIRST_ROW - 1
        self._styles: dict[tuple[Any, ...], Any] = {}
        self._offers: dict[tuple[str, ...], list[int]] = {}

    def head(self, purpose: str) -> None:
        """Purpose line and headings."""
        sheet = self.sheet
        print_setup(sheet, title_rows=f"1:{_FIRST_ROW - 1}")
        sheet.row_dimensions[_FIRST_ROW - 1].height = 28
        protect(sheet)
        sheet.freeze_panes = f"A{_FIRST_ROW}"
        cell = put(sheet, 1, 1, purpose)
        cell.font, cell.alignment = Font(name="Calibri", size=10, italic=True), _WRAP
        shown = [column for column in self.columns if column.printed]
        sheet.merge_cells(start_row=1, start_column=1, end_row=1, end_column=len(shown))
        sheet.row_dimensions[1].height = (
            13.5 * _lines(purpose, sum(column.width for column in shown)) + 2
        )
        for n, column in enumerate(self.columns, start=1):
            sheet.column_dimensions[get_column_letter(n)].width = column.width
            cell = put(sheet, _FIRST_ROW - 1, n, column.heading)
            cell.font, cell.fill, cell.alignment, cell.border = (
                _HEAD_FONT,
                _HEAD_FILL,
                _HEAD_ALIGN,
                _GRID,
            )

    def row(self, row: Row, link: str = "") -> None:
        """One row; typed values win over proposals in input columns."""
        typed = self.typed.get(row.key, {})
        lines = 1
        cells: list[Any] = []
        self.last_row += 1
        for n, column in enumerate(self.columns):
            value: Any = row.cells.get(column.heading)
            if column.heading == tables.KEY:
                value = row.key
            if column.is_input and column.heading in typed:
                value = typed[column.heading]
            if column.wrap and value:
                lines = max(lines, _lines(str(value), column.width))
            cells.append(self._cell(column, n + 1, value, link if n == 0 else ""))
        self.sheet.append(cells)
        self._offers.setdefault(row.offers, []).append(self.last_row)
        if lines > 1:
            self.sheet.row_dimensions[self.last_row].height = 13.2 * lines + 2

    def _cell(self, column: Column, n: int, value: Any, link: str) -> Any:
        cell: Any = Cell(self.sheet, self.last_row, n)
        if link:
            cell.value = f'=HYPERLINK("{link}","{text(value).replace(chr(34), "")}")'
        else:
            hold(cell, value)
        shape = (not column.printed, column.is_input, column.wrap, bool(link))
        style = self._styles.get(shape)
        if style is None:
            cell.font = _LINK if link else _FONT
            cell.alignment = _WRAP if column.wrap else _PLAIN
            if not column.printed:
                cell.font, cell.alignment = _SMALL, _CLIPPED
            cell.border = _GRID
            cell.protection = _OPEN if column.is_input else _SHUT
            if column.is_input:
                cell.fill = _INPUT_FILL
            self._styles[shape] = cell._style
        else:
            cell._style = style
        return cell

    def finish(self) -> None:
        """Filters and drop-downs."""
        sheet = self.sheet
        last = max(self.last_row, _FIRST_ROW)
        width = get_column_letter(len(self.columns))
        shown = sum(column.printed for column in self.columns)
        sheet.print_area = f"A1:{get_column_letter(shown)}{last}"
        sheet.auto_filter.ref = f"A{_FIRST_ROW - 1}:{width}{last}"
        for n, column in enumerate(self.columns, start=1):
            letter = get_column_letter(n)
            cells = f"{letter}{_FIRST_ROW}:{letter}{last}"
            if column.choices and column.free:
                for offers, rows in self._offers.items():
                    self._free_choice(
                        column,
                        letter,
                        (*offers, *(c for c in column.choices if c not in offers)),
                        rows,
                    )
            elif column.choices:
                rule = DataValidation(
                    type="list",
                    formula1='"' + ",".join(_listed(column.choices)) + '"',
                    allow_blank=True,
                    showErrorMessage=True,
                )
                rule.error = f"Choose one of: {', '.join(column.choices)}"
                rule.errorTitle = column.heading
                rule.add(cells)
                sheet.data_validations.append(rule)
            elif column.is_input and column.number:
                rule = DataValidation(
                    type="whole",
                    operator="between",
                    formula1="0",
                    formula2="99",
                    allow_blank=True,
                    showErrorMessage=True,
                )
                rule.error, rule.errorTitle = "A whole number from 0 to 99", column.heading
                rule.add(cells)
                sheet.data_validations.append(rule)

    def _free_choice(
        self, column: Column, letter: str, choices: tuple[str, ...], rows: list[int]
    ) -> None:
        """A drop-down that offers and does not insist, for the rows that share it."""
        rule = DataValidation(
            type="list",
            formula1='"' + ",".join(_listed(choices)) + '"',
            allow_blank=True,
            showErrorMessage=False,
            sqref=" ".join(f"{letter}{first}:{letter}{last}" for first, last in _runs(rows)),
        )
        self.sheet.data_validations.append(rule)


def _runs(rows: list[int]) -> list[tuple[int, int]]:
    """Neighbouring rows together: (first, last)."""
    found: list[tuple[int, int]] = []
    for row in rows:
        if found and found[-1][1] == row - 1:
            found[-1] = (found[-1][0], row)
        else:
            found.append((row, row))
    return found


def _listed(choices: tuple[str, ...]) -> list[str]:
    """Entries of a drop-down may not hold commas: two marks are joined by "+"."""
    return [choice.replace(", ", " + ") for choice in choices]


def protect(sheet: Any) -> None:
    """Formulas shut, input cells open; sorting, filtering and column widths allowed; no
    password."""
    sheet.protection.sheet = True
    for allowed in ("sort", "autoFilter", "formatColumns", "formatRows", "deleteRows"):
        setattr(sheet.protection, allowed, False)


def print_setup(sheet: Any, *, title_rows: str = "") -> None:
    """Landscape, one page wide, headings on every page, page numbers."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    if title_rows:
        sheet.print_title_rows = title_rows
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.page_margins.top, sheet.page_margins.bottom, sheet.page_margins.footer = 0.5, 0.75, 0.35
    sheet.oddFooter.left.text = "&A"
    sheet.oddFooter.right.text = "Page &P of &N"
    sheet.oddFooter.left.size = sheet.oddFooter.right.size = 8


def write_workbook(book: Book, typed: Typed | None = None) -> bytes:
    """The workbook as bytes. typed: what was typed into an earlier one; every cell of it is
    kept."""
    typed = typed or Typed()
    workbook = Workbook()
    del workbook["Sheet"]
    workbook.properties.title = text(f"{book.chart.title}: rehearsal workbook")
    workbook.properties.creator = "sectionprep"
    rows_of = _positions(book)

    def fill(name: str, rows: Sequence[Row]) -> None:
        writer = SheetWriter(workbook[name], tables.TABLES[name], typed.cells.get(name, {}))
        writer.head(_PURPOSE[name])
        for row in rows:
            writer.row(row, _link(row, rows_of))
        _conditional(writer, name)
        writer.finish()

    shown = [name for name in _PURPOSE if book.rows[name] or name not in tables.IF_ANY]
    for name in (tables.START, *shown):
        workbook.create_sheet(name)
    for name in shown:
        fill(name, book.rows[name])
    write_overview(workbook[tables.START], book)
    _pin_ups(workbook, book, typed)
    _kept(workbook, book, typed)
    about = workbook.create_sheet(tables.ABOUT)
    about.append(["sectionprep workbook", tables.VERSION, text(book.chart.title), __version__])
    for row in book.rows[tables.PARTS]:
        if row.cells["Copies"] == 1:  # filled in for the director, not by him
            about.append([tables.FILLED, text(row.key), 1])
    for row in book.rows[tables.AGREEMENT]:
        if row.cells.get("Status"):  # settled on the review page
            about.append([tables.STATUS_FILLED, text(row.key), row.cells["Status"]])
    for line in remember(workbook):
        about.append(line)
    about.sheet_state = "veryHidden"
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def _positions(book: Book) -> dict[tuple[str, str], int]:
    found: dict[tuple[str, str], int] = {}
    for name, rows in book.rows.items():
        for n, row in enumerate(rows, start=_FIRST_ROW):
            found.setdefault((name, row.key), n)
            if name in (tables.MARKS, tables.PASSAGES):
                found.setdefault((name, str(row.cells["Passage"])), n)
    return found


def _link(row: Row, rows_of: Mapping[tuple[str, str], int]) -> str:
    at = rows_of.get(row.link)
    return f"#'{row.link[0]}'!A{at}" if at else ""


def _conditional(writer: SheetWriter, name: str) -> None:
    last = max(writer.last_row, _FIRST_ROW)
    width = get_column_letter(len(writer.columns))
    cells = f"A{_FIRST_ROW}:{width}{last}"
    letters = {c.heading: get_column_letter(n) for n, c in enumerate(writer.columns, start=1)}
    bold, grey = Font(bold=True), Font(color="808080", strike=True)

    def rule(formula: str, **look: Any) -> None:
        writer.sheet.conditional_formatting.add(cells, FormulaRule(formula=[formula], **look))  # type: ignore[no-untyped-call]

    if name == tables.MARKS:
        rule(f'${letters["Decision"]}{_FIRST_ROW}="{tables.LEAVE}"', font=grey)
        rule(f'${letters["Decision"]}{_FIRST_ROW}="{tables.CHANGE}"', font=bold)
    elif name == tables.AGREEMENT:
        rule(
            f'OR(${letters["Status"]}{_FIRST_ROW}="settled",'
            f'${letters["Status"]}{_FIRST_ROW}="not a fault")',
            font=grey,
        )
        rule(
            f'${letters["Severity"]}{_FIRST_ROW}="error"',
            font=bold,
            fill=PatternFill(bgColor="E4E4E4"),
        )
    elif name == tables.REHEARSAL:
        rule(f'${letters["Pass 3"]}{_FIRST_ROW}="x"', font=Font(color="808080"))
        rule(
            f'OR(TRIM(${letters["Rating 1-5"]}{_FIRST_ROW})="1",'
            f'TRIM(${letters["Rating 1-5"]}{_FIRST_ROW})="2")',
            font=bold,
        )


def _pin_ups(workbook: Workbook, book: Book, typed: Typed) -> None:
    """One page a section, to pin up: its own items in rehearsal order."""
    columns = tuple(
        c
        for c in tables.TABLES[tables.REHEARSAL]
        if not c.is_input and c.printed and c.heading != "Order"
    )
    for section in SECTIONS:
        items = [item for item in book.items if section in item.sections]
        if section not in ("saxes", "trumpets", "trombones") or not items:
            continue
        sheet = workbook.create_sheet(f"{tables.PIN_UP}{section}")
        writer = SheetWriter(sheet, columns, {})
        writer.head(
            f"{text(book.chart.title)}: the {section}. Take these in a sectional, in this order."
        )
        rows = {row.key: row for row in book.rows[tables.REHEARSAL]}
        for item in items:
            writer.row(rows[item.key])


def _kept(workbook: Workbook, book: Book, typed: Typed) -> None:
    """Typed cells whose row is no longer there: listed, never dropped."""
    homeless = [
        (sheet, key, heading, value)
        for sheet, rows in typed.cells.items()
        for key, cells in rows.items()
        if key not in {row.key for row in book.rows.get(sheet, [])}
        for heading, value in cells.items()
        if value not in (None, "")
    ] + list(typed.kept)
    if not homeless:
        return
    sheet = workbook.create_sheet(tables.KEPT)
    columns = (
        Column(heading="Sheet", width=12),
        Column(heading="Row", width=50, wrap=True),
        Column(heading="Column", width=14),
        Column(heading="What was typed", width=50, wrap=True),
    )
    writer = SheetWriter(sheet, columns, {})
    writer.head(
        "Typed in an earlier workbook at places that the chart no longer has. Kept here so "
        "that nothing is lost."
    )
    for sheet_name, key, heading, value in homeless:
        writer.row(
            Row(cells={"Sheet": sheet_name, "Row": key, "Column": heading, "What was typed": value})
        )
    writer.finish()
