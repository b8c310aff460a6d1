"""What a director says once for every command: decisions, the habits of the house, the tempo of a
chart that states none. Breaks when a command takes an option and does nothing with it."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest
from build import part_xml, score_xml
from typer.testing import CliRunner

from sectionprep import one_output, stages
from sectionprep.cli import app
from sectionprep.errors import UnusableSettings
from sectionprep.outputs.workbook import tables
from sectionprep.phrasing.styles import styles
from sectionprep.results import Options

LINE = "C5/8 D5/8 E5/8 G5/8 A5/4 G5/4 r/8 E5/8 G5/8 A5/8 C6/4 A5/4 G5/8 E5/8 D5/8 C5/8 D5/2"


def _chart(path: Path, first: str = "") -> Path:
    parts = {n: part_xml(LINE, first=first) for n in ("Alto Sax 1", "Alto Sax 2")}
    path.write_bytes(score_xml(parts))
    return path


def _words(words: str) -> str:
    return f"<direction><direction-type><words>{words}</words></direction-type></direction>"


@pytest.mark.parametrize(
    ("words", "style"), [("Ballad", "ballad"), ("Swing", "medium-swing"), ("Samba", "samba")]
)
def test_a_chart_without_a_tempo_has_that_of_its_style(
    words: str, style: str, tmp_path: Path
) -> None:
    """And says so; sheets, rehearsal and sound count by it, marked or not."""
    score = stages.read_score(_chart(tmp_path / "a.musicxml", _words(words)), Options())
    usual = styles()[style].tempo
    assert score.chart.tempo is None
    assert score.chart.tempo_at(0) == usual
    assert any(f"{usual} beats a minute assumed" in r.what for r in score.chart.remarks)
    marked = stages.mark_score(score, Options())
    assert marked.again.chart.tempo_at(0) == usual
    asked = Options(bpm=90)
    other = stages.read_score(tmp_path / "a.musicxml", asked)
    assert (other.chart.tempo, other.chart.tempo_at(0)) == (90, 90)
    assert stages.mark_score(other, asked).again.chart.tempo_at(0) == 90
    assert not any(r.where == "tempo" for r in other.chart.remarks)


def test_a_stated_tempo_is_not_overruled(demo_path: Path) -> None:
    score = stages.read_score(demo_path, Options(bpm=90))
    assert score.chart.tempo == 152
    assert any("--bpm is for charts without" in r.what for r in score.chart.remarks)


def test_the_house_holds_for_every_chart_and_the_charts_own_plan_wins(tmp_path: Path) -> None:
    chart = _chart(tmp_path / "a.musicxml")
    house, own = tmp_path / "house.toml", tmp_path / "own.toml"
    house.write_text('[house]\nstyle = "ballad"\nhabits = ["ballads: no accents"]\n')
    own.write_text('[house]\nstyle = "funk"\n')
    score = stages.read_score(chart, Options())
    assert stages.plan_score(score, Options(house=house))[0].style == "ballad"
    assert stages.plan_score(score, Options(house=house, plan=own))[0].style == "funk"
    own.write_text('[[passage]]\nid = "P1"\nlead = "Alto Sax 1"\nlines = ["1 1 | | accent"]\n')
    with pytest.raises(UnusableSettings, match="bars of one chart"):
        stages.plan_score(score, Options(house=own))


def test_check_does_not_say_again_what_is_settled(demo_path: Path, tmp_path: Path) -> None:
    marked = stages.mark_score(stages.read_score(demo_path, Options()), Options())
    path = one_output.write_checklist(marked, tmp_path / "a.xlsx", Options())
    workbook = openpyxl.load_workbook(path)
    sheet = workbook[tables.AGREEMENT]
    columns = {cell.value: cell.column for cell in sheet[2]}
    sheet.cell(3, columns["Status"]).value = "not a fault"
    workbook.save(path)
    runner = CliRunner()
    before = runner.invoke(app, ["check", str(demo_path), "--all"]).output
    after = runner.invoke(app, ["check", str(demo_path), "--all", "--decisions", str(path)]).output
    assert before.count("plays F#6") == 1
    assert "Settled by you: bar 12 beat 2, Tenor Sax 2: plays F#6" in after
    assert after.count("plays F#6") == 1


def test_sheets_take_cues_out_and_say_the_decided_syllables(
    demo_path: Path, tmp_path: Path
) -> None:
    """Through the command as typed: a bar of cues that the plan file takes out is not drawn."""
    plan = tmp_path / "plan.toml"
    plan.write_text(f"[house]\nno_rhythm_cues_in = {[str(n) for n in range(1, 96)]}\n")
    pages = {}
    for name, more in (("with", []), ("without", ["--plan", str(plan)])):
        out = tmp_path / name
        done = CliRunner().invoke(
            app, ["sheets", str(demo_path), "-o", str(out), "--part", "Drums", *more]
        )
        assert done.exit_code == 0, done.output
        (pages[name],) = (file.stat().st_size for file in out.glob("*.pdf"))
    assert pages["without"] < pages["with"]
