"""`mark` replaces its own score, never another's, and never one that was edited since."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml
from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment

from sectionprep import preparing, stages
from sectionprep.errors import DestinationError
from sectionprep.outputs.edited_files import workbook_place
from sectionprep.outputs.reports.marked_score import refuse_edited
from sectionprep.outputs.workbook import tables
from sectionprep.results import Marked, Options

TUNE = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4"


@pytest.fixture
def marked(tmp_path: Path) -> Marked:
    path = tmp_path / "a.musicxml"
    path.write_bytes(score_xml({"Alto Sax 1": part_xml(TUNE), "Alto Sax 2": part_xml(TUNE)}))
    return stages.mark_score(stages.read_score(path, Options()), Options())


@pytest.mark.parametrize("ending", [".musicxml", ".mxl"])
def test_our_own_is_replaced_until_it_is_edited(
    ending: str, marked: Marked, tmp_path: Path
) -> None:
    out = tmp_path / f"m{ending}"
    stages.write_marked(marked, out)
    stages.write_marked(marked, out)
    edited = out.read_bytes()[:-40] if ending == ".mxl" else out.read_bytes() + b"\n"
    out.write_bytes(edited)
    with pytest.raises(DestinationError, match="edited since"):
        stages.write_marked(marked, out)
    assert out.read_bytes() == edited


@pytest.mark.parametrize("name", ["plan.toml", "w.xlsx", "x.pdf", "house"])
def test_a_name_that_is_no_scores_is_refused(name: str, marked: Marked, tmp_path: Path) -> None:
    """`mark --plan plan.toml -o plan.toml` wrote a score over the plan."""
    (tmp_path / name).write_text("mine")
    with pytest.raises(DestinationError, match="no ending of a score"):
        stages.write_marked(marked, tmp_path / name)
    assert (tmp_path / name).read_text() == "mine"


@pytest.mark.parametrize("name", ["old.musicxml", "old.changes.json"])
def test_what_another_wrote_stays(name: str, marked: Marked, tmp_path: Path) -> None:
    """`check --against old --fix old`, and a file that happens to bear the record's name."""
    (tmp_path / name).write_text("{}")
    with pytest.raises(DestinationError, match="stands there already"):
        stages.write_marked(marked, tmp_path / "old.musicxml")
    assert [p.read_text() for p in tmp_path.glob("old*")] == ["{}"]


def test_a_workbook_that_is_not_this_charts_is_kept(tmp_path: Path) -> None:
    """Damaged, or another chart's: the new one gets another name, the next run the same."""
    place = tmp_path / "a_rehearsal.xlsx"
    place.write_bytes(b"no workbook")
    for _ in range(2):
        name, typed, said = workbook_place(place, None, "A")
        assert (name, typed) == ("a_rehearsal_new.xlsx", None)
        assert "It is kept" in said[0]
        assert name in said[1]
    workbook = Workbook()
    workbook.active.title = tables.MARKS
    workbook[tables.MARKS].append([column.heading for column in tables.TABLES[tables.MARKS]])
    workbook.create_sheet(tables.ABOUT).append(["x", tables.VERSION, "B"])
    workbook.save(place)
    assert workbook_place(place, None, "A")[0] == "a_rehearsal_new.xlsx"
    assert workbook_place(place, None, "B")[0] == place.name
    assert workbook_place(place, place, "A")[0] == place.name  # asked for by name


def test_an_original_edited_since_is_not_undone_over(tmp_path: Path) -> None:
    target = tmp_path / "a.musicxml"
    refuse_edited(target, b"x")
    target.write_bytes(b"x")
    refuse_edited(target, b"x")
    target.write_bytes(b"y")
    with pytest.raises(DestinationError, match="not what would be written"):
        refuse_edited(target, b"x")


def test_what_a_person_put_into_a_workbook_beside_its_cells_is_kept(tmp_path: Path) -> None:
    """A sheet of one's own, a comment, a column, a line under a table: the next run wrote over them
    without a word."""
    chart, out = tmp_path / "tune.musicxml", tmp_path / "out"
    chart.write_bytes(score_xml({"Alto Sax 1": part_xml(TUNE), "Alto Sax 2": part_xml(TUNE)}))
    prepared = preparing.prepare(chart, out, Options())
    assert prepared.notes == ()
    place, kept = out / "tune_rehearsal.xlsx", out / "tune_rehearsal_kept.xlsx"
    again = preparing.prepare(chart, out, Options())
    assert (again.notes, kept.exists()) == ((), False)  # nothing of ours is taken for theirs

    book = load_workbook(place)
    book.create_sheet("Bus times")["A1"] = "19:30"
    book["Marks"]["A3"].comment = Comment("ask Robin", "me")
    book["Parts"].cell(2, 30, "Phone")
    book["Parts"].cell(40, 1, "call the school")
    book.save(place)
    (said,) = preparing.prepare(chart, out, Options()).notes
    assert '(a comment at Marks!A3, the sheet "Bus times", Parts!A40)' in said
    assert load_workbook(kept)["Bus times"]["A1"].value == "19:30"
    assert preparing.prepare(chart, out, Options()).notes == ()
    assert kept.exists()

    book = load_workbook(place)
    book["Parts"].cell(40, 1, "call the school")
    book.save(place)
    marked = stages.mark_score(stages.read_score(chart, Options()), Options())
    said: list[str] = []
    preparing.write_checklist(marked, place, Options(), said.append)
    assert len(said) == 1
    assert "(Parts!A40)" in said[0]

    book = load_workbook(place)
    book["Parts"].cell(3, 10, "Robin")
    book.save(place)
    other = preparing.prepare(chart, out, Options(decisions=kept))
    assert any("(Parts!J3)" in line for line in other.notes)  # typed, and not in what is taken
    assert (out / "tune_rehearsal_kept2.xlsx").exists()
