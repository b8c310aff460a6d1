"""A decision of the director's follows its figure. Breaks when it stays behind where the music
moved, or lands on other music.

Every decision here is typed into a workbook that was written for one chart and is then used for
another.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import openpyxl
import pytest
from build import chart, part_xml, score_xml

from sectionprep import one_output, stages
from sectionprep.outputs.workbook import tables
from sectionprep.passages import find_passages
from sectionprep.phrasing.directives import Directive, apply_directives, figure_at
from sectionprep.phrasing.planner import plan_line
from sectionprep.results import Options

TUNE = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4"
OTHER = "C4/4 E4/8 G4/8 Bb4/4 r/4 G4/8 E4/8 C4/4 r/2"


def _chart(path: Path, line: str) -> Path:
    path.write_bytes(score_xml({"Alto Sax 1": part_xml(line), "Alto Sax 2": part_xml(line)}))
    return path


@pytest.fixture(scope="module")
def decided(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workbook of TUNE in which the C of bar 1 is changed to a fall."""
    folder = tmp_path_factory.mktemp("decided")
    options = Options()
    source = _chart(folder / "a.musicxml", TUNE.replace("C5/4", "C5/4^"))
    marked = stages.mark_score(stages.read_score(source, options), options)
    path = one_output.write_checklist(marked, folder / "a.xlsx", options)
    workbook = openpyxl.load_workbook(path)
    sheet = workbook[tables.MARKS]
    columns = {cell.value: cell.column for cell in sheet[2]}
    rows = [
        n
        for n in range(3, sheet.max_row + 1)
        if "rooftop" in str(sheet.cell(n, columns["Planned"]).value)
    ]
    assert len(rows) == 1
    sheet.cell(rows[0], columns["Change to"]).value = "fall"
    workbook.save(path)
    return path


def _falls(path: Path, decided: Path) -> tuple[list[str], list[str]]:
    """Where Alto 2 falls, and why decisions were not applied."""
    options = Options(decisions=decided)
    marked = stages.mark_score(stages.read_score(path, options), options)
    after = marked.again.chart
    return [str(after.place(t.onset)) for t in after.lines[1] if "falloff" in t.marks], [
        why for _, why in marked.unfit
    ]


@pytest.mark.parametrize(
    ("line", "falls"),
    [
        (TUNE, ["bar 1 beat 3"]),
        (f"r/1 r/1 {TUNE}", ["bar 3 beat 3"]),  # two bars were put in before it
        (f"{OTHER} {TUNE}", ["bar 3 beat 3"]),  # music was
        (f"{OTHER} r/1 {TUNE} {TUNE}", ["bar 4 beat 3"]),  # of two like it, the nearer one
    ],
)
def test_a_decision_of_the_workbook_follows_its_figure(
    line: str, falls: list[str], decided: Path, tmp_path: Path
) -> None:
    assert _falls(_chart(tmp_path / "b.musicxml", line), decided) == (falls, [])


@pytest.mark.parametrize(
    "line",
    [
        TUNE.replace("A4/8 C5/4 A4/8 F4/8", "A4/8 B4/4 A4/8 F4/8"),  # another note
        TUNE.replace("C5/4 A4/8 F4/8 G4/4", "C5/8 A4/4 F4/8 G4/4"),  # the same notes, other lengths
        TUNE.replace("F4/8 A4/8 C5/4", "F4/16 A4/8. C5/4"),
        "r/1 " * 20 + TUNE,  # so far away that it may be meant for another chorus
    ],
)
def test_a_decision_does_not_land_on_other_music(line: str, decided: Path, tmp_path: Path) -> None:
    assert _falls(_chart(tmp_path / "b.musicxml", line), decided) == (
        [],
        ["the music at this place has changed"],
    )


def test_a_figure_is_intervals_and_lengths_around_a_note() -> None:
    c = chart({"Alto Sax 1": "C5/4 D5/8 F5/8 E5/2 C5/1"})
    line, quarter = c.lines[0], c.resolution
    assert figure_at(line, 2, quarter) == "+2:1/2 +3:1/2 -1:2"
    assert figure_at(line, 0, quarter) == "- +0:1 +2:1/2"
    assert figure_at(line, 4, quarter) == "-1:2 -4:4 -"


def test_a_decision_that_fits_nowhere_is_returned_with_the_reason() -> None:
    c = chart({"Alto Sax 1": "C5/4 D5/8 F5/8 E5/2 C5/1"})
    plan = plan_line(c, 0)
    marks = frozenset({"accent"})
    wrong = {
        "no note begins at this place": Directive(
            part="Alto Sax 1", bar="1", beat=Fraction(4), marks=marks
        ),
        "the music at this place has changed": Directive(
            part="Alto Sax 1", bar="1", beat=Fraction(1), marks=marks, figure="+1:1 +1:1 +1:1"
        ),
    }
    made, unfit = apply_directives(c, find_passages(c), plan, wrong.values())
    assert {why: d for d, why in unfit} == wrong
    assert made == plan
