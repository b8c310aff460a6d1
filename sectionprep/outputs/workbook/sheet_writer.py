"""One table as a sheet: its cells, drop-downs, links and print set-up."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from sectionprep.outputs.workbook import tables
from sectionprep.outputs.workbook.row import Row
from sectionprep.outputs.workbook.tables import Column

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
FIRST_ROW = 3  # heading stands in row 2, what the sheet is for in row 1


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
        self.last_row = FIRST_ROW - 1
        self._styles: dict[tuple[Any, ...], Any] = {}
        self._offers: dict[tuple[str, ...], list[int]] = {}

    def head(self, purpose: str) -> None:
        """Purpose line and headings."""
        sheet = self.sheet
        print_setup(sheet, title_rows=f"1:{FIRST_ROW - 1}")
        sheet.row_dimensions[FIRST_ROW - 1].height = 28
        protect(sheet)
        sheet.freeze_panes = f"A{FIRST_ROW}"
        cell = put(sheet, 1, 1, purpose)
        cell.font, cell.alignment = Font(name="Calibri", size=10, italic=True), _WRAP
        shown = [column for column in self.columns if column.printed]
        sheet.merge_cells(start_row=1, start_column=1, end_row=1, end_column=len(shown))
        sheet.row_dimensions[1].height = (
            13.5 * _lines(purpose, sum(column.width for column in shown)) + 2
        )
        for n, column in enumerate(self.columns, start=1):
            sheet.column_dimensions[get_column_letter(n)].width = column.width
            cell = put(sheet, FIRST_ROW - 1, n, column.heading)
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
        last = max(self.last_row, FIRST_ROW)
        width = get_column_letter(len(self.columns))
        shown = sum(column.printed for column in self.columns)
        sheet.print_area = f"A1:{get_column_letter(shown)}{last}"
        sheet.auto_filter.ref = f"A{FIRST_ROW - 1}:{width}{last}"
        for n, column in enumerate(self.columns, start=1):
            letter = get_column_letter(n)
            cells = f"{letter}{FIRST_ROW}:{letter}{last}"
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
