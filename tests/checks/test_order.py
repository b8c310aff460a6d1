"""Findings in the order in which they matter, gathered so that they fit one screen."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import chart, part_xml, score_xml
from typer.testing import CliRunner

from sectionprep.checks import Finding, run_checks
from sectionprep.checks.grouping import group_findings
from sectionprep.cli.app import app
from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.reports.agreement import agreement_text
from sectionprep.outputs.workbook.findings import look_first
from sectionprep.passages import find_passages
from sectionprep.results import Marked

TUNE = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4 "
#: one passage in which all punch on the and of 2
PUNCH = TUNE + "r/4 r/8 E4/8 r/2 r/4 r/8 F4/8 r/2 "
#: a player who reads on 2 what the others have on the and
EARLY = TUNE + "r/4 E4/8 r/8 r/2 r/4 r/8 F4/8 r/2 "


def _findings(parts: dict[str, str]) -> tuple[Chart, tuple[Finding, ...]]:
    c = chart(parts)
    return c, run_checks(c, find_passages(c))


def _marked(line: str) -> str:
    """An accent on every quarter of the tune."""
    return line.replace("C5/4", "C5/4>").replace("G4/4", "G4/4>").replace("E4/4", "E4/4>")


def test_a_wrong_rhythm_stands_before_any_number_of_missing_marks() -> None:
    lead = _marked(PUNCH) * 3
    parts = {"Trumpet 1": lead, "Trumpet 2": PUNCH * 3, "Trumpet 4": PUNCH * 3}
    c, found = _findings({**parts, "Trumpet 3": PUNCH + EARLY + PUNCH})
    assert found[0].check == "rhythm"
    assert c.parts[found[0].part].label == "Trumpet 3"
    assert "strikes on 2 where all 3 others play the & of 2" in found[0].message
    assert {f.check for f in found} >= {"rhythm", "marks-missing"}
    first = look_first(c, found)
    assert "Trumpet 3" in first[0]
    assert len(first) <= 5


def test_one_line_for_a_section_without_marks() -> None:
    c, found = _findings(
        {"Trumpet 1": _marked(TUNE) * 2, **{f"Trumpet {n}": TUNE * 2 for n in (2, 3, 4)}}
    )
    assert len([f for f in found if f.check == "marks-missing"]) == 3
    (group,) = (g for g in group_findings(c, found) if g.matter == "marks")
    assert str(group) == "bars 1-6, trumpets: no marks, Trumpet 1 has 8"


def test_no_finding_is_lost_by_gathering(demo_marked: Marked) -> None:
    chart, found = demo_marked.score.chart, demo_marked.before
    groups = group_findings(chart, found)
    assert sorted(map(repr, (f for g in groups for f in g.findings))) == sorted(map(repr, found))
    assert len(groups) < len(found) / 3


def test_an_ordinary_chart_fits_one_screen(demo_path: Path) -> None:
    """Forty lines of a hundred and twenty characters."""
    said = CliRunner(env={"COLUMNS": "120"}).invoke(app, ["check", str(demo_path)])
    assert said.exit_code == 0
    assert len(said.output.splitlines()) <= 40
    everything = CliRunner(env={"COLUMNS": "120"}).invoke(app, ["check", str(demo_path), "--all"])
    assert len(everything.output.splitlines()) > 100


_WORDS = "<direction><direction-type><words>{}</words></direction-type></direction>"


@pytest.mark.parametrize("muted", [1, 2, 3])
def test_a_mute_in_one_part_of_a_section_alone(muted: int) -> None:
    """Common practice, no source: a section that moves as one is muted as one."""
    cup = {1: _WORDS.format("cup mute")}
    parts = {
        f"Trumpet {n}": part_xml(TUNE * 3, signs=cup if n <= muted else None) for n in (1, 2, 3)
    }
    c = read_chart(parse_document(Path("x"), score_xml(parts)))
    found = [f for f in run_checks(c, find_passages(c)) if f.check == "mute-alone"]
    assert bool(found) == (muted < 3)


def test_the_report_says_from_where_to_where_marks_are_missing(demo_marked: Marked) -> None:
    """The demo's Trumpet 2 has none of Trumpet 1's five marks in bars 2 to 18."""
    text = agreement_text(demo_marked)
    assert "bars 2-18, Trumpet 2: no marks, Trumpet 1 has 5" in text
    assert "bar 12 beat 2, Tenor Sax 2: plays F#6" in text
