"""`mark` replaces its own score, never another's, and never one that was edited since."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from build import part_xml, score_xml
from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment
from typer.testing import CliRunner

from sectionprep import one_output, preparing, stages
from sectionprep.cli.app import app
from sectionprep.errors import DestinationError, SectionprepError
from sectionprep.outputs.edited_files import replace_plan, workbook_place
from sectionprep.outputs.files import only_one, write_file
from sectionprep.outputs.lock import hold
from sectionprep.outputs.reports.marked_score import refuse_edited, undo
from sectionprep.outputs.workbook import tables
from sectionprep.results import Marked, Options

TUNE = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4"


def _titled(title: str) -> str:
    return f"<work><work-title>{title}</work-title></work>"


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
    with pytest.raises(DestinationError, match=r"no ending of a score|needs an ending"):
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
    one_output.write_checklist(marked, place, Options(), said.append)
    assert len(said) == 1
    assert "(Parts!A40)" in said[0]

    book = load_workbook(place)
    book["Parts"].cell(3, 10, "Robin")
    book.save(place)
    other = preparing.prepare(chart, out, Options(decisions=kept))
    assert any("(Parts!J3)" in line for line in other.notes)  # typed, and not in what is taken
    assert (out / "tune_rehearsal_kept2.xlsx").exists()


def test_a_line_of_ours_that_a_person_wrote_over_is_kept(tmp_path: Path) -> None:
    """Words put in place of ours went at the next run without a word. Lines that are sorted or
    taken out, columns that are moved and cells that are there to be typed in are no such thing."""
    chart, out = tmp_path / "tune.musicxml", tmp_path / "out"
    chart.write_bytes(score_xml({"Alto Sax 1": part_xml(TUNE), "Alto Sax 2": part_xml(TUNE)}))
    preparing.prepare(chart, out, Options())
    place, kept = out / "tune_rehearsal.xlsx", out / "tune_rehearsal_kept.xlsx"

    book = load_workbook(place)
    marks = book["Marks"]
    marks.delete_rows(4)
    first = {cell.value: cell.column for cell in marks[2]}
    marks.cell(3, first["Decision"], "leave it")
    for row in marks.iter_rows(min_row=2):  # two columns change places
        a, b = row[1], row[2]
        a.value, b.value = b.value, a.value
    book.save(place)
    assert preparing.prepare(chart, out, Options(decisions=place)).notes == ()
    assert not kept.exists()

    book = load_workbook(place)
    book["Marks"].cell(5, first["Why"], "as we said on Monday")
    book["Start here"].cell(40, 2, "bring the blue folder")
    book.save(place)
    (said,) = preparing.prepare(chart, out, Options()).notes[-1:]
    assert "written over, Marks!5" in said
    assert "written over, Start here!40" in said
    assert load_workbook(kept)["Marks"].cell(5, first["Why"]).value == "as we said on Monday"


def test_another_charts_marked_score_and_record_stay(marked: Marked, tmp_path: Path) -> None:
    """`mark b -o m` replaced the marked score of a; `mark a.xml` took the record of a.musicxml."""
    out = tmp_path / "m.musicxml"
    paths = stages.write_marked(marked, out)
    before = [p.read_bytes() for p in paths]
    other = tmp_path / "b.musicxml"
    other.write_bytes(score_xml({"Trumpet 1": part_xml(TUNE)}))
    theirs = stages.mark_score(stages.read_score(other, Options()), Options())
    with pytest.raises(DestinationError, match=r"was made from a\.musicxml"):
        stages.write_marked(theirs, out)
    with pytest.raises(DestinationError, match=r"is the record of m\.musicxml"):
        stages.write_marked(marked, tmp_path / "m.xml")
    assert [p.read_bytes() for p in paths] == before
    stages.write_marked(theirs, out, Options(force=True))
    assert out.read_bytes() != before[0]


def test_a_mark_that_is_killed_anywhere_is_done_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed between the record and the score, the next run took its own score for another's."""
    path, out = tmp_path / "a.musicxml", tmp_path / "m.musicxml"
    real = os.replace
    for stop in range(3):
        for tune in (TUNE, TUNE.replace("B3", "A3")):
            path.write_bytes(score_xml({n: part_xml(tune) for n in ("Alto Sax 1", "Alto Sax 2")}))
            marked = stages.mark_score(stages.read_score(path, Options()), Options())
            calls = iter(range(9))

            def killed(*a: Path, calls: Iterator[int] = calls, stop: int = stop) -> None:
                if next(calls) == stop:
                    raise KeyboardInterrupt
                real(*a)

            with monkeypatch.context() as patch, suppress(KeyboardInterrupt):
                patch.setattr(os, "replace", killed)
                stages.write_marked(marked, out)
            stages.write_marked(marked, out)
            record = out.with_name("m.changes.json")
            assert undo(out, record, ".musicxml") == path.read_bytes()


