"""What a person has put into a workbook of ours beside the cells that are there to be typed in: no
later workbook takes it along, so nobody may write over it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

from sectionprep.outputs.workbook import tables
from sectionprep.outputs.workbook.as_written import rewritten


def own_things(workbook: Any) -> tuple[str, ...]:
    """Of a rehearsal workbook: sheets, comments, columns and lines of a person's own, and lines of
    ours that he has written over, each in a few words."""
    pin_ups = [name for name in workbook.sheetnames if name.startswith(tables.PIN_UP)]
    ours = (tables.START, *tables.TABLES, tables.KEPT, tables.ABOUT, *pin_ups)
    beside = (words for name in tables.TABLES for words in _beside(workbook, name))
    return (*added_to(workbook, ours), *beside, *rewritten(workbook))


def added_to(workbook: Any, ours: Collection[str]) -> tuple[str, ...]:
    """Sheets beside ours, and comments on ours."""
    return tuple(_added(workbook, ours))


def _added(workbook: Any, ours: Collection[str]) -> Iterator[str]:
    for sheet in workbook.worksheets:
        if sheet.title not in ours:
            yield f'the sheet "{sheet.title}"'
            continue
        for cell in (cell for row in sheet.iter_rows() for cell in row if cell.comment):
            yield f"a comment at {sheet.title}!{cell.coordinate}"


def _beside(workbook: Any, name: str) -> Iterator[str]:
    """Cells in columns of a person's own, and in lines that are no rows of ours."""
    if name not in workbook.sheetnames:
        return
    sheet, columns = workbook[name], tables.TABLES[name]
    last = columns[-1].heading  # the key, where rows have one
    at: dict[str, int] = {}
    for row in sheet.iter_rows():
        if last not in at:
            at = {str(cell.value): cell.column for cell in row if cell.value is not None}
            continue
        is_row = row[at[last] - 1].value is not None
        ours = {at.get(column.heading) for column in columns if is_row or column.is_input}
        for cell in row:
            if cell.value is not None and cell.column not in ours:
                yield f"{sheet.title}!{cell.coordinate}"
