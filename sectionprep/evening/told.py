"""What was rehearsed when, as a workbook: evening by evening, and place by place."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from sectionprep.errors import UnreadableFile
from sectionprep.evening.history import Entry, pasts
from sectionprep.evening.night import EVENINGS, look_back
from sectionprep.outputs.folder import Run, staged
from sectionprep.outputs.workbook.row import Row
from sectionprep.outputs.workbook.tables import Column

BOOK = "rehearsed.xlsx"
BY_EVENING, BY_PLACE = "Evening by evening", "Place by place"
_WHICH = "Name the folder that you give to `evening` with -o."
_WHERE = (
    Column(heading="Chart", width=24, wrap=True),
    Column(heading="What", width=36, wrap=True),
    Column(heading="Bars", width=14, wrap=True),
)
_EVENINGS = (
    Column(heading="Day", width=11),
    *_WHERE,
    Column(heading="Done", width=6),
    Column(heading="Rating 1-5", width=7, number=True),
    Column(heading="Your note", width=36, wrap=True),
)
_PLACES = (
    *_WHERE,
    Column(heading="Evenings", width=9, number=True),
    Column(heading="Last on", width=11),
    Column(heading="Last rating", width=8, number=True),
)


def write_rehearsed(folder: Path, *, force: bool = False) -> tuple[tuple[Entry, ...], list[str]]:
    """Write what was rehearsed when into the folder of the evenings; and what a person must know of
    files there. force: replace a file that is not ours. Raises UnreadableFile for a folder in which
    nothing was ever ticked or rated, and DestinationError."""
    notes: list[str] = []
    if not folder.is_dir():
        raise UnreadableFile("is no folder.", where=str(folder), remedy=_WHICH)
    lines = look_back(folder, notes.append)
    if not lines:
        told = " ".join(notes)
        raise UnreadableFile(
            "holds no evening in which something was ticked, rated or noted.",
            where=str(folder),
            remedy=told or _WHICH,
        )
    run = Run(chart=Path(EVENINGS), kind="rehearsed", force=force, say=notes.append)
    with staged(folder, run) as stage:
        (stage / BOOK).write_bytes(_workbook(lines, date.today()))
    return lines, notes


def _workbook(lines: Sequence[Entry], today: date) -> bytes:
    from openpyxl import Workbook

    from sectionprep.outputs.workbook.sheet_writer import SheetWriter

    book = Workbook()
    book.active.title = BY_EVENING  # type: ignore[union-attr]
    book.properties.title, book.properties.creator = "What was rehearsed when", "sectionprep"
    sheet = SheetWriter(book[BY_EVENING], _EVENINGS, {})
    sheet.head("What you ticked, rated or noted in the workbooks of your evenings, latest first.")
    for day in sorted({line.day for line in lines}, reverse=True):
        for line in (line for line in lines if line.day == day):
            cells = {
                **_where(line),
                "Day": day.isoformat(),
                "Done": "x" if line.done else "",
                "Rating 1-5": line.rating or None,
                "Your note": line.note,
            }
            sheet.row(Row(cells=cells))
    sheet.finish()
    sheet = SheetWriter(book.create_sheet(BY_PLACE), _PLACES, {})
    sheet.head(
        "How often each place was taken, and how it stood. What has waited longest is first."
    )
    known = pasts(lines, today)
    words = {line.line: line for line in lines}
    for key, past in sorted(known.items(), key=lambda one: (one[1].last, one[0])):
        cells = {
            **_where(words[key]),
            "Evenings": past.times,
            "Last on": past.last.isoformat(),
            "Last rating": past.rating or None,
        }
        sheet.row(Row(cells=cells))
    sheet.finish()
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _where(line: Entry) -> dict[str, str | int | float | None]:
    """A line of which nobody knows the words any more has its key."""
    return {"Chart": line.chart, "What": line.what or line.line, "Bars": line.bars}
