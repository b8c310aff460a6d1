"""What a part says where a passage begins, and which cue it gets: who leads, how far below, after
how long a rest."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import chart, document, transposed
from lxml import etree

from sectionprep.music.chart import Chart
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.cue_choice import choose_cues
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.section_help import section_help
from sectionprep.outputs.parts.sheets import Basis, draw_all, part_jobs
from sectionprep.passages import Passage, Together

LINE = "C5/4 D5/4 E5/4 G5/4"
REST = "r/1 "


def _passage(
    c: Chart,
    first: int,
    last: int,
    parts: tuple[int, ...],
    texture: str = "unison",
    octaves: dict[int, int] | None = None,
    lead: int = 0,
) -> Passage:
    """A passage from bar `first` through `last` (indices)."""
    return Passage(
        id=f"P{first}",
        texture=texture,
        start=c.bars[first].start,
        end=c.bars[last].end,
        parts=parts,
        lead=lead,
        lead_why="",
        attacks=(),
        confidence=1.0,
        scope="saxes",
        octaves=tuple((octaves or {}).items()),
    )


def _together(*passages: Passage) -> Together:
    return Together(bars=(), hits=(), passages=passages)


@pytest.mark.parametrize(
    ("texture", "octaves", "lead", "other"),
    [
        ("unison", {}, "unis.: you lead", "unis. with Alto 1"),
        ("octaves", {1: -1}, "octaves: you lead", "8vb of Alto 1"),
        ("octaves", {1: 1}, "octaves: you lead", "8va of Alto 1"),
        ("octaves", {1: -2}, "octaves: you lead", "15mb of Alto 1"),
        ("octaves", {1: -3}, "octaves: you lead", "-3 octaves of Alto 1"),
        ("soli", {}, "soli: you lead", "soli, lead Alto 1"),
    ],
)
def test_a_part_says_who_leads_and_how_far_away_it_is(
    texture: str, octaves: dict[int, int], lead: str, other: str
) -> None:
    c = chart({"Alto Sax 1": LINE, "Alto Sax 2": LINE, "Trombone 1": LINE})
    together = _together(_passage(c, 0, 0, (0, 1), texture, octaves))
    said = [list(section_help(c, together, part).values()) for part in range(3)]
    assert said == [[lead], [other], []]


def test_it_stands_at_the_parts_own_first_note() -> None:
    c = chart({"Alto Sax 1": LINE, "Alto Sax 2": "r/4 D5/4 E5/4 G5/4"})
    (address,) = section_help(c, _together(_passage(c, 0, 0, (0, 1))), 1)
    assert address == c.lines[1][0].head.address


@pytest.mark.parametrize(("rests", "times"), [(0, 1), (3, 1), (4, 2), (9, 2)])
def test_it_is_said_again_after_four_bars_of_rest(rests: int, times: int) -> None:
    line = f"{LINE} {REST * rests}{LINE}"
    c = chart({"Alto Sax 1": line, "Alto Sax 2": line})
    together = _together(_passage(c, 0, 0, (0, 1)), _passage(c, rests + 1, rests + 1, (0, 1)))
    assert len(section_help(c, together, 1)) == times


# -- cues
# ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("rests", "cued"), [(7, []), (8, [7]), (12, [11])])
def test_a_cue_stands_in_the_last_bar_of_a_rest_of_eight_bars_or_more(
    rests: int, cued: list[int]
) -> None:
    c = chart({"Trumpet 1": f"{LINE} " * (rests + 1), "Trumpet 2": REST * rests + LINE})
    assert [cue.bar for cue in choose_cues(c, _together(), c.parts[1])] == cued
    assert choose_cues(c, _together(), c.parts[0]) == ()


def test_the_lead_of_a_passage_is_the_cue_before_a_busier_horn() -> None:
    busy = "C5/8 D5/8 E5/8 F5/8 G5/8 F5/8 E5/8 D5/8 " * 9
    c = chart(
        {
            "Alto Sax 1": busy,
            "Trombone 1": f"{LINE} " * 9,
            "Trombone 2": f"{LINE} " * 9,
            "Trumpet 2": REST * 8 + LINE,
        }
    )
    lead = _together(_passage(c, 0, 8, (1, 2), lead=1))
    assert [cue.label for cue in choose_cues(c, lead, c.parts[3])] == [c.parts[1].says]
    assert [cue.label for cue in choose_cues(c, _together(), c.parts[3])] == [c.parts[0].says]


def test_two_notes_are_no_cue_and_a_rhythm_section_gets_none() -> None:
    few = "C5/2 D5/2 " * 9
    c = chart({"Trumpet 1": few, "Trumpet 2": REST * 8 + LINE, "Piano": REST * 8 + LINE})
    assert choose_cues(c, _together(), c.parts[1]) == ()
    full = chart({"Trumpet 1": f"{LINE} " * 9, "Piano": REST * 8 + LINE})
    assert choose_cues(full, _together(), full.parts[1]) == ()


@pytest.mark.parametrize(("shift", "octaves"), [(0, 0), (-24, 2), (24, -2)])
def test_a_cue_is_moved_by_octaves_onto_the_readers_staff(shift: int, octaves: int) -> None:
    c = chart({"Trumpet 1": f"{transposed(LINE, shift)} " * 9, "Trumpet 2": REST * 8 + LINE})
    assert [cue.octaves for cue in choose_cues(c, _together(), c.parts[1])] == [octaves]


def test_a_cue_keeps_its_ties(tmp_path: Path) -> None:
    """A note held inside the bar is one note; one held over from the bar before is not struck in
    the cue; one that is held on rings on. The proof knows which heads must be there."""
    before, cued = "F5/4 G5/4 A5/4 E5/4~", "E5/8 G5/4~ G5/8 A5/8 B5/8 C6/4~"
    d = document(
        {
            "Trombone 1": f"{LINE} " * 7 + f"{before} {cued} C6/1",
            "Trombone 2": REST * 9 + LINE,
        }
    )
    c = read_chart(d)
    (cue,) = choose_cues(c, _together(), c.parts[1])
    assert cue.bar == 8
    (job,) = part_jobs(
        Basis(document=d, chart=c, together=_together()), tmp_path, SheetStyle(), parts=[1]
    )
    measure = etree.fromstring(job.xml).findall(".//measure")[8]
    notes = [n for n in measure.iter("note") if n.findtext("voice") == "1"]
    said = [(n.findtext("pitch/step"), [t.get("type") for t in n.iter("tied")]) for n in notes]
    assert said == [
        (None, []),
        ("G", ["start"]),
        ("G", ["stop"]),
        ("A", []),
        ("B", []),
        ("C", ["let-ring"]),
    ]
    (report,) = draw_all([job])
    assert (report.heads, report.proved, report.differences) == (4 + 5, 4 + 5, ())
