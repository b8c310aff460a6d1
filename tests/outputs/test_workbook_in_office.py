"""The workbook in a spreadsheet program (LibreOffice, headless): it opens whole, drop-downs say
what they should, and every conditional format does what it is for."""

from __future__ import annotations

import ctypes
import shutil
import subprocess
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import openpyxl
import pypdfium2
import pypdfium2.raw as pdfium_raw
import pytest

from sectionprep.outputs.workbook import read_typed, tables, write_workbook
from sectionprep.outputs.workbook.rehearsal_plan import plan_rehearsal
from sectionprep.outputs.workbook.rows import Book, build_book
from sectionprep.results import Marked

pytestmark = pytest.mark.skipif(
    shutil.which("soffice") is None, reason="LibreOffice is not installed (.ci/run installs it)"
)

_T = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_SHEETS = (tables.MARKS, tables.AGREEMENT, tables.REHEARSAL, tables.PARTS)


def _office(path: Path, kind: str) -> Path:
    """Let the program open a file and save it as another kind, with a profile of its own."""
    out = path.parent / f"as_{kind}"
    subprocess.run(
        [
            "soffice",
            f"-env:UserInstallation=file://{path.parent}/profile",
            "--headless",
            "--convert-to",
            kind,
            "--outdir",
            str(out),
            str(path),
        ],
        check=True,
        capture_output=True,
        timeout=180,
    )
    return out / f"{path.stem}.{kind}"


@pytest.fixture(scope="module")
def book(demo_marked: Marked) -> Book:
    items = plan_rehearsal(demo_marked, 45)
    return build_book(demo_marked, items)


@pytest.fixture(scope="module")
def flat(book: Book, tmp_path_factory: pytest.TempPathFactory) -> ElementTree.Element:
    """The workbook as the program understood it: saved as flat XML."""
    path = tmp_path_factory.mktemp("flat") / "book.xlsx"
    path.write_bytes(write_workbook(book))
    return ElementTree.parse(_office(path, "fods")).getroot()


def _cells(flat: ElementTree.Element, sheet: str, row: int) -> list[ElementTree.Element]:
    """The cells of one row (from 1), repeated ones spelled out."""
    table = next(t for t in flat.iter(f"{_T}table") if t.get(f"{_T}name") == sheet)
    at = 0
    for element in table.iter(f"{_T}table-row"):
        at += int(element.get(f"{_T}number-rows-repeated", "1"))
        if at >= row:
            return [
                cell
                for cell in element
                for _ in range(min(200, int(cell.get(f"{_T}number-columns-repeated", "1"))))
            ]
    raise AssertionError(f"{sheet} has no row {row}")


@pytest.mark.parametrize("sheet", _SHEETS)
def test_every_drop_down_is_understood(flat: ElementTree.Element, book: Book, sheet: str) -> None:
    rules = {v.get(f"{_T}name"): v for v in flat.iter(f"{_T}content-validation")}
    cells = _cells(flat, sheet, 3)
    checked = 0
    for n, column in enumerate(tables.TABLES[sheet]):
        name = cells[n].get(f"{_T}content-validation-name")
        if not column.choices and not (column.is_input and column.number):
            assert name is None, column.heading
            continue
        checked += 1
        rule = rules[name]
        condition = rule.get(f"{_T}condition") or ""
        message = rule.find(f"{_T}error-message")
        refuses = message is not None and message.get(f"{_T}display") == "true"
        assert refuses is not column.free, column.heading
        if column.choices:
            for choice in column.choices:
                assert f'"{choice.replace(", ", " + ")}"' in condition, column.heading
        else:
            assert "between(0,99)" in condition
    assert checked


def test_the_drop_down_of_a_mark_offers_its_own_alternatives_first(
    flat: ElementTree.Element, book: Book
) -> None:
    rules = {
        v.get(f"{_T}name"): v.get(f"{_T}condition") or ""
        for v in flat.iter(f"{_T}content-validation")
    }
    column = [c.heading for c in tables.TABLES[tables.MARKS]].index("Change to")
    seen = 0
    for n, row in enumerate(book.rows[tables.MARKS][:60], start=3):
        if row.offers:
            condition = rules[
                _cells(flat, tables.MARKS, n)[column].get(f"{_T}content-validation-name")
            ]
            assert condition.split('"')[1] == row.offers[0].replace(", ", " + ")
            seen += 1
    assert seen > 3


