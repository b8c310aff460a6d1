"""What a person has put into a workbook of ours beside the cells that are there to be typed in: no
later workbook takes it along, so nobody may write over it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sectionprep.outputs.workbook import tables


def own_things(workbook: Any) -> tuple[str, ...]:
    """Sheets, comments, columns and lines of a person's own, each in a few words."""
    return tuple(_found(workbook))


def _found(workbook: Any) -> Iterator[str]:
    ours = {tables.START, *tables.TABLES, tables.KEPT, tables.ABOUT}
    for sheet in workbook.worksheets:
        if sheet.title not in ours and not sheet.title.startswith(tables.PIN_UP):
            yield f'the sheet "{sheet.title}"'
            continue
        for cell in (cell for row in sheet.iter_rows() for cell in row if cell.comment):
            yield f"a comment at {sheet.title}!{cell.coordinate}"
        if sheet.title in tables.TABLES:
            yield from _beside(sheet)


def _beside(sheet: Any) -> Iterator[str]:
    """Cells in columns of a person's own, and in lines that are no rows of ours."""
    columns = tables.TABLES[sheet.title]
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
