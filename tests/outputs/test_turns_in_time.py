"""Who plays time from slashes turns the page with one hand, where no figure is to be caught (common
practice, a judgement): a drummer or who comps, not a bass that walks, nor a soloist."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml
from measure_pages import part_count, plain_bars

from sectionprep.drawing.paging.lines_and_pages import LineBox, break_pages
from sectionprep.drawing.paging.turns import Turn
from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.part_job import PartJob, SheetStyle
from sectionprep.outputs.parts.sheets import Basis, part_jobs
from sectionprep.outputs.parts.turning import RoadTurns, free_at_bar_ends, plain_time


def _read(name: str, bars: str, signs: dict[int, str] | None = None) -> tuple[Document, Chart]:
    """A part by its bars: "s" of slashes, "n" of quarters, "r" silent."""
    text = " ".join("r/1" if bar == "r" else "C5/4 " * 4 for bar in bars)
    measures = part_xml(text, signs=signs).split("</measure>")
    slash = "<notehead>slash</notehead></note>"
    written = [
        measure.replace("</note>", slash) if bar == "s" else measure
        for bar, measure in zip(bars, measures, strict=False)
    ]
    part = "</measure>".join([*written, ""])
    document = parse_document(Path("x.musicxml"), score_xml({name: part}))
    return document, read_chart(document)


def _free(name: str, bars: str, cued: set[int]) -> tuple[list[float], set[int]]:
    _, c = _read(name, bars)
    seconds, in_time = free_at_bar_ends(c, c.parts[0], plain_time(c.parts[0], cued))
    return list(seconds), {*in_time}


@pytest.mark.parametrize("name", ["Drums", "Guitar", "Piano"])
def test_plain_slashes_are_time_to_turn(name: str) -> None:
    """Two seconds a bar: the note before the slashes to the next one, or to the next figure."""
    assert _free(name, "nssn", set()) == ([4.0, 4.0, 4.0, 0.0], {0, 1, 2})
    assert _free(name, "nssn", {2}) == ([2.0, 2.0, 0.0, 0.0], {0, 1})


@pytest.mark.parametrize("name", ["Bass", "Tenor Sax 1"])
def test_a_walking_bass_and_a_soloist_need_both_hands(name: str) -> None:
    assert _free(name, "nssn", set()) == ([0.0] * 4, set())


def test_a_rest_that_is_long_enough_stays_one() -> None:
    seconds, in_time = _free("Drums", "srrs", set())
    assert seconds[:3] == [4.0, 4.0, 4.0]
    assert not in_time & {0, 1, 2}


def test_a_jump_is_taken_in_time() -> None:
    """From the end of bar 5 to bar 2: a bar of slashes before it, three after it."""
    around = "<direction><direction-type>{}</direction-type></direction>"
    signs = {4: around.format("<segno/>"), 16: around.format("<words>D.S. al Fine</words>")}
    _, c = _read("Drums", "nsssn", signs)
    part = c.parts[0]
    (jump,) = RoadTurns(c).of(part, plain_time(part, ()))
    assert (jump.leaves, jump.to, jump.in_time) == (4, 1, True)
    (bare,) = RoadTurns(c).of(part)
    assert (bare.seconds, bare.in_time) == (0.0, False)


def test_a_turn_in_a_rest_is_better_than_one_in_time() -> None:
    """Of nine lines on the first page either of the last two may end it."""
    room, gap = 9 * 60.0, 0.0
    for rest in (7, 8):
        lines = [LineBox(height=60, rest_after=9.0, in_time=n != rest) for n in range(25)]
        assert break_pages(lines, room, room, gap).starts[1] == rest + 1


@pytest.mark.parametrize(
    ("turn", "how", "free"),
    [
        (Turn(page=1, seconds=4.0), "turn", "4 s rest"),
        (Turn(page=1, seconds=4.0, in_time=True), "turn in time", "4 s without a figure"),
        (Turn(page=1, seconds=1.0, in_time=True), "turn quickly", "1 s without a figure"),
        (Turn(page=1, seconds=1.0), "turn quickly", "1 s rest"),
    ],
)
def test_what_a_player_is_told(turn: Turn, how: str, free: str) -> None:
    assert (turn.how, turn.free) == (how, free)


@pytest.fixture
def long_part(tmp_path: Path) -> tuple[PartJob, Chart]:
    """Four pages of slashes with a written bar here and there."""
    document, c = _read("Drums", ("s" * 11 + "n") * 30)
    style = SheetStyle(rhythm_cues=False)
    (job,) = part_jobs(Basis(document=document, chart=c), tmp_path, style)
    return job, c


def test_a_long_part_of_slashes_has_no_turn_without_time(
    long_part: tuple[PartJob, Chart],
) -> None:
    """And the measure of pages, which reads the slashes off the sheet, times its turns alike."""
    job, c = long_part
    found = part_count(job, c, 0)
    assert found.turns
    assert not found.hard
    assert [fault for fault in found.faults if fault.kind == "turn"] == []
    assert len(plain_bars(job)) == 30 * 11
