"""What a person typed into the workbook of an evening, read back."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from sectionprep.evening.history import Entry
from sectionprep.evening.paper import COLUMNS, DONE, NEEDED, NOTE, RATING, TONIGHT, UNCOVERED
from sectionprep.outputs.workbook.own_things import added_to
from sectionprep.outputs.workbook.tables import KEPT, KEY, RATINGS, TICK


@dataclass(frozen=True, slots=True, kw_only=True)
class FilledIn:
    """What was typed into the workbook of an evening. cells: by key and heading; said: what stands
    beside it (chart, what, bars), by key and heading; own: what else a person has put into it."""

    day: date
    cells: dict[str, dict[str, Any]]
    said: dict[str, dict[str, str]]
    own: tuple[str, ...] = ()


def typed_in(path: Path) -> FilledIn | None:
    """What was typed into a workbook of an evening; None for another workbook. Raises
    UnusableSettings for a file that cannot be read."""
    from sectionprep.outputs.workbook.inspect import check_extent, opened, saved

    book = opened(saved(path), path)
    if TONIGHT not in book.sheetnames:
        return None
    found: dict[str, dict[str, Any]] = {}
    if KEPT in book.sheetnames:
        check_extent(book[KEPT], path)
        for key, heading, value in book[KEPT].iter_rows(min_row=3, max_col=3, values_only=True):
            if key and heading and value not in (None, ""):
                found.setdefault(str(key), {})[str(heading)] = value
    sheet = book[TONIGHT]
    check_extent(sheet, path)
    headings = {str(cell.value): cell.column for cell in sheet[2] if cell.value is not None}
    said: dict[str, dict[str, str]] = {}
    if KEY in headings:
        inputs = [c.heading for c in COLUMNS if c.is_input and c.heading in headings]
        words = [heading for heading in ("Chart", "What", "Bars") if heading in headings]
        for n in range(3, sheet.max_row + 1):
            key = sheet.cell(n, headings[KEY]).value
            cells = {h: sheet.cell(n, headings[h]).value for h in inputs}
            cells = {h: value for h, value in cells.items() if value not in (None, "")}
            if key and cells:
                found[str(key)] = cells
                said[str(key)] = {h: str(sheet.cell(n, headings[h]).value or "") for h in words}
    day = _day(str(book.properties.subject or "")) or _day(path.name)
    day = day or date.fromtimestamp(path.stat().st_mtime)
    own = added_to(book, (TONIGHT, NEEDED, UNCOVERED, KEPT))
    return FilledIn(day=day, cells=found, said=said, own=own)


def _day(words: str) -> date | None:
    match = re.search(r"\d{4}-\d\d-\d\d", words)
    try:
        return date.fromisoformat(match[0]) if match else None
    except ValueError:
        return None


def lines_of(typed: FilledIn) -> list[Entry]:
    """What was typed, as the history keeps it."""
    found = []
    for key, cells in typed.cells.items():
        words = typed.said.get(key, {})
        rating = str(cells.get(RATING, "")).strip()
        found.append(
            Entry(
                day=typed.day,
                line=key,
                chart=words.get("Chart", ""),
                what=words.get("What", ""),
                bars=words.get("Bars", ""),
                done=bool(str(cells.get(DONE, "")).strip()),
                rating=int(rating) if rating in RATINGS else 0,
                note=str(cells.get(NOTE, "")).strip(),
            )
        )
    return found


def cells_of(lines: Iterable[Entry]) -> dict[str, dict[str, Any]]:
    """What was typed beside lines, by key and heading, from the history."""
    return {
        line.line: {
            heading: value
            for heading, value in (
                (DONE, TICK[0] if line.done else ""),
                (RATING, line.rating or ""),
                (NOTE, line.note),
            )
            if value
        }
        for line in lines
    }
