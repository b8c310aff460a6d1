"""Whole pages: compared with the kept ones as pictures, and free of signs that run into each
other."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest
from build import document
from measure_pages import collisions_in, line_collisions
from PIL import Image

from sectionprep.drawing.scene.line_extras import Extra
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.laying_out import extras_of, laid_out
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.sheets import Basis, draw_all, part_jobs

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "golden"))

from pages import FEW, HERE, differing_dots, draw_pages, pictures

TUNE = "r/8 D5/8 F5/8 A5/8 C6/4> A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8> E5/8 E5/4 D5/8 C5/8 B4/4 r/4 "


def test_every_page_of_the_demo_looks_as_kept(tmp_path: Path) -> None:
    """A page that looks different is right only if somebody has looked: `python
    tests/golden/pages.py` keeps it."""
    drawn = draw_pages(tmp_path)
    kept = {path.stem: path for path in HERE.glob("*.png")}
    assert set(drawn) == set(kept)
    different = {
        name: dots
        for name, page in drawn.items()
        if (dots := differing_dots(page, Image.open(kept[name]).convert("L"))) > FEW
    }
    assert not different


@pytest.mark.parametrize(
    "wrong",
    [
        TUNE.replace("C6/4>", "C6/4"),
        TUNE.replace("F5/8>", "F5/8^"),
        TUNE.replace("E5/4 r/8", "F5/4 r/8"),
    ],
)
def test_a_planted_wrong_page_is_seen(tmp_path: Path, wrong: str) -> None:
    """One accent less, one accent of another kind, one note a step higher: each must be more than
    the dots that may differ."""
    pages = []
    for line in (TUNE, wrong):
        d = document({"Alto": TUNE * 7 + line})
        (report,) = draw_all(
            part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle())
        )
        pages.append(pictures(report.path.read_bytes(), "page")["page-1"])
    assert differing_dots(*pages) > FEW
    assert differing_dots(pages[0], pages[0]) == 0


@pytest.mark.thorough
@pytest.mark.parametrize("syllables", [False, True])
def test_nothing_collides_on_the_demo_parts(demo_path: Path, syllables: bool) -> None:
    found, looked_at = collisions_in(demo_path, syllables=syllables)
    assert looked_at > 1500
    assert [(c.kinds, c.part, c.line) for c in found] == []


def test_planted_collisions_are_counted(tmp_path: Path) -> None:
    """A syllable moved up onto the notes, and an accent pushed into its note head."""
    d = document({"Alto": TUNE * 2})
    (job,) = part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle())
    drawn = laid_out(job).engraving
    system = drawn.systems[0]
    assert line_collisions("", 1, system, extras_of(drawn, job)[0]) == []
    x, y = next((head.x, head.y) for head in system.heads.values())
    wrong = Extra("syllable", (x - 50, y - 100, x + 300, y + 100), lambda painter: None)
    assert {c.kinds for c in line_collisions("", 1, system, [wrong])} >= {("head", "syllable")}
    accent = next(ink for ink in system.ink if "artic" in ink.classes)
    head = system.heads[accent.owner]
    moved = accent.moved(head.y - (accent.box[1] + accent.box[3]) / 2)
    wrong_line = replace(system, ink=(*system.ink, moved))
    assert ("articulation", "head") in {c.kinds for c in line_collisions("", 1, wrong_line, [])}


def test_syllables_stand_under_their_notes_and_follow_the_marks(tmp_path: Path) -> None:
    """C. Treinen, Being Articulate in Jazz: accent dah, rooftop accent daht, slower, and dot,
    faster."""
    from sectionprep.passages import find_passages
    from sectionprep.phrasing import plan_passages
    from sectionprep.phrasing.syllables import syllables

    line = "r/8 D5/8 F5/8> A5/8^ C6/4- A5/8 F5/8 " * 4
    for tempo, short in ((120.0, "daht"), (190.0, "dot")):
        chart = replace(
            read_chart(document({"Alto Sax 1": line, "Alto Sax 2": line, "Tenor Sax 1": line})),
            tempos=((0, tempo),),
        )
        together = find_passages(chart)
        said = syllables(chart, together, plan_passages(chart, together, style="medium-swing"), 0)
        words = [said[tone.head.address] for tone in chart.lines[0][:4]]
        assert words == ["doo", "dah", short, "doo"]
    d = document({"Alto Sax 1": line, "Alto Sax 2": line, "Tenor Sax 1": line})
    chart = read_chart(d)
    together = find_passages(chart)
    (job, *_) = part_jobs(
        Basis(document=d, chart=chart, together=together, plan=plan_passages(chart, together)),
        tmp_path,
        SheetStyle(syllables=True),
    )
    drawn = laid_out(job).engraving
    for system, extras in zip(drawn.systems, extras_of(drawn, job), strict=True):
        middles = sorted((e.box[0] + e.box[2]) / 2 for e in extras if e.kind == "syllable")
        heads = sorted(h.x + h.width / 2 for h in system.heads.values())
        assert middles == pytest.approx(heads, abs=1)
        assert all(e.box[1] > system.staff_bottom for e in extras if e.kind == "syllable")


def test_proof_lists_what_was_added_and_prints_it_lighter(
    tmp_path: Path, demo_marked: object
) -> None:
    from sectionprep.results import Marked

    assert isinstance(demo_marked, Marked)
    basis = Basis.of_marked(demo_marked)
    (report,) = draw_all(part_jobs(basis, tmp_path, SheetStyle(proof=True), parts=[1]))
    data = report.path.read_bytes()
    import pypdfium2

    pdf = pypdfium2.PdfDocument(data)
    words = pdf[len(pdf) - 1].get_textpage().get_text_range()
    added = {
        c.tick
        for c in demo_marked.marking.changes
        if c.part == 1 and c.applied and c.kind != "left"
    }
    assert "what was added" in words
    assert len(added) > 20
    assert report.pages == len(pdf)
    greys = pdf[0].render(scale=2).to_pil().convert("L").histogram()
    assert greys[130:150] != [0] * 20
