"""What the rhythm section is shown of the horns. Common practice, no source: figures that the band
plays together, loud or off the beat, over the slashes, and not every note of a soli."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from build import part_xml, score_xml, transposed
from measure_pages import painted
from typer.testing import CliRunner

from sectionprep import one_output, stages
from sectionprep.cli.app import app
from sectionprep.music.chart import Chart
from sectionprep.outputs.director.small_score import small_score_pdf
from sectionprep.outputs.parts.part_job import PartJob, SheetStyle
from sectionprep.outputs.parts.rhythm_choice import (
    rhythm_cues,
    rhythm_heads,
    shown_bars,
    worth_catching,
)
from sectionprep.outputs.parts.sheet import draw_part
from sectionprep.outputs.parts.sheets import Basis, part_jobs
from sectionprep.outputs.workbook import cues_taken_out, read_typed, tables
from sectionprep.phrasing.plan_file import write_plan
from sectionprep.results import Marked, Options, Score

#: a bar of running eighths, and two with punches on the and of 2 and on 4
SOLI = "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 G5/8 F5/8 E5/8 D5/8 E5/8 F5/8 G5/8 E5/8 "
PUNCH = "r/4 r/8 E5/8^ r/4 G5/4^ r/4 r/8 E5/4.> r/4 "
_LOUD = "<direction><direction-type><dynamics><ff/></dynamics></direction-type></direction>"
_NAMES = ("Trumpet 1", "Trumpet 2", "Trumpet 3", "Trombone 1", "Trombone 2", "Alto Sax 1")


def _slashes(bars: int, divisions: int = 24) -> str:
    """Bars of four slashes, in divisions of their own."""
    slash = (
        "<note><pitch><step>B</step><octave>4</octave></pitch>"
        f"<duration>{divisions}</duration><voice>1</voice><type>quarter</type><stem>none</stem>"
        "<notehead>slash</notehead></note>"
    )
    head = (
        f"<attributes><divisions>{divisions}</divisions><time><beats>4</beats>"
        "<beat-type>4</beat-type></time></attributes>"
    )
    return "".join(
        f'<measure number="{n + 1}">{head if n == 0 else ""}{slash * 4}</measure>'
        for n in range(bars)
    )


def _score(folder: Path, line: str, bars: int, divisions: int = 24) -> Score:
    horns = {
        name: part_xml(transposed(line, -n), signs={0: _LOUD}) for n, name in enumerate(_NAMES)
    }
    path = folder / "a.musicxml"
    path.write_bytes(score_xml({**horns, "Drums": _slashes(bars, divisions)}))
    return stages.read_score(path, Options())


def _beats(chart: Chart, caught: object) -> list[tuple[str, str]]:
    places = [chart.place(c.tone.onset) for c in caught]  # type: ignore[attr-defined]
    return [(place.bar, str(place.beat)) for place in places]


def test_punches_are_shown_and_running_eighths_are_not(tmp_path: Path) -> None:
    score = _score(tmp_path, SOLI + PUNCH + PUNCH, 6)
    caught = worth_catching(score.chart, score.together)
    assert _beats(score.chart, caught) == [
        ("3", "5/2"),
        ("3", "4"),
        ("4", "5/2"),
        ("5", "5/2"),
        ("5", "4"),
        ("6", "5/2"),
    ]
    assert {c.who for c in caught} == {"tutti"}
    assert all(c.why and c.points >= 4 for c in caught)


def test_nothing_is_shown_of_a_few_horns(tmp_path: Path) -> None:
    """Three trumpets are a figure of their section, none of the band."""
    horns = {n: part_xml(transposed(PUNCH * 3, -k)) for k, n in enumerate(_NAMES[:3])}
    path = tmp_path / "a.musicxml"
    path.write_bytes(score_xml({**horns, "Drums": _slashes(6)}))
    score = stages.read_score(path, Options())
    assert worth_catching(score.chart, score.together) == ()


def test_cues_stand_over_slashes_of_the_rhythm_section_alone(demo_marked: Marked) -> None:
    again = demo_marked.again
    caught = worth_catching(again.chart, again.together)
    shown = {p.label: rhythm_cues(again.chart, p, caught) for p in again.chart.parts}
    assert {name for name, cues in shown.items() if cues} == {"Guitar", "Piano", "Drums"}
    assert len(shown["Drums"]) > len(shown["Piano"]) > 5
    assert {cue.words for cue in shown["Drums"]} >= {"brass", "saxes", "tutti"}


def _job(score: Score, folder: Path, *, cues: bool = True) -> PartJob:
    style = replace(SheetStyle(), rhythm_cues=cues)
    jobs = part_jobs(Basis.of_score(score), folder, style)
    return next(job for job in jobs if job.name == "Drums")


@pytest.mark.parametrize("divisions", [24, 1, 480])
def test_every_cue_is_drawn_in_its_bar_beside_the_slashes(divisions: int, tmp_path: Path) -> None:
    """Whatever the parts count in: a score may have divisions of its own in each part (MusicXML
    4.0, divisions)."""
    score = _score(tmp_path, SOLI + PUNCH + PUNCH, 6, divisions)
    job = _job(score, tmp_path)
    report = draw_part(job)
    assert report.differences == ()
    assert report.heads == report.proved == 6 * 4 + 6
    xml = job.xml.decode()
    assert len(re.findall("<cue/>", xml)) == 6
    assert xml.count("<strong-accent") == 4
    assert "tutti" in xml


def test_without_cues_the_part_is_as_it_was(tmp_path: Path) -> None:
    score = _score(tmp_path, PUNCH * 3, 6)
    bare = _job(score, tmp_path, cues=False)
    assert b"<cue/>" not in bare.xml
    assert draw_part(bare).heads == 6 * 4


def test_the_demos_rhythm_parts_stay_on_two_pages(demo_marked: Marked, tmp_path: Path) -> None:
    again, style = demo_marked.again, SheetStyle()
    jobs = part_jobs(Basis.of_score(again), tmp_path, style)
    piano, drums = (draw_part(job) for job in jobs if job.name in ("Piano", "Drums"))
    assert (piano.pages, drums.pages) == (2, 2)
    lines = drums.bars_per_line
    assert max(lines) <= 6
    assert sum(bars in (4, 5) for bars in lines) > len(lines) * 2 / 3


def test_the_director_takes_a_bar_of_cues_out_in_the_workbook(
    demo_score: Score, tmp_path: Path
) -> None:
    """Every bar of cues is a row with its reason; one taken out is shown to nobody, stays out in
    the next workbook, and the plan that is written says so too."""
    marked = stages.mark_score(demo_score, Options())
    path = one_output.write_checklist(marked, tmp_path / "a.xlsx", Options())
    workbook = openpyxl.load_workbook(path)
    sheet = workbook[tables.CUES]
    columns = {cell.value: cell.column for cell in sheet[2]}
    bars = [sheet.cell(n, columns["Bar"]).value for n in range(3, sheet.max_row + 1)]
    reasons = [sheet.cell(n, columns["Why shown"]).value for n in range(3, sheet.max_row + 1)]
    assert len(bars) == len(set(bars)) == len(shown_bars(marked.again.chart, marked.again.together))
    assert all(reasons)
    sheet.cell(3, columns["Decision"]).value = tables.TAKE_OUT
    workbook.save(path)
    options = Options(decisions=path)
    assert stages.bars_without_cues(options) == {bars[0]}
    one_output.write_checklist(marked, tmp_path / "b.xlsx", options)
    assert cues_taken_out(read_typed(tmp_path / "b.xlsx")) == {bars[0]}
    again = marked.again
    style = SheetStyle(no_rhythm_cues_in=stages.bars_without_cues(options))
    jobs = part_jobs(Basis.of_score(again), tmp_path, style)
    without = {job.name: job.xml for job in jobs if job.name in ("Drums", "Piano")}
    whole = {
        job.name: job.xml
        for job in part_jobs(
            Basis.of_score(again),
            tmp_path,
            SheetStyle(),
        )
        if job.name in without
    }
    assert without["Drums"].count(b"<cue/>") < whole["Drums"].count(b"<cue/>")
    plan = tmp_path / "plan.toml"
    plan.write_text(write_plan(demo_score.chart, marked.plan, "keep", {bars[0]}), encoding="utf-8")
    assert stages.bars_without_cues(Options(plan=plan)) == {bars[0]}


def test_a_chart_without_slashes_has_no_sheet_of_cues(tmp_path: Path) -> None:
    path = tmp_path / "a.musicxml"
    path.write_bytes(score_xml({"Alto Sax 1": part_xml(SOLI), "Alto Sax 2": part_xml(SOLI)}))
    marked = stages.mark_score(stages.read_score(path, Options()), Options())
    book = one_output.write_checklist(marked, tmp_path / "a.xlsx", Options())
    assert tables.CUES not in openpyxl.load_workbook(book).sheetnames
    read_typed(book)


@pytest.mark.thorough
def test_the_small_score_shows_them_only_if_asked(demo_marked: Marked) -> None:
    """The same bars as on the sheets, a set of heads for each part of the rhythm section."""
    again = demo_marked.again
    caught = worth_catching(again.chart, again.together)

    def cue_heads(**asked: Any) -> Counter[str]:
        with painted() as lines:
            small_score_pdf(again, paper="letter", footer="", **asked)
        names = {name for line in lines for name in line.system.heads if name.startswith("cue")}
        return Counter(name.rpartition("-")[2] for name in names)

    assert not cue_heads()
    shown = {
        str(part.index): len(rhythm_heads(again.chart, rhythm_cues(again.chart, part, caught)))
        for part in again.chart.parts
    }
    assert +cue_heads(caught=caught) == +Counter(shown)


def test_a_score_with_cues_has_to_be_asked_for(tmp_path: Path) -> None:
    chart = str(Path(__file__).parents[2] / "demo_chart" / "late_tram_home.musicxml")
    asked = ["prepare", chart, "-o", str(tmp_path / "x"), "--rhythm-cues", "score"]
    for more, remedy in ([], "--score written"), (["--score", "written", "--no-rhythm-cues"], "Le"):
        made = CliRunner().invoke(app, [*asked, *more])
        assert made.exit_code
        assert remedy in str(made.exception or made.output)
