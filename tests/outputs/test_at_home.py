"""Lines that players send from their practice pages, pasted into the workbook."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from sectionprep.outputs.workbook import Typed, read_typed, tables, write_workbook
from sectionprep.outputs.workbook.at_home import LINE, read_home
from sectionprep.outputs.workbook.rehearsal_plan import plan_rehearsal
from sectionprep.outputs.workbook.rows import build_book
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
