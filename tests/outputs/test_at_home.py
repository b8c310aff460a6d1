"""Lines that players send from their practice pages, pasted into the workbook."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest

from sectionprep.outputs.workbook import Typed, read_typed, tables, to_decisions, write_workbook
from sectionprep.outputs.workbook.at_home import read_home
from sectionprep.outputs.workbook.rehearsal_plan import plan_rehearsal
from sectionprep.outputs.workbook.rows import build_book
from sectionprep.outputs.workbook.tables import LINE
from sectionprep.results import Marked


def _typed(**lines: str) -> Typed:
    cells = {label.replace("_", " "): {LINE: line} for label, line in lines.items()}
    return Typed(cells={tables.HOME: dict(cells)})


def test_a_pasted_line_is_said_in_the_rehearsal_order_and_kept(
    demo_marked: Marked, tmp_path: Path
) -> None:
    chart, together = demo_marked.score.chart, demo_marked.score.together
    place = tmp_path / "book.xlsx"
    place.write_bytes(write_workbook(build_book(demo_marked, plan_rehearsal(demo_marked))))
    book = openpyxl.load_workbook(place)
    sheet = book[tables.HOME]
    heads = {cell.value: cell.column for cell in sheet[2]}
    rows = {sheet.cell(n, 1).value: n for n in range(3, sheet.max_row + 1)}
    sheet.cell(rows["Alto Sax 1"], heads[LINE]).value = "Alto Sax 1: P3 (bar 18) 90"
    # another player's line in the wrong row, as a director pastes who has no time
    sheet.cell(rows["Alto Sax 2"], heads[LINE]).value = "Tenor Sax 1: P3 (bar 18) 60"
    book.save(place)
    typed = read_typed(place)
    home = read_home(typed, chart, together)
    third = next(p for p in together.passages if p.id == "P3")
    assert home.of(chart, third) == "at home 2 of 5 have told: Tenor Sax 1 at 60 %"
    again = build_book(demo_marked, plan_rehearsal(demo_marked), typed=typed)
    why = [
        str(row.cells["Why here"])
        for row in again.rows[tables.REHEARSAL]
        if row.link == (tables.PASSAGES, "P3")
    ]
    assert why
    assert why[0].endswith("at home 2 of 5 have told: Tenor Sax 1 at 60 %")
    says = {row.key: row.cells["What it says"] for row in again.rows[tables.HOME]}
    assert says["Alto Sax 1"] == "P3 at 90 %"
    assert says["Alto Sax 2"] == "Tenor Sax 1, P3 at 60 %"
    place.write_bytes(write_workbook(again, typed))
    assert read_typed(place).cells[tables.HOME] == typed.cells[tables.HOME]


def test_what_is_typed_below_the_tables_is_taken(demo_marked: Marked, tmp_path: Path) -> None:
    """More lines from home than parts, more decisions than free rows: both were refused, as rows
    that had lost their keys, and stood in the way of everything else."""
    chart, together = demo_marked.score.chart, demo_marked.score.together
    place = tmp_path / "book.xlsx"
    place.write_bytes(write_workbook(build_book(demo_marked, plan_rehearsal(demo_marked))))
    book = openpyxl.load_workbook(place)
    sheet, own = book[tables.HOME], book[tables.OWN]
    heads = {cell.value: cell.column for cell in sheet[2]}
    end = sheet.max_row
    for n, line in enumerate(("Alto Sax 1: P3 (bar 18) 90", "Alto Sax 1: P3 (bar 18) 70")):
        sheet.cell(end + 1 + n, heads[LINE]).value = line
    wish = ("Alto Sax 1", "18", "1", None, None, "accent")
    below = own.max_row + 2
    for column, word in enumerate(wish, start=1):
        own.cell(3, column).value = own.cell(below, column).value = word
    own.cell(below, 2).value = "19"
    own.move_range("A3:I3", rows=1)  # sorted: the row without a key comes before its neighbours
    own.cell(4, 9).value = None
    book.save(place)
    typed = read_typed(place)
    third = next(p for p in together.passages if p.id == "P3")
    assert read_home(typed, chart, together).of(chart, third).endswith("Alto Sax 1 at 70 %")
    bars = [cells["Bar"] for cells in typed.cells[tables.OWN].values() if cells]
    assert sorted(bars) == ["18", "19"]
    asked = to_decisions(typed, place)
    assert [decision.cell for decision in asked] == [f"{tables.OWN}!F4", f"{tables.OWN}!F{below}"]
    again = build_book(demo_marked, plan_rehearsal(demo_marked), typed=typed)
    place.write_bytes(write_workbook(again, typed))
    assert to_decisions(read_typed(place), place) == tuple(
        replace(one, cell=new.cell)
        for one, new in zip(asked, to_decisions(read_typed(place), place), strict=True)
    )


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("P3 (bar 18) 80", "P3 at 80 %"),
        ("Alto Sax 1: P99 (bar 18) 80", "P3 at 80 %"),  # numbers have changed, the music has not
        ("Alto Sax 1: P3 (bar 999) 80", "bar 999: no passage of Alto Sax 1 begins there any more"),
        ("Alto Sax 1: P2 80", "P2: no passage of Alto Sax 1 begins there any more"),  # the brass's
        ("Kazoo: P3 (bar 18) 80", "there is no part 'Kazoo'"),
        ("hello", "no passage is named here; paste the line as the page makes it"),
        ("=1+1", "no passage is named here; paste the line as the page makes it"),
        ("P3 (bar 18) 999", "P3 at 100 %"),
        ("P3 (bar 18) 80\nTenor Sax 1: P3 (bar 18) 70", "P3 at 80 %; Tenor Sax 1, P3 at 70 %"),
    ],
)
def test_every_line_is_understood_or_said(demo_marked: Marked, line: str, says: str) -> None:
    chart, together = demo_marked.score.chart, demo_marked.score.together
    assert read_home(_typed(Alto_Sax_1=line), chart, together).said == {"Alto Sax 1": says}
