"""Findings are settled beside the music; the sheets are made with what was decided."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from review_page import LATEST, Page, open_page

from sectionprep.apart import Apart


def findings(page: Page, name: str) -> list[dict[str, Any]]:
    page.review.findings()
    return list(page.client.get(f"/passage/{name}/drawing").json()["findings"])


def test_a_finding_is_settled_kept_and_taken_back(page: Page, apart: Apart) -> None:
    """The demo's planted wrong note (demo_chart/README.md: Tenor Sax 2 in bar 12)."""
    first = findings(page, "P1")[0]
    assert (first["severity"], first["part"]) == ("error", "Tenor Sax 2")
    assert "12" in first["place"]
    wish = {"finding": first["name"], "settled": "tell the arranger", "version": 1}
    assert page.client.post("/decide", json=wish).status_code == 200
    assert findings(page, "P1")[0]["settled"] == "tell the arranger"
    chart = page.client.get("/").text
    letter = chart.partition("<textarea")[2].partition("</textarea>")[0]
    assert "Tenor Sax 2" in letter
    assert "bar 12" in letter
    with open_page(page.review.path, apart) as again:
        assert findings(again, "P1")[0]["settled"] == "tell the arranger"
        assert again.client.post("/undo", json={}).json()["step"]
        assert findings(again, "P1")[0]["settled"] == ""


def test_settled_ones_are_not_counted_as_open(page: Page) -> None:
    page.review.findings()
    from sectionprep.review.facts import open_findings

    before = len(open_findings(page.review))
    assert before
    for n, way in enumerate(("not a fault", "rehearse it")):
        name = findings(page, "P1")[n]["name"]
        page.client.post("/decide", json={"finding": name, "settled": way, "version": LATEST})
    assert len(open_findings(page.review)) == before - 2


def test_a_finding_that_there_is_not_or_a_way_that_is_none(page: Page) -> None:
    page.review.findings()
    name = findings(page, "P1")[0]["name"]
    for wish in (
        {"finding": "x | y | 1 1", "settled": "rehearse it"},
        {"finding": name, "settled": "forget"},
    ):
        assert page.client.post("/decide", json=wish).status_code == 422
    assert page.files.keys() == {page.review.path.name}


def made(page: Page) -> dict[str, Any]:
    assert page.client.post("/finish", json={}).status_code == 200
    said = set()
    for _ in range(600):
        answer = dict(page.client.get("/making").json())
        said.add(answer["stage"])
        if not answer["busy"]:
            assert answer["failed"] or len(said) > 2, said
            return answer
        time.sleep(0.1)
    raise AssertionError("the sheets were never done")


def test_the_sheets_are_made_changed_ones_named_and_the_plan_stays(page: Page) -> None:
    first = made(page)
    assert first["failed"] == ""
    assert first["changed"] is None
    pdfs = [n for n, name in enumerate(first["files"]) if name.endswith(".pdf")]
    sheet = page.client.get(f"/made/{pdfs[0]}")
    assert sheet.content.startswith(b"%PDF")
    assert sheet.headers["content-disposition"].startswith("inline")
    assert page.client.get("/made/999").status_code == 404
    tick = page.client.get("/passage/P2/drawing").json()["notes"][4]["tick"]
    wish = {"passage": "P2", "tick": tick, "verb": "mark", "mark": "accent", "version": LATEST}
    assert page.client.post("/decide", json=wish).status_code == 200
    plan = page.review.desk.path.read_bytes()
    assert len(page.review.desk.settled.decisions) == 1  # what prepare wrote is no decision
    second = made(page)
    assert len(second["changed"]) == 5
    assert all(line.endswith("bar 19") for line in second["changed"])
    assert page.review.desk.path.read_bytes() == plan
    third = made(page)
    assert (third["failed"], third["changed"]) == ("", [])
    undone = page.client.post("/undo", json={}).json()
    assert undone["step"]
    assert len(made(page)["changed"]) == 5


def test_what_stops_prepare_is_said(page: Page, tmp_path: Path) -> None:
    page.review.folder.write_text("no folder")
    answer = made_failed(page)
    assert "no folder" not in answer
    assert str(page.review.folder) in answer


def made_failed(page: Page) -> str:
    page.client.post("/finish", json={})
    for _ in range(300):
        answer = page.client.get("/making").json()
        if not answer["busy"]:
            return str(answer["failed"])
        time.sleep(0.1)
    raise AssertionError("it never ended")


def test_what_is_settled_on_the_page_is_settled_in_the_workbook(page: Page) -> None:
    """The status stands in the row, the finding is none of the first to look at, and what is
    opened again on the page is open in the next workbook."""
    import openpyxl

    from sectionprep import preparing
    from sectionprep.outputs.workbook import tables
    from sectionprep.results import Options

    name = findings(page, "P1")[0]["name"]
    page.client.post(
        "/decide", json={"finding": name, "settled": "tell the arranger", "version": 1}
    )

    def status() -> list[str]:
        done = preparing.prepare(page.review.path, page.review.folder, Options())
        book = next(file for file in done.files if file.suffix == ".xlsx")
        sheet = openpyxl.load_workbook(book)[tables.AGREEMENT]
        columns = {cell.value: cell.column for cell in sheet[2]}
        assert bool(done.settled) == ("Tenor Sax 2" in " ".join(done.settled))
        return [
            str(sheet.cell(n, columns["Status"]).value)
            for n in range(3, sheet.max_row + 1)
            if sheet.cell(n, columns["Bar"]).value == "12"
            and sheet.cell(n, columns["Part"]).value == "Tenor Sax 2"
            and "error" in str(sheet.cell(n, columns["Severity"]).value)
        ]

    assert status() == ["tell the arranger"]
    assert page.client.post("/undo", json={}).json()["step"]
    assert status() == ["None"]
