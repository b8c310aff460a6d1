"""Whether a person has written over what stands in cells of ours. A workbook says of every line
what stood there when we wrote it, in few letters; a line may be moved, sorted or deleted."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from sectionprep.outputs.workbook import tables

_AS_WRITTEN = "as written"  # how such rows of the hidden sheet begin
_CARRIED = (tables.KEPT, tables.ABOUT)  # what is typed into the first is read again
_MANY = 3000  # checks to a cell, which holds 32,767 letters


def remember(workbook: Any) -> Iterator[tuple[str, str, str]]:
    """Rows for the hidden sheet: what stands in each line of each sheet of ours."""
    for name in workbook.sheetnames:
        if name in _CARRIED:
            continue
        checks = [check for check, _ in _lines(workbook[name])]
        for first in range(0, len(checks), _MANY):
            yield _AS_WRITTEN, name, " ".join(checks[first : first + _MANY])


def rewritten(workbook: Any) -> Iterator[str]:
    """Lines in which a person has written over what we wrote, each in a few words; none in a
    workbook that does not say how it was written."""
    if tables.ABOUT not in workbook.sheetnames:
        return
    known: dict[str, set[str]] = {}
    for kind, name, checks in workbook[tables.ABOUT].iter_rows(
        min_row=2, max_col=3, values_only=True
    ):
        if kind == _AS_WRITTEN:
            known.setdefault(str(name), set()).update(str(checks).split())
    for name in (name for name in workbook.sheetnames if name in known):
        for check, row in _lines(workbook[name]):
            if check not in known[name]:
                yield f"a line that was written over, {name}!{row}"


def _lines(sheet: Any) -> Iterator[tuple[str, int]]:
    """A check of each line of a sheet, and its row: of a table, what is not there to be typed in,
    whichever column it stands in."""
    columns = tables.TABLES.get(sheet.title)
    at: Mapping[str, int] = {}
    for number, row in enumerate(sheet.iter_rows(), start=1):
        if columns is None:
            cells: Iterable[Any] = row
        elif not at:
            found = {str(cell.value): n for n, cell in enumerate(row) if cell.value is not None}
            at = found if columns[-1].heading in found else {}
            continue
        elif row[at[columns[-1].heading]].value is None:
            continue  # no line of ours
        else:
            cells = (row[at[c.heading]] for c in columns if not c.is_input and c.heading in at)
        words = [_plain(cell) for cell in cells]
        if any(words):
            yield f"{zlib.crc32(chr(31).join(words).rstrip(chr(31)).encode()):08x}", number


def _plain(cell: Any) -> str:
    """What stands in a cell; nothing of a link, which each program writes in its own way."""
    if cell.value is None or cell.data_type == "f":
        return ""
    if isinstance(cell.value, float):
        return f"{cell.value:.10g}"
    return " ".join(str(cell.value).split())
