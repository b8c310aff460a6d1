"""What is said under the notes never touches: a millimetre at least between two syllables, all of a
line in one size (judgement of readers)."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pypdfium2
import pytest
from build import part_xml, score_xml

from sectionprep.drawing.scene.ink import InkSpot, System
from sectionprep.drawing.scene.line_extras import line_extras
from sectionprep.drawing.text import fonts
from sectionprep.musicxml.copies.part import note_id
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.laying_out import extras_of, laid_out
from sectionprep.outputs.parts.part_job import PartJob, SheetStyle
from sectionprep.outputs.parts.sheet import draw_part
from sectionprep.outputs.parts.sheets import Basis, part_jobs
from sectionprep.results import Marked


@pytest.fixture(scope="module")
def jobs(demo_marked: Marked, tmp_path_factory: pytest.TempPathFactory) -> list[PartJob]:
    again = demo_marked.again
    folder = tmp_path_factory.mktemp("said")
    style = SheetStyle(syllables=True)
    return list(
        part_jobs(
            Basis.of_score(again, demo_marked.plan),
            folder,
            style,
            parts=[0, 3, 7],
        )
    )


def test_no_two_syllables_are_closer_than_a_millimetre(jobs: list[PartJob]) -> None:
    for job in jobs:
        looked_at = 0
        for line in extras_of(laid_out(job).engraving, job):
            boxes = sorted(extra.box for extra in line if extra.kind == "syllable")
            looked_at += len(boxes)
            assert all(b[0] - a[2] >= 100 for a, b in pairwise(boxes))
            assert len({round(box[3] - box[1], 3) for box in boxes}) <= 1  # one size
        assert looked_at > 50


def test_their_key_stands_on_the_pages_that_have_them(jobs: list[PartJob]) -> None:
    draw_part(jobs[0])
    pdf = pypdfium2.PdfDocument(jobs[0].out)
    for page in pdf:
        words = page.get_textpage().get_text_range().split()
        assert ("doo" in words) == ("swallowed" in words)
    assert len(pdf) == 2


def test_sung_syllables_of_a_full_bar_do_not_run_together(tmp_path: Path) -> None:
    """Found on a madrigal, "che per" printed as one word; the bar beside it has white to spare."""
    sung = part_xml("C5/8 " * 8 + "C5/1 C5/1 C5/1 C5/1 ").replace(
        "</note>", "<lyric><text>through</text></lyric></note>", 8
    )
    d = parse_document(Path("x.musicxml"), score_xml({"Voice": sung}))
    (job,) = part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle())
    for system in laid_out(job).engraving.systems:
        syllables = sorted(i.box for i in system.ink if "syl" in i.classes)
        assert len(syllables) == 8
        assert all(b[0] - a[2] >= 40 for a, b in pairwise(syllables))


def test_a_line_too_full_for_its_syllables_is_broken_anew(tmp_path: Path) -> None:
    """Triplets of a full line, found on a dense chart: three syllables had the room of two. The
    part keeps its number of pages."""
    text = "C5/4 r/8 D5/8 E5/8t F5/8t G5/8t A5/8t G5/8t F5/8t " * 40
    d = parse_document(Path("x.musicxml"), score_xml({"Alto Sax 1": part_xml(text)}))
    c = read_chart(d)
    (job,) = part_jobs(Basis(document=d, chart=c), tmp_path, SheetStyle(syllables=True))
    said = {note_id(n.address): "daht" for n in c.parts[0].notes if not n.is_rest}
    bare, full = laid_out(job), laid_out(replace(job, syllables=said))
    assert len(full.engraving.lines) > len(bare.engraving.lines)
    assert len(full.fit.pages.starts) == len(bare.fit.pages.starts)
    for line in full.extras:
        boxes = sorted(extra.box for extra in line if extra.kind == "syllable")
        assert boxes
        assert all(b[0] - a[2] >= 100 for a, b in pairwise(boxes))


@pytest.mark.parametrize(("step", "rows"), [(700.0, 1), (380.0, 2)])
def test_what_finds_no_room_in_one_row_stands_in_two(step: float, rows: int) -> None:
    """Found on quartets: sixteenths side by side, whose syllables were printed as one grey line."""
    fonts.register()
    heads = {f"n{n}": InkSpot(n * step, 1000.0, 120.0) for n in range(12)}
    system = System(ink=(), heads=heads, staff_top=1000.0, staff_bottom=1750.0, bottom=2000.0)
    said = line_extras(
        system,
        chords={},
        overlays={},
        number="",
        number_size=0.0,
        syllables=dict.fromkeys(heads, "doo"),
        syllable_size=265.0,
    )
    heights = sorted({extra.box[1] for extra in said})
    assert len(heights) == rows
    for height in heights:
        row = sorted(extra.box for extra in said if extra.box[1] == height)
        assert all(b[0] - a[2] >= 100 for a, b in pairwise(row))
    for upper, lower in pairwise(heights):
        assert lower - max(e.box[3] for e in said if e.box[1] == upper) >= 50
    assert system.bottom == max(extra.box[3] for extra in said)
