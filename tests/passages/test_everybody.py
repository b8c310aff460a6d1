"""Bars in which all who play do the same are one group to a listener: the band on one stroke, and
chorales, passing notes apart (common practice, no source)."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import chart, transposed

from sectionprep.musicxml.document import open_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.passages import find_passages
from sectionprep.passages.everybody import passing_notes
from sectionprep.passages.grid import build_grid

OWN = {
    "Alto 1": "C5/8 D5/8 r/4 G5/4 r/8 A5/8 r/8 C5/4 E5/8 r/2 ",
    "Trumpet 1": "r/4 E5/2 F5/4 G5/4. A5/8 r/4 C5/4 ",
    "Trombone 1": "C4/2 r/8 G3/8 A3/4 r/4 F3/8 E3/8 D3/2 ",
}
VOICES = {
    "Soprano": "C5/4 B4/4 C5/4 D5/4 E5/4 D5/4 C5/2 ",
    "Alto": "G4/4 G4/8 F4/8 E4/4 G4/4 G4/4 G4/8 F4/8 E4/2 ",
    "Tenor": "E4/4 D4/4 G3/8 A3/8 B3/4 C4/4 B3/4 G3/2 ",
    "Bass": "C3/8 D3/8 E3/8 F3/8 G3/4 F3/4 E3/8 F3/8 G3/4 C3/2 ",
}


def _groups(parts: dict[str, str], bar: int) -> list[tuple[int, ...]]:
    return [group.parts for group in find_passages(chart(parts)).bars[bar]]


def test_the_whole_band_on_one_stroke_is_one_group() -> None:
    """Whatever the parts do in the bars around it."""
    parts = {
        name: line + f"{note}/4 r/2. " + line
        for (name, line), note in zip(OWN.items(), ("E5", "G5", "C4"), strict=True)
    }
    assert (0, 1, 2) in _groups(parts, 2)
    off = parts | {"Alto 1": OWN["Alto 1"] + "r/4 E5/4 r/2 " + OWN["Alto 1"]}
    assert (0, 1, 2) not in _groups(off, 2)


def test_passing_notes_do_not_part_the_voices_of_a_chorale() -> None:
    assert (0, 1, 2, 3) in _groups(VOICES, 0)
    assert (0, 1, 2, 3) in _groups(VOICES, 1)
    (passage,) = find_passages(chart({k: v * 2 for k, v in VOICES.items()})).passages
    assert passage.parts == (0, 1, 2, 3)
    assert [d for d in passage.deviations if d.kind == "extra"] == []


def test_which_notes_pass() -> None:
    """Off the beat, over before the next, reached and left by step."""
    line = "C5/8 D5/8 E5/8 G5/8 E5/8 F5/4 G5/8 A5/8 B5/8 A5/4 r/2 "
    c = chart({"Soprano": line, "Alto": transposed(line, -5)})
    grid = build_grid(c)
    found = [float(grid.ticks[n] / c.resolution) for n in passing_notes(c, grid)[0].nonzero()[0]]
    assert found == [0.5, 3.5, 4.5]  # a leap, a syncopation, and notes on the beat are none


@pytest.mark.parametrize(
    ("name", "least"), [("bwv101.7", 12), ("bwv102.7", 14), ("bwv153.1", 12), ("bwv104.6", 7)]
)
def test_chorales_are_one_group(name: str, least: int) -> None:
    """Four-part chorales of J. S. Bach with passing eighths (music21 corpus): all four voices in
    one group, in at least so many of the 12 to 15 bars, and a passage of all four."""
    import music21

    path = Path(music21.__file__).parent / "corpus" / "bach" / f"{name}.mxl"
    together = find_passages(read_chart(open_document(path)))
    whole = [bar for bar in together.bars if any(len(group.parts) == 4 for group in bar)]
    assert len(whole) >= least
    assert any(len(passage.parts) == 4 for passage in together.passages)
