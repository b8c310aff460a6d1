"""Breaths: where a line that is too long for one breath is broken, and what a player is warned of.
Seconds are counted by hand from the tempo."""

from __future__ import annotations

from dataclasses import replace

import pytest
from build import chart

from sectionprep.music.chart import Chart
from sectionprep.phrasing.breath import breath_cautions, with_breaths
from sectionprep.phrasing.plan import PlannedNote
from sectionprep.phrasing.planner import plan_line
from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.view import LineView, view_line


def _line(
    text: str, tempo: float, name: str = "Alto Sax 1"
) -> tuple[Chart, LineView, list[PlannedNote]]:
    """A chart, its line, and the line's notes without any mark."""
    c = replace(chart({name: text}), tempos=((0, tempo),))
    view = view_line(c, c.lines[0], styles()["medium-swing"], 0)
    notes = [
        note._replace(marks=frozenset(), added=frozenset())
        for note in plan_line(c, 0).passages[0].notes
    ]
    return c, view, notes


def _breaths(text: str, tempo: float, marks: dict[int, set[str]] | None = None) -> list[int]:
    c, view, notes = _line(text, tempo)
    notes = [n._replace(marks=frozenset((marks or {}).get(k, ()))) for k, n in enumerate(notes)]
    return [k for k, n in enumerate(with_breaths(c, view, notes)) if "breath-mark" in n.marks]


PAD = "C5/1 D5/1 C5/1 D5/1 C5/1 D5/1 C5/1 B4/1"


@pytest.mark.parametrize(
    ("tempo", "breaths"), [(120, [3]), (240, []), (112, [1, 3, 5]), (60, [1, 3, 5])]
)
def test_a_pad_is_broken_as_often_as_its_seconds_ask(tempo: float, breaths: list[int]) -> None:
    """Eight whole notes: 16 s at 120, 8 s at 240; four of them are 8.6 s at 112 and 16 s at 60, too
    long, and two are not."""
    assert _breaths(PAD, tempo) == breaths


def test_a_rest_or_a_printed_breath_is_a_breath() -> None:
    assert _breaths("C5/1 D5/1 C5/1 D5/2 r/2 C5/1 D5/1 C5/1 B4/1", 120) == []
    assert _breaths(PAD, 120, {3: {"breath-mark"}}) == [3]


def test_no_breath_under_a_slur() -> None:
    """The slur goes from the third note to the sixth: the breath after four bars moves."""
    (at, *_) = _breaths(PAD, 120, {2: {"slur-start"}, 5: {"slur-stop"}})
    assert at in (1, 5, 6)


def test_who_writes_a_breath_says_why() -> None:
    c, view, notes = _line(PAD, 120)
    assert "breathe together" in with_breaths(c, view, notes)[3].why


LONG = "C5/8 D5/8 E5/8 F5/8 G5/8 F5/8 E5/8 D5/8 " * 16


def test_a_stretch_longer_than_the_chair_can_play_is_a_caution_with_its_seconds() -> None:
    """16 bars of eighths at 120 are 32 s. Neighbours never breathe at one place (E. van Doren)."""
    c, view, notes = _line(LONG, 120)
    (said,) = breath_cautions(c, 0, view, notes)
    assert said.startswith("bar 1 beat 1 to the end of bar 16: 32 s without a rest")
    assert "a caution, not a rule" in said
    places = [words.split(",")[0].split(" (")[0] for words in said.split(" at ")[1:]]
    assert len(set(places)) == 3


@pytest.mark.parametrize("tempo", [120, 60])
def test_a_piano_and_a_line_with_rests_are_warned_of_nothing(tempo: float) -> None:
    c, view, notes = _line(LONG, tempo, "Piano")
    assert breath_cautions(c, 0, view, notes) == ()
    c, view, notes = _line("C5/4 D5/4 E5/4 r/4 " * 16, tempo)
    assert breath_cautions(c, 0, view, notes) == ()
