"""A whole library: bad charts stop nobody, unchanged ones are skipped by content, changed ones are
done again."""

from __future__ import annotations

import io
import json
import shutil
from pathlib import Path

import openpyxl
import pytest
from build import part_xml, score_xml

from sectionprep.errors import DestinationError, UnreadableFile
from sectionprep.library import book
from sectionprep.library.one_chart import _key
from sectionprep.outputs.library.summary import SUMMARY, ChartResult, summary_workbook
from sectionprep.results import Options

TUNE = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4"


def _chart(lead: str) -> bytes:
    return score_xml({"Alto Sax 1": part_xml(lead), "Alto Sax 2": part_xml(TUNE)})


def test_book(tmp_path: Path) -> None:
    library, out = tmp_path / "library", tmp_path / "out"
    (library / "sub").mkdir(parents=True)
    (library / "a.musicxml").write_bytes(_chart(TUNE.replace("C5/4", "C5/4!")))
    (library / "sub" / "b.musicxml").write_bytes(_chart(TUNE))
    (library / "bad.xml").write_bytes(b"nonsense")
    first = {r.name: r for r in book(library, out, Options())}
    assert {name: r.status for name, r in first.items()} == {
        "a.musicxml": "done",
        "sub/b.musicxml": "done",
        "bad.xml": "failed",
    }
    assert "not XML" in first["bad.xml"].reason
    assert first["a.musicxml"].pages == 2
    workbook = openpyxl.load_workbook(out / "book.xlsx")
    assert workbook.sheetnames == [
        "Charts",
        "Passages",
        "Findings",
        "Chairs",
        "Faults",
        "House style",
    ]
    assert workbook["Passages"].max_row == 1 + sum(r.passages for r in first.values())
    assert workbook["Findings"].max_row == 1 + sum(r.before for r in first.values())
    assert workbook["Charts"].max_row == 4
    # the same figure stands in both charts and only one prints a dot on it: the house style differs
    # there
    assert workbook["House style"].max_row > 1
    (library / "sub" / "b.musicxml").write_bytes(_chart(TUNE.replace("C5/4", "C5/4-")))
    (library / "bad.xml").unlink()
    assert {r.name: r.status for r in book(library, out, Options())} == {
        "a.musicxml": "unchanged",
        "sub/b.musicxml": "done",
    }
    assert {r.status for r in book(library, out, Options(minutes=90))} == {"done"}