def test_a_house_file_and_charts_survive_learning(tmp_path: Path) -> None:
    """`plan --learn . -o house.toml` wrote over a house file of the director's, and over a chart
    that it had just read."""
    chart, house = tmp_path / "a.musicxml", tmp_path / "house.toml"
    chart.write_bytes(score_xml({"Alto Sax 1": part_xml(TUNE)}))

    def learned(out: Path, *more: str) -> int:
        said = CliRunner().invoke(app, ["plan", "--learn", str(tmp_path), "-o", str(out), *more])
        error = said.exception
        return error.exit_code if isinstance(error, SectionprepError) else said.exit_code

    assert learned(house) == learned(house) == 0
    house.write_text(house.read_text() + "# mine\n")
    assert learned(house) == 5
    assert learned(house, "--force") == 0
    before = chart.read_bytes()
    assert learned(chart, "--force") == 5
    assert chart.read_bytes() == before


@pytest.mark.parametrize("name", ["mine.toml", "given.toml"])
def test_a_way_through_a_folder_that_is_not_there_ends_at_the_same_file(
    name: str, tmp_path: Path
) -> None:
    """`plan -o new/../mine.toml` saw no file there, made the folder and wrote over it; over the
    plan that it had read, too."""
    chart, given = tmp_path / "a.musicxml", tmp_path / "given.toml"
    chart.write_bytes(score_xml({"Alto Sax 1": part_xml(TUNE)}))
    given.write_text("[house]\n")
    (tmp_path / "mine.toml").write_text("mine")
    before = (tmp_path / name).read_bytes()
    out = tmp_path / "new" / ".." / name
    said = CliRunner().invoke(app, ["plan", str(chart), "--plan", str(given), "-o", str(out)])
    assert isinstance(said.exception, DestinationError)
    assert (tmp_path / name).read_bytes() == before
    assert not (tmp_path / "new").exists()


def test_what_is_read_is_not_said_to_be_replaced(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`plan --plan p.toml -o p.toml --force` said that it replaced the file, and then refused."""
    plan = tmp_path / "p.toml"
    plan.write_text("mine")
    with pytest.raises(DestinationError, match="overwrite the input"):
        replace_plan(plan, "ours", [plan], force=True, say=print)
    assert capsys.readouterr().out == ""


def test_a_plan_that_is_given_is_not_written_over(tmp_path: Path) -> None:
    """`prepare --plan FOLDER/a_plan.toml -o FOLDER --style ...` wrote over the plan it had read,
    where nobody had edited it."""
    chart, folder = tmp_path / "a.musicxml", tmp_path / "out"
    chart.write_bytes(score_xml({n: part_xml(TUNE) for n in ("Alto Sax 1", "Alto Sax 2")}))
    preparing.prepare(chart, folder, Options())
    plan = folder / "a_plan.toml"
    before = plan.read_bytes()
    preparing.prepare(chart, folder, Options(plan=plan, style="ballad"))
    assert plan.read_bytes() == before


def test_a_workbook_that_is_kept_as_it_is_is_not_taken_away(tmp_path: Path) -> None:
    """It was said to be kept, and went with the files of the earlier run."""
    chart, folder = tmp_path / "a.musicxml", tmp_path / "out"
    parts = {n: part_xml(TUNE) for n in ("Alto Sax 1", "Alto Sax 2")}
    chart.write_bytes(score_xml(parts, head=_titled("One")))
    preparing.prepare(chart, folder, Options())
    book = folder / "a_rehearsal.xlsx"
    before = book.read_bytes()
    chart.write_bytes(score_xml(parts, head=_titled("Two")))
    done = preparing.prepare(chart, folder, Options())
    assert any("kept as it is" in note for note in done.notes)
    assert book.read_bytes() == before


def test_a_chart_of_the_same_name_is_another(tmp_path: Path) -> None:
    """Two charts called score.musicxml, with one -o: the second took the first one's folder."""
    parts = {n: part_xml(TUNE) for n in ("Alto Sax 1", "Alto Sax 2")}
    one, two = tmp_path / "one" / "score.musicxml", tmp_path / "two" / "score.musicxml"
    for path in (one, two):
        path.parent.mkdir()
        path.write_bytes(score_xml(parts, head=_titled(path.parent.name)))
    out = tmp_path / "out"
    preparing.prepare(one, out, Options())
    with pytest.raises(DestinationError, match=r"made from score\.musicxml \(one\)"):
        preparing.prepare(two, out, Options())
    one.write_bytes(score_xml(parts, head=_titled("one, corrected")))
    preparing.prepare(one, out, Options())  # the same place: a title may change
    two.write_bytes(one.read_bytes())
    preparing.prepare(two, out, Options())  # the same title: a version that came from elsewhere


def test_what_a_killed_run_was_writing_goes(tmp_path: Path) -> None:
    """`mark`, `plan` and `checklist` that were killed left their half-written file for good; one
    that is being written stays."""
    dead, alive = tmp_path / ".sectionprep-writing-a", tmp_path / ".sectionprep-writing-b"
    dead.write_text("half")
    alive.write_text("half")
    with alive.open("r+") as held:
        hold(held.fileno())
        write_file(tmp_path / "x.toml", b"whole")
    assert not dead.exists()
    assert alive.exists()


def test_two_runs_do_not_mix_a_score_with_the_others_record(marked: Marked, tmp_path: Path) -> None:
    """`mark` and `check --fix` with one -o: each wrote its two files between those of the other."""
    with only_one(tmp_path), pytest.raises(DestinationError, match="another run"):
        stages.write_marked(marked, tmp_path / "m.musicxml")
    assert len(stages.write_marked(marked, tmp_path / "m.musicxml")) == 2
