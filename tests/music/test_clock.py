"""The one clock, through changes of tempo."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml

from sectionprep.checks import run_checks
from sectionprep.music.clock import TEMPO_IF_SILENT, clock_of
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.turning import rests_at_bar_ends


def _mark(tempo: int) -> str:
    return (
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
        f"<per-minute>{tempo}</per-minute></metronome></direction-type></direction>"
    )


def test_seconds_follow_every_tempo_and_back() -> None:
    clock = clock_of({4.0: 180.0, 8.0: 60.0})
    assert clock.second(4) == pytest.approx(4 / 3)  # before the first mark its tempo holds
    assert clock.second(10) == pytest.approx(8 / 3 + 2)
    assert all(clock.quarter(clock.second(q)) == pytest.approx(q) for q in (0, 3, 8, 9.5, 40))
    assert clock.at_a_share(0.5).second(10) == pytest.approx(2 * clock.second(10))
    assert clock_of({}).tempo_at(3) == TEMPO_IF_SILENT


def test_a_rest_after_a_slower_tempo_lasts_as_long_as_it_lasts() -> None:
    """Two bars of 4/4 at 180, then at 60 a whole bar of rest: four seconds, not 1.3."""
    line = part_xml(
        "C4/4 D4/4 E4/4 F4/4 C4/4 D4/4 E4/4 F4/4 r/1 C4/1", signs={0: _mark(180), 8: _mark(60)}
    )
    chart = read_chart(parse_document(Path("x"), score_xml({"Alto Sax 1": line})))
    assert rests_at_bar_ends(chart, chart.parts[0])[1] == pytest.approx(4.0)


def test_a_line_is_as_long_as_its_own_tempo_makes_it() -> None:
    """Sixteen bars without a rest at 60 are 64 seconds, whatever the chart began with."""
    line = part_xml("C4/1 r/1 " + "C4/4 D4/4 E4/4 F4/4 " * 16, signs={0: _mark(200), 2: _mark(60)})
    chart = read_chart(parse_document(Path("x"), score_xml({"Trumpet 1": line})))
    from sectionprep.passages import find_passages

    said = [f.message for f in run_checks(chart, find_passages(chart)) if f.check == "breath"]
    assert said == ["64 s without a rest or a breath mark"]
