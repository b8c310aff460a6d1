"""The plan as a file: what is written is read, a director's line wins, and small edits of the chart
do not lose it."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from build import part_xml, score_xml
from hypothesis import given
from hypothesis import strategies as st

from sectionprep import stages
from sectionprep.errors import UnusableSettings
from sectionprep.music.timing import say_beat
from sectionprep.phrasing.director_words import parse_beat, parse_words
from sectionprep.phrasing.plan_file import read_plan
from sectionprep.results import Options, Score

TUNE = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4"


def _chart(path: Path, lead_in: str = "") -> Path:
    path.write_bytes(
        score_xml({"Alto Sax 1": part_xml(lead_in + TUNE), "Alto Sax 2": part_xml(lead_in + TUNE)})
    )
    return path


def _plan(path: Path, **options: object) -> tuple[Score, stages.Plan, tuple[object, ...]]:
    given = Options(**options)  # type: ignore[arg-type]
    score = stages.read_score(path, given)
    plan, unfit = stages.plan_score(score, given)
    return score, plan, unfit


def test_a_written_plan_changes_nothing_when_read_back(tmp_path: Path, demo_path: Path) -> None:
    score, plan, _ = _plan(demo_path)
    stages.write_plan_file(score, plan, tmp_path / "plan.toml", Options())
    _, again, unfit = _plan(demo_path, plan=tmp_path / "plan.toml")
    assert unfit == ()
    assert [[(n.marks, n.cutoff, n.why) for n in p.notes] for p in again.passages] == [
        [(n.marks, n.cutoff, n.why) for n in p.notes] for p in plan.passages
    ]


def test_a_line_wins_and_follows_its_figure_to_another_bar(tmp_path: Path) -> None:
    score, plan, _ = _plan(_chart(tmp_path / "a.musicxml"))
    text = stages.write_plan(score.chart, plan)
    line = next(row for row in text.splitlines() if "| C5 |" in row)
    changed = line.replace(line.split("|")[2], " staccato ")
    (tmp_path / "plan.toml").write_text(text.replace(line, changed))
    score, plan, unfit = _plan(
        _chart(tmp_path / "b.musicxml", "r/1 r/1 "), plan=tmp_path / "plan.toml"
    )
    assert unfit == ()
    (note,) = [n for n in plan.passages[0].notes if n.tone.pitch == 72]
    assert note.marks == {"staccato"}
    assert "plan file" in note.why
    assert score.chart.place(note.tone.onset).bar == "3"


def test_what_no_longer_fits_is_said(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(
        '[[passage]]\nlead = "Alto Sax 1"\nlines = ["77 1 | C5 | accent", "1 1 | C5 | accent"]\n'
        '[[passage]]\nlead = "Kazoo"\nlines = ["1 1 | C5 | accent"]\n'
    )
    _, _, unfit = _plan(_chart(tmp_path / "a.musicxml"), plan=tmp_path / "plan.toml")
    assert len(unfit) == 3


def test_a_house_style_serves_any_chart(tmp_path: Path) -> None:
    (tmp_path / "house.toml").write_text('[house]\nstyle = "ballad"\n')
    _, plan, _ = _plan(_chart(tmp_path / "a.musicxml"), plan=tmp_path / "house.toml")
    assert plan.style == "ballad"


@pytest.mark.parametrize(
    "text",
    [
        '[[passage]]\nlead="A"\nlines=["1 1 C5 accent"]',
        '[[passage]]\nlead="A"\nlines=["1 x | C5 | accent"]',
        '[[passage]]\nlead="A"\nlines=["1 1 | C5 | louder"]',
        "[[passage]]\nlines=[]",
        "[x]",
        "[house]\nspeed=3",
        "= =",
    ],
)
def test_a_plan_that_cannot_be_used_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "plan.toml").write_text(text)
    with pytest.raises(UnusableSettings) as caught:
        read_plan(tmp_path / "plan.toml")
    assert caught.value.remedy
    assert "plan.toml" in str(caught.value)


@given(st.fractions(1, 12, max_denominator=12))
def test_beats_are_read_as_they_are_said(beat: Fraction) -> None:
    assert parse_beat(say_beat(beat)) == beat


def test_words() -> None:
    assert parse_words("accent, tenuto") == {"accent", "tenuto"}
    assert parse_words("nonsense") is None
    assert parse_beat("nonsense") is None
    assert parse_beat("2,5") == parse_beat("2.5") == Fraction(5, 2)


def test_a_line_about_another_note_is_not_applied(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(
        '[[passage]]\nlead = "Alto Sax 1"\nlines = ["1 1and | D4 | accent", "1 3 | C6 | accent"]\n'
    )
    _, made, unfit = _plan(_chart(tmp_path / "a.musicxml"), plan=plan)
    assert "accent" in made.passages[0].notes[0].marks
    assert [why for _, why in unfit] == ["the note there is C5, not C6"]  # type: ignore[misc]