# rule: sheet, what is typed where, and the look it must give the row
_LOOKS = {
    "leave it is grey": (tables.MARKS, {"Decision": tables.LEAVE}, "grey"),
    "change it is bold": (tables.MARKS, {"Decision": tables.CHANGE, "Change to": "tenuto"}, "bold"),
    "take it is plain": (tables.MARKS, {"Decision": tables.TAKE}, "plain"),
    "settled is grey": (tables.AGREEMENT, {"Status": "settled"}, "grey"),
    "not a fault is grey": (tables.AGREEMENT, {"Status": "not a fault"}, "grey"),
    "open is plain": (tables.AGREEMENT, {"Status": "open"}, "plain"),
    "third pass is grey": (tables.REHEARSAL, {"Pass 3": "x"}, "grey"),
    "second pass is plain": (tables.REHEARSAL, {"Pass 2": "x"}, "plain"),
    "rated 1 is bold": (tables.REHEARSAL, {"Rating 1-5": "1"}, "bold"),
    "rated 2 is bold": (tables.REHEARSAL, {"Rating 1-5": 2}, "bold"),
    "rated 4 is plain": (tables.REHEARSAL, {"Rating 1-5": 4}, "plain"),
}


@pytest.fixture(scope="module")
def looks(book: Book, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The look of a word typed into the row of every rule, read back from the printed page."""
    path = tmp_path_factory.mktemp("looks") / "book.xlsx"
    path.write_bytes(write_workbook(book))
    workbook = openpyxl.load_workbook(path)
    rows = dict.fromkeys(
        _SHEETS, 7
    )  # below the errors of the Agreement sheet, which have a look of their own
    for n, (sheet, typed, _) in enumerate(_LOOKS.values()):
        columns = {cell.value: cell.column for cell in workbook[sheet][2]}
        for heading, value in {**typed, "Your note": f"token{n:02d}"}.items():
            workbook[sheet].cell(rows[sheet], columns[heading]).value = value
        rows[sheet] += 1
    errors = workbook[tables.AGREEMENT]
    columns = {cell.value: cell.column for cell in errors[2]}
    assert '"error"' in errors.cell(3, columns["Severity"]).value  # a link
    errors.cell(3, columns["Your note"]).value = "tokenerror"
    workbook.save(path)
    return _printed_looks(_office(path, "pdf"))


def _printed_looks(path: Path) -> dict[str, str]:
    found = {}
    for page in pypdfium2.PdfDocument(path):
        text = page.get_textpage()
        words = text.get_text_range()
        at = words.find("token")
        while at >= 0:
            red, green, blue, alpha = (ctypes.c_uint() for _ in range(4))
            pdfium_raw.FPDFText_GetFillColor(text, at, red, green, blue, alpha)
            name = ctypes.create_string_buffer(200)
            pdfium_raw.FPDFText_GetFontInfo(text, at, name, 200, ctypes.c_int())
            look = "bold" if b"Bold" in name.value else "grey" if red.value > 90 else "plain"
            found[words[at:].split()[0]] = look
            at = words.find("token", at + 1)
    return found


@pytest.mark.parametrize(("number", "rule"), list(enumerate(_LOOKS)))
def test_every_conditional_format_shows(looks: dict[str, str], number: int, rule: str) -> None:
    assert looks[f"token{number:02d}"] == _LOOKS[rule][2], rule


def test_errors_stand_out(looks: dict[str, str]) -> None:
    assert looks["tokenerror"] == "bold"


def test_a_workbook_saved_by_another_program_is_read_back(book: Book, tmp_path: Path) -> None:
    """Opened, decided in and saved again by the program: every typed cell comes back."""
    path = tmp_path / "book.xlsx"
    path.write_bytes(write_workbook(book))
    workbook: Any = openpyxl.load_workbook(path)
    columns = {cell.value: cell.column for cell in workbook[tables.MARKS][2]}
    workbook[tables.MARKS].cell(4, columns["Decision"]).value = tables.LEAVE
    workbook[tables.REHEARSAL].cell(
        3, {c.value: c.column for c in workbook[tables.REHEARSAL][2]}["Your note"]
    ).value = "again, slower"
    workbook.save(path)
    before = read_typed(path)
    (tmp_path / "again").mkdir()
    shutil.copy(path, tmp_path / "again" / "book.xlsx")
    after = read_typed(_office(tmp_path / "again" / "book.xlsx", "xlsx"))
    assert after.cells == before.cells
