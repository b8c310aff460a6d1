"""The road map on a player's sheet: jumps at the end of their bar, the coda on an indented line of
its own, signs beside letters (common practice, no source; E. Gould, Behind Bars, from memory)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from build import part_xml, score_xml
from lxml import etree
from measure_pages import painted

from sectionprep import stages
from sectionprep.drawing.engraver.excerpts import engrave_bars
from sectionprep.drawing.engraver.part import Engraving
from sectionprep.drawing.paging.lines_and_pages import INDENT, BarBox, break_for_pages
from sectionprep.drawing.scene.drawing import read_systems
from sectionprep.drawing.scene.ink import Glyph, Ink, Line, System, Text, box_of
from sectionprep.drawing.scene.spacing import narrowed
from sectionprep.music.chart import Chart
from sectionprep.music.roadmap import coda_bar
from sectionprep.musicxml.copies.excerpt import extract_excerpt
from sectionprep.musicxml.copies.jumps import jumps_at_the_end
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.director.lines import music_lines
from sectionprep.outputs.director.small_score import small_score_pdf
from sectionprep.outputs.director.staves import pick_staff
from sectionprep.outputs.parts.laying_out import laid_out
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.sheets import Basis, part_jobs
from sectionprep.results import Options

_CODA = "\ue048"


def _sign(content: str) -> str:
    return f'<direction placement="above"><direction-type>{content}</direction-type></direction>'


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Engraving:
    """Twelve bars of quarters: segno and letter at bar 3, To Coda in bar 6, D.S. typed at the head
    of bar 8, coda and letter at bar 9."""
    bar = "E5/4 C6/4 D5/4 G5/4 "
    signs = {
        8: _sign("<rehearsal>B</rehearsal>") + _sign("<segno/>"),
        23: _sign("<words>To Coda</words>"),
        28: _sign("<words>D.S. al Coda</words>"),
        32: _sign("<rehearsal>J</rehearsal>") + _sign("<coda/>"),
    }
    document = parse_document(
        Path("x.musicxml"), score_xml({"Alto Sax 1": part_xml(bar * 12, signs=signs)})
    )
    folder = tmp_path_factory.mktemp("road")
    (job,) = part_jobs(Basis(document=document, chart=read_chart(document)), folder, SheetStyle())
    return laid_out(job).engraving


def _with_words(drawn: Engraving, words: str) -> tuple[System, Ink]:
    return next(
        (system, ink)
        for system in drawn.systems
        for ink in system.ink
        if isinstance(ink.shape, Text) and words in ink.shape.words
    )


def _right_of_bar(system: System, x: float) -> float:
    return min(right for _, _, right in system.bar_edges if right > x - 50)


@pytest.mark.parametrize("words", ["To Coda", "D.S. al Coda"])
def test_a_jump_ends_where_its_bar_ends(drawn: Engraving, words: str) -> None:
    system, ink = _with_words(drawn, words)
    assert _right_of_bar(system, ink.box[2]) - ink.box[2] < 200


def test_a_jump_typed_at_the_head_of_its_bar_stays_in_it(drawn: Engraving) -> None:
    system, ink = _with_words(drawn, "D.S.")
    bars = [b for b, left, right in system.bar_edges if left < ink.box[2] - 50 < right]
    assert bars == [drawn.bars[7].id]


def test_to_coda_carries_the_sign_it_sends_to(drawn: Engraving) -> None:
    _, ink = _with_words(drawn, "To Coda")
    assert isinstance(ink.shape, Text)
    assert ink.shape.words.count(_CODA) == 1


def test_the_coda_begins_an_indented_line(drawn: Engraving) -> None:
    starts = [drawn.bars[first].index for first, _ in drawn.lines]
    assert 8 in starts
    indents = [system.indent for system in drawn.systems]
    assert [n for n, indent in enumerate(indents) if indent] == [starts.index(8)]
    ends = {
        round(max(right for _, _, right in system.bar_edges) + system.indent, -2)
        for system in drawn.systems[:-1]
    }
    assert len(ends) == 1  # all lines end at the margin


def test_signs_stand_beside_letters_and_on_no_note(drawn: Engraving) -> None:
    for code in ("E047", "E048"):
        system, sign = next(
            (s, i)
            for s in drawn.systems
            for i in s.ink
            if isinstance(i.shape, Glyph) and i.shape.code == code
        )
        letter = box_of(i for i in system.ink if "reh" in i.classes)
        assert letter[2] < sign.box[0] < letter[2] + 300
        assert letter[1] - 100 < (sign.box[1] + sign.box[3]) / 2 < letter[3] + 100
        heads = [i.box for i in system.ink if "notehead" in i.classes]
        under = [b[1] for b in heads if b[0] < sign.box[2] and sign.box[0] < b[2]]
        assert all(top - sign.box[3] >= 60 for top in under)  # white, hundredths of a millimetre


def test_a_coda_breaks_the_line_whatever_it_costs() -> None:
    bars = [BarBox(width=4500, coda=n == 5) for n in range(8)]
    assert 5 in break_for_pages(bars, 18000)


def test_a_narrower_line_keeps_its_stems_on_its_heads(drawn: Engraving) -> None:
    """Every head stands as far from its stem as before; what leaves too little white is refused."""
    line = replace(drawn.systems[0], indent=0.0)
    narrow = narrowed(line, INDENT)
    assert narrow is not None

    def apart(system: System) -> list[float]:
        stems = [
            i.shape.x0 for i in system.ink if "stem" in i.classes and isinstance(i.shape, Line)
        ]
        return [round(min(abs(x - spot.x) for x in stems)) for spot in system.heads.values()]

    assert apart(line) == apart(narrow)
    width = [max(right for *_, right in s.bar_edges) for s in (line, narrow)]
    assert width[0] - width[1] == pytest.approx(INDENT, abs=1)
    assert narrowed(line, 12000) is None


def test_to_coda_before_all_notes_may_belong_to_the_bar_line_and_stays() -> None:
    measure = etree.fromstring(
        f"<measure>{_sign('<words>To Coda</words>')}{_sign('<words>D.C. al Fine</words>')}"
        '<note/><barline location="right"/></measure>'
    )
    jumps_at_the_end(measure)
    assert [e.tag for e in measure] == ["direction", "note", "direction", "barline"]
    assert measure[2].findtext("direction-type/words") == "D.C. al Fine"


@pytest.fixture(scope="module")
def study_lines() -> list[System]:
    """The same bars in two parts, as the director's pages show them."""
    bar = "E5/4 C6/4 D5/4 G5/4 "
    signs = {
        8: _sign("<rehearsal>B</rehearsal>") + _sign("<segno/>"),
        23: _sign("<words>To Coda</words>"),
        28: _sign("<words>D.S. al Coda</words>"),
    }
    score = {
        "Alto Sax 1": part_xml(bar * 8, signs=signs),
        "Alto Sax 2": part_xml(bar * 8, signs=signs),
    }
    d = parse_document(Path("x.musicxml"), score_xml(score))
    c = read_chart(d)
    picks = [pick_staff(c, n, "sounding", 0, c.bars[-1].end, label="A") for n in (0, 1)]
    systems, _ = read_systems(engrave_bars(extract_excerpt(d, picks, 0, 7), 190, 4.5, "x"))
    return [line.system for line in music_lines(c, (0, 1), range(8), systems, 4.5)]


