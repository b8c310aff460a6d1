"""Writes the workbook: every sheet in its order, with what is kept of an earlier one."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

from openpyxl import Workbook
from openpyxl.formatting.rule import FormulaRule
from openpyxl.styles import Font, PatternFill
from openpyxl.utils import get_column_letter

from sectionprep.music.instruments import SECTIONS
from sectionprep.outputs.workbook import tables
from sectionprep.outputs.workbook.as_written import remember
from sectionprep.outputs.workbook.overview import write_overview
from sectionprep.outputs.workbook.read import Typed
from sectionprep.outputs.workbook.row import Row
from sectionprep.outputs.workbook.rows import Book
from sectionprep.outputs.workbook.sheet_writer import FIRST_ROW, SheetWriter, text
from sectionprep.outputs.workbook.tables import Column
from sectionprep.version import __version__

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
        for n, row in enumerate(rows, start=FIRST_ROW):
            found.setdefault((name, row.key), n)
            if name in (tables.MARKS, tables.PASSAGES):
                found.setdefault((name, str(row.cells["Passage"])), n)
    return found


def _link(row: Row, rows_of: Mapping[tuple[str, str], int]) -> str:
    at = rows_of.get(row.link)
    return f"#'{row.link[0]}'!A{at}" if at else ""


def _conditional(writer: SheetWriter, name: str) -> None:
    last = max(writer.last_row, FIRST_ROW)
    width = get_column_letter(len(writer.columns))
    cells = f"A{FIRST_ROW}:{width}{last}"
    letters = {c.heading: get_column_letter(n) for n, c in enumerate(writer.columns, start=1)}
    bold, grey = Font(bold=True), Font(color="808080", strike=True)

    def rule(formula: str, **look: Any) -> None:
        writer.sheet.conditional_formatting.add(cells, FormulaRule(formula=[formula], **look))  # type: ignore[no-untyped-call]

    if name == tables.MARKS:
        rule(f'${letters["Decision"]}{FIRST_ROW}="{tables.LEAVE}"', font=grey)
        rule(f'${letters["Decision"]}{FIRST_ROW}="{tables.CHANGE}"', font=bold)
    elif name == tables.AGREEMENT:
        rule(
            f'OR(${letters["Status"]}{FIRST_ROW}="settled",'
            f'${letters["Status"]}{FIRST_ROW}="not a fault")',
            font=grey,
        )
        rule(
            f'${letters["Severity"]}{FIRST_ROW}="error"',
            font=bold,
            fill=PatternFill(bgColor="E4E4E4"),
        )
    elif name == tables.REHEARSAL:
        rule(f'${letters["Pass 3"]}{FIRST_ROW}="x"', font=Font(color="808080"))
        rule(
            f'OR(TRIM(${letters["Rating 1-5"]}{FIRST_ROW})="1",'
            f'TRIM(${letters["Rating 1-5"]}{FIRST_ROW})="2")',
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