def test_a_chart_is_done_again_when_what_it_depends_on_has_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is in plan and roster counts, not their names; so does the version of the program."""
    library, out = tmp_path / "library", tmp_path / "out"
    library.mkdir()
    (library / "a.musicxml").write_bytes(_chart(TUNE))
    plan, roster = tmp_path / "plan.toml", tmp_path / "roster.toml"

    def status(**files: Path) -> str:
        (result,) = book(library, out, Options(**files))  # type: ignore[arg-type]
        return result.status

    plan.write_text('[house]\nstyle = "ballad"\n')
    roster.write_text('[[seat]]\npart = "Alto Sax 1"\nplayer = "Robin"\n')
    assert [status(), status()] == ["done", "unchanged"]
    assert [status(plan=plan), status(plan=plan)] == ["done", "unchanged"]
    plan.write_text('[house]\nstyle = "shuffle"\n')
    assert [status(plan=plan), status(plan=plan)] == ["done", "unchanged"]
    assert status(plan=plan.rename(tmp_path / "other.toml")) == "unchanged"
    assert [status(roster=roster), status(roster=roster)] == ["done", "unchanged"]
    roster.write_text('[[seat]]\npart = "Alto Sax 1"\nplayer = "Kim"\n')
    assert [status(roster=roster), status(roster=roster)] == ["done", "unchanged"]
    key = _key(library / "a.musicxml", Options())
    monkeypatch.setattr("sectionprep.outputs.library.summary.__version__", "99.0")
    assert _key(library / "a.musicxml", Options()) != key


def test_decisions_count_by_what_is_in_them(tmp_path: Path) -> None:
    chart, decisions = tmp_path / "a.musicxml", tmp_path / "a.xlsx"
    chart.write_bytes(_chart(TUNE))
    keys = set()
    for content in (b"one", b"two", b"one"):
        decisions.write_bytes(content)
        keys.add(_key(chart, Options(decisions=decisions)))
    assert len(keys) == 2
    assert (
        _key(chart, Options(roster=decisions)) not in keys
    )  # the same file in another place is another thing


def _result(n: int, rows: int) -> ChartResult:
    return ChartResult(
        name=f"{n:05}.musicxml",
        key="",
        status="done",
        figures={f"figure {n % 7}": "accent" if n % 2 else "tenuto", f"own {n}": "accent"},
        listed={"Passages": [["A", "1", "2", "all", "unison", "=1+1"]] * rows, "Findings": []},
        checks={"slurs": 1},
    )


@pytest.mark.thorough
def test_the_summary_of_thousands_of_charts_holds_every_row() -> None:
    """How long it takes is measured by tests/measure_book.py."""
    data = summary_workbook(lambda: (_result(n, 10) for n in range(5000)))
    book = openpyxl.load_workbook(io.BytesIO(data), read_only=True)
    passages = list(book["Passages"].iter_rows(values_only=True))
    assert len(passages) == 50_001
    assert passages[1] == ("00000.musicxml", "A", "1", "2", "all", "unison", "=1+1")
    assert list(book["Faults"].iter_rows(values_only=True))[1] == ("slurs", 5000)
    figures = {row[0] for row in book["House style"].iter_rows(min_row=2, values_only=True)}
    assert figures == {f"figure {n}" for n in range(7)}  # those that one chart has do not differ


def test_more_rows_than_a_sheet_can_hold_are_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sectionprep.outputs.library.summary._ROWS", 4)
    data = summary_workbook(lambda: [_result(1, 10)])
    rows = list(openpyxl.load_workbook(io.BytesIO(data))["Passages"].iter_rows(values_only=True))
    assert len(rows) == 4
    assert str(rows[-1][0]).startswith("There are more")


def test_a_book_holds_no_lists_in_memory(tmp_path: Path) -> None:
    library = tmp_path / "library"
    library.mkdir()
    (library / "a.musicxml").write_bytes(_chart(TUNE.replace("C5/4", "C5/4!")))
    told: list[ChartResult] = []
    (held,) = book(
        library, tmp_path / "out", Options(), tell=lambda result, _of: told.append(result)
    )
    assert told[0].listed
    assert told[0].figures
    assert not held.listed
    assert not held.figures


def test_no_library(tmp_path: Path) -> None:
    for folder in (tmp_path / "none", tmp_path):
        with pytest.raises(UnreadableFile):
            book(folder, tmp_path / "out", Options())


def test_results_are_not_mixed_with_the_charts(tmp_path: Path) -> None:
    from sectionprep.errors import BadArgument

    (tmp_path / "a.musicxml").write_bytes(_chart(TUNE))
    with pytest.raises(BadArgument):
        book(tmp_path, tmp_path, Options())
    for _ in range(2):  # a folder inside the library is left out when the library is read again
        assert len(book(tmp_path, tmp_path / "out", Options())) == 1


def test_a_chart_that_lost_a_result_is_made_again(tmp_path: Path) -> None:
    library, out = tmp_path / "library", tmp_path / "out"
    library.mkdir()
    (library / "a.musicxml").write_bytes(_chart(TUNE))
    assert [r.status for r in book(library, out, Options())] == ["done"]
    sheet = next(out.glob("*/parts/*.pdf"))
    sheet.unlink()
    assert [r.status for r in book(library, out, Options())] == ["done"]
    assert sheet.exists()
    assert [r.status for r in book(library, out, Options())] == ["unchanged"]


def test_the_state_of_a_book_can_be_read_by_other_programs(tmp_path: Path) -> None:
    library, out = tmp_path / "library", tmp_path / "out"
    library.mkdir()
    (library / "a.musicxml").write_bytes(_chart(TUNE))
    (library / "bad.xml").write_bytes(b"nonsense")
    book(library, out, Options())
    state = json.loads((out / "book.json").read_text(encoding="utf-8"))
    assert {k: state[k] for k in ("charts", "done", "unchanged", "failed", "left")} == {
        "charts": 2,
        "done": 1,
        "unchanged": 0,
        "failed": 1,
        "left": 0,
    }
    assert [(r["name"], r["pages"]) for r in state["results"]] == [
        ("a.musicxml", 2),
        ("bad.xml", 0),
    ]


def test_a_full_disk_ends_the_book_and_says_how_far_it_came(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    library, out = tmp_path / "library", tmp_path / "out"
    library.mkdir()
    out.mkdir()
    (library / "bad.xml").write_bytes(b"nonsense")
    full = shutil.disk_usage(tmp_path)._replace(free=1000)
    monkeypatch.setattr("sectionprep.library.all_charts.shutil.disk_usage", lambda _: full)
    with pytest.raises(DestinationError, match="no room left after 1 of 1 charts"):
        book(library, out, Options())


def _decide_tenuto(workbook: Path) -> None:
    """Another mark for the first note that the plan accents."""
    book = openpyxl.load_workbook(workbook)
    sheet = book["Marks"]
    head = next(r for r in sheet.iter_rows(max_row=5) if any(c.value == "Planned" for c in r))
    at = {cell.value: cell.column for cell in head}
    row = next(
        n
        for n in range(head[0].row + 1, sheet.max_row + 1)
        if "accent" in str(sheet.cell(n, at["Planned"]).value)
    )
    sheet.cell(row, at["Change to"]).value = "tenuto"
    book.save(workbook)


def test_decisions_among_the_results_bind_and_are_never_dropped(tmp_path: Path) -> None:
    """Typed into the workbook of a chart's results, they are applied by the next run of the book,
    stay when the chart has changed, and a run after that finds nothing to do."""
    library, out = tmp_path / "library", tmp_path / "out"
    library.mkdir()
    chart = library / "a.musicxml"
    chart.write_bytes(_chart(TUNE))
    book(library, out, Options())
    (workbook,) = out.glob("*/*_rehearsal.xlsx")
    marked = next(out.glob("*/a_marked.musicxml"))
    before = marked.read_text(encoding="utf-8").count("<tenuto")
    _decide_tenuto(workbook)
    assert [r.status for r in book(library, out, Options())] == ["done"]
    assert marked.read_text(encoding="utf-8").count("<tenuto") == before + 2
    assert [r.status for r in book(library, out, Options())] == ["unchanged"]
    chart.write_bytes(_chart(TUNE).replace(b"Alto Sax 2", b"Tenor Sax 1"))
    assert [r.status for r in book(library, out, Options())] == ["done"]
    assert marked.read_text(encoding="utf-8").count("<tenuto") == before + 2


def test_a_roster_and_a_plan_beside_a_chart_count(tmp_path: Path) -> None:
    library, out = tmp_path / "library", tmp_path / "out"
    library.mkdir()
    (library / "a.musicxml").write_bytes(_chart(TUNE))
    book(library, out, Options())
    (library / "roster.toml").write_text('[[seat]]\npart = "Alto Sax 1"\ncopies = 2\n')
    assert [r.status for r in book(library, out, Options())] == ["done"]
    (library / "a_plan.toml").write_text('[house]\nstyle = "ballad"\n')
    assert [r.status for r in book(library, out, Options())] == ["done"]
    assert [r.status for r in book(library, out, Options())] == ["unchanged"]
    state = json.loads((out / "book.json").read_text(encoding="utf-8"))
    assert state["failed"] == 0


def test_a_book_replaces_no_file_that_is_not_its_own(tmp_path: Path) -> None:
    """Said before the first chart is made; --force replaces it."""
    charts, out = tmp_path / "charts", tmp_path / "out"
    charts.mkdir()
    out.mkdir()
    (charts / "a.musicxml").write_bytes(_chart(TUNE))
    for name in (SUMMARY, "book.json", "practice.html"):
        (out / name).write_text("mine")
        with pytest.raises(DestinationError, match=rf"{name}: stands there already"):
            book(charts, out, Options())
        assert [path.name for path in out.iterdir()] == [name]
        assert (out / name).read_text() == "mine"
        (out / name).unlink()
    book(charts, out, Options())
    (out / SUMMARY).write_text("edited")
    with pytest.raises(DestinationError, match="was changed since it was written"):
        book(charts, out, Options())
    book(charts, out, Options(force=True))
    assert openpyxl.load_workbook(out / SUMMARY).sheetnames