def test_on_the_directors_pages_signs_stand_beside_letters(study_lines: list[System]) -> None:
    """They stood on the first note of the bar."""
    (system,) = [s for s in study_lines if any("repeatMark" in i.classes for i in s.ink)]
    sign = box_of(i for i in system.ink if "repeatMark" in i.classes)
    letter = box_of(i for i in system.ink if "reh" in i.classes)
    assert letter[2] < sign[0] < letter[2] + 300
    assert letter[1] - 100 < (sign[1] + sign[3]) / 2 < letter[3] + 100


@pytest.mark.parametrize(("words", "signs"), [("To Coda", 1), ("D.S. al Coda", 0)])
def test_on_the_directors_pages_jumps_end_their_bar(
    study_lines: list[System], words: str, signs: int
) -> None:
    """Once, over the top staff; "To Coda" carries the sign that it sends to."""
    ((system, ink),) = [
        (system, ink)
        for system in study_lines
        for ink in system.ink
        if isinstance(ink.shape, Text) and words in ink.shape.words
    ]
    assert isinstance(ink.shape, Text)
    assert ink.shape.words.count(_CODA) == signs
    assert _right_of_bar(system, ink.box[2]) - ink.box[2] < 200


@pytest.fixture(scope="module")
def with_coda() -> tuple[Document, Chart]:
    """Twelve bars in two parts, of which the coda, with a letter, takes the last five."""
    bar = "E5/4 C6/4 D5/4 G5/4 "
    signs = {
        20: _sign("<coda/>") + _sign("<words>To Coda</words>"),
        24: _sign("<words>D.C. al Coda</words>"),
        28: _sign("<rehearsal>J</rehearsal>") + _sign("<coda/>"),
    }
    names = ("Alto Sax 1", "Alto Sax 2")
    score = dict.fromkeys(names, part_xml(bar * 12, signs=signs))
    d = parse_document(Path("x.musicxml"), score_xml(score))
    return d, read_chart(d)


def test_the_bar_with_which_the_coda_begins(with_coda: tuple[Document, Chart]) -> None:
    """Not the one whose sign sends there."""
    assert coda_bar(with_coda[1]) == 7


def _reach(system: System) -> float:
    return system.indent + max(right for *_, right in system.bar_edges)


def test_on_study_pages_the_coda_begins_an_indented_line(
    with_coda: tuple[Document, Chart],
) -> None:
    """It begins one where lines would otherwise be even, ends where the others end, and its names
    stay as far from the staves as they were."""
    d, c = with_coda
    picks = [pick_staff(c, n, "sounding", 0, c.bars[-1].end, label="Alto Sax") for n in (0, 1)]
    systems, _ = read_systems(engrave_bars(extract_excerpt(d, picks, 0, 11), 120, 4.5, "x"))
    lines = [line.system for line in music_lines(c, (0, 1), range(12), systems, 4.5)]
    firsts = [sum(len(line.measures) for line in lines[:n]) for n in range(len(lines))]
    assert [line.indent for line in lines] == [INDENT * (first == 7) for first in firsts]
    assert 7 in firsts
    ends = [_reach(line) for line in lines]
    assert max(ends) - min(ends) < 100
    for line, as_drawn in zip(lines, systems, strict=True):
        name, staff = (min(i.box[0] for i in line.ink), line.bar_edges[0][1])
        assert staff - name == pytest.approx(
            as_drawn.bar_edges[0][1] - min(i.box[0] for i in as_drawn.ink), abs=1
        )


def test_in_the_small_score_the_coda_begins_an_indented_line(
    with_coda: tuple[Document, Chart], tmp_path: Path
) -> None:
    path = tmp_path / "x.musicxml"
    path.write_bytes(with_coda[0].data)
    with painted() as lines:
        small_score_pdf(stages.read_score(path, Options()), paper="letter", footer="")
    starts = [sum(len(line.system.measures) for line in lines[:n]) for n in range(len(lines))]
    assert [line.system.indent for line in lines] == [INDENT * (start == 7) for start in starts]
    assert 7 in starts
