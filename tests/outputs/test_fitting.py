"""Pages that a part takes, and turns that the road map asks for.

Staff sizes: MOLA guidelines 2017 (7.5 mm best, 7.0 acceptable for winds). That a jump to a page
which does not lie open is a turn: common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from build import chart, part_xml, score_xml

from sectionprep.drawing.paging.counted_lines import letters_inside, steady_lines
from sectionprep.drawing.paging.lines_and_pages import (
    BarBox,
    LineBox,
    break_lines,
    break_pages,
)
from sectionprep.drawing.paging.turns import Jump, lie_open
from sectionprep.drawing.pdf.painter import MM
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts import laying_out
from sectionprep.outputs.parts.fitting import filled, fit
from sectionprep.outputs.parts.laying_out import laid_out
from sectionprep.outputs.parts.page_heads import frame_of
from sectionprep.outputs.parts.part_job import SheetReport, SheetStyle
from sectionprep.outputs.parts.sheet import draw_part
from sectionprep.outputs.parts.sheets import Basis, part_jobs
from sectionprep.outputs.parts.turning import RoadTurns

LETTER = frame_of("letter")


def _sign(content: str) -> str:
    return f'<direction placement="above"><direction-type>{content}</direction-type></direction>'


def _lines(count: int, millimetres: float) -> list[LineBox]:
    return [LineBox(height=millimetres * MM, rest_after=9.0) for _ in range(count)]


def test_a_part_gets_smaller_before_it_gets_longer() -> None:
    """Eighteen lines of 23.5 mm with their white are higher than two pages, by less than a level's
    gain."""
    loose = fit(_lines(17, 22.5), LETTER, (), 7.5, tight=False)
    firm = fit(_lines(18, 23.5), LETTER, (), 7.5, tight=False)
    assert (loose.share, len(loose.pages.starts)) == (1.0, 2)
    assert firm.share == pytest.approx(7.3 / 7.5)
    assert len(firm.pages.starts) == 2
    wide = break_pages(_lines(18, 23.5), LETTER.room(True), LETTER.room(False), loose.gap)
    assert len(wide.starts) == 3


def test_what_a_smaller_staff_does_not_spare_leaves_it_as_it_is() -> None:
    assert fit(_lines(24, 23.5), LETTER, (), 7.5, tight=False).share == 1.0


def test_a_staff_that_was_asked_for_does_not_give_way() -> None:
    large = fit(_lines(18, 23.5), LETTER, (), 8.5, tight=False)
    assert (large.share, len(large.pages.starts)) == (1.0, 3)


def _drawn(tmp_path: Path, bars: int, signs: dict[int, str] | None = None) -> SheetReport:
    text = part_xml("C5/8 D5/8 E5/8 F5/8 G5/4 E5/4 " * bars, signs=signs)
    document = parse_document(Path("x.musicxml"), score_xml({"Alto Sax 1": text}))
    (job,) = part_jobs(Basis(document=document, chart=read_chart(document)), tmp_path, SheetStyle())
    return draw_part(job)


def test_smaller_lines_fill_the_page(tmp_path: Path) -> None:
    text = part_xml("C5/8 D5/8 E5/8 F5/8 G5/4 E5/4 " * 20)
    document = parse_document(Path("x.musicxml"), score_xml({"Alto Sax 1": text}))
    (job,) = part_jobs(Basis(document=document, chart=read_chart(document)), tmp_path, SheetStyle())
    systems = laid_out(job).engraving.systems
    width = LETTER.inner_mm * 100
    for was, now in zip(systems[:-1], filled(systems, 0.96, width)[:-1], strict=True):
        right = max(x1 for *_, x1 in now.bar_edges)
        assert 0.96 * right == pytest.approx(max(x1 for *_, x1 in was.bar_edges), abs=30)
        assert {name: spot.width for name, spot in now.heads.items()} == {
            name: spot.width for name, spot in was.heads.items()
        }


def test_a_part_drawn_once_more_at_another_level_is_not_engraved_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And comes out as if it had been drawn at that level from the beginning."""
    text = part_xml("C5/8 D5/8 E5/8 F5/8 G5/4 E5/4 " * 40)
    document = parse_document(Path("x.musicxml"), score_xml({"Alto Sax 1": text}))
    (job,) = part_jobs(Basis(document=document, chart=read_chart(document)), tmp_path, SheetStyle())
    smallest = replace(job, level=2)
    monkeypatch.setattr(laying_out, "_at_hand", [])
    assert draw_part(smallest).staff == pytest.approx(7.0)
    fresh = job.out.read_bytes()
    monkeypatch.setattr(laying_out, "_at_hand", [])
    assert draw_part(job).staff == pytest.approx(7.5)
    assert job.out.read_bytes() != fresh
    monkeypatch.setattr(laying_out, "engrave", None)
    monkeypatch.setattr(laying_out, "measure", None)
    assert draw_part(smallest).staff == pytest.approx(7.0)
    assert job.out.read_bytes() == fresh


def test_what_is_at_hand_has_an_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(laying_out, "_at_hand", [])
    monkeypatch.setattr(laying_out, "_HEADS_AT_HAND", 300)
    for bars in (20, 21, 22):
        _drawn(tmp_path, bars)
    assert [len(desk.job.must.heads) for desk in laying_out._at_hand] == [6 * 21, 6 * 22]


def test_pages_that_lie_open() -> None:
    """Page 1 is a right-hand page, 2 and 3 lie open together; behind a cover 1 and 2 do."""
    assert lie_open(1, 2, 2)
    assert not lie_open(1, 2, 3)
    assert lie_open(2, 3, 3)
    assert lie_open(1, 2, 3, cover=True)
    assert not lie_open(2, 3, 3, cover=True)


def test_a_jump_to_a_page_that_does_not_lie_open_is_a_turn() -> None:
    lines = _lines(25, 23.5)
    back = Jump(leaves=24, to=0, seconds=1.0, name="D.S. al Coda")
    near = Jump(leaves=24, to=23, seconds=0.0, name="repeat")
    broken = break_pages(lines, LETTER.room(True), LETTER.room(False), 10.0, (back, near))
    jumped = [turn for turn in broken.turns if turn.to]
    assert [(t.name, t.to, t.seconds, t.possible) for t in jumped] == [
        ("D.S. al Coda", 1, 1.0, False)
    ]
    assert jumped[0].where == f"D.S. al Coda, from page {len(broken.starts)} to page 1"
    assert jumped[0].behind(1).where.endswith("to page 2")


def test_seconds_around_a_jump_are_by_the_clock() -> None:
    """Bar 4 ends with a half rest and leads to bar 2, which begins with a quarter rest: three beats
    at 60, and at 120 from the second bar on half as long."""
    tempo = "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>{}</metronome>"
    tempo += '</direction-type><sound tempo="{}"/></direction>'

    def at(rate: int) -> str:
        return tempo.format(f"<per-minute>{rate}</per-minute>", rate)

    text = "C5/1 r/4 D5/2. C5/1 D5/2 r/2 C5/1"
    for fast, seconds in ((60, 3.0), (120, 1.5)):
        signs = {
            0: at(60),
            1: at(fast) + _sign("<segno/>"),
            5: _sign("<words>D.S. al Fine</words>"),
            3: _sign("<words>Fine</words>"),
        }
        c = chart({"Alto Sax 1": text}, signs=signs)
        (jump,) = RoadTurns(c).of(c.parts[0])
        assert (jump.leaves, jump.to, jump.name) == (3, 1, "D.S. al Fine")
        assert jump.seconds == pytest.approx(seconds)


def test_a_jump_is_listed_with_the_turns(tmp_path: Path) -> None:
    signs = {6: _sign("<segno/>"), 6 * 299: _sign("<words>D.S.</words>")}
    report = _drawn(tmp_path, 300, signs)
    assert report.pages > 2
    assert [t.where for t in report.turns if t.to] == [
        f"D.S., from page {report.pages} to page {1 + report.cover}"
    ]


def test_lines_of_slashes_begin_with_letters_and_hold_fewer_bars_where_they_are_full() -> None:
    """Sections of eight bars, the second twice as full: two lines of four, and four of two."""
    bars = [BarBox(width=w, section=n == 0) for w in (4000.0, 8000.0) for n in range(8)]
    assert steady_lines(bars, 17_000.0, 4) == (0, 4, 8, 10, 12, 14)
    assert steady_lines(bars, 7_000.0, 4) is None  # one bar alone is too full


def test_a_last_bar_with_a_letter_of_its_own_stands_with_those_before() -> None:
    """Eight bars and a last one under a letter: no line for one bar, of slashes or of notes."""
    bars = [BarBox(width=3000.0, section=n in (0, 8)) for n in range(9)]
    assert steady_lines(bars, 17_000.0, 4) == (0, 4)
    assert break_lines(bars, 17_000.0) == (0, 4)


def test_a_pickup_is_not_counted_among_the_bars_of_a_line() -> None:
    """A pickup and eight bars: four to a line, as a drummer counts."""
    bars = [BarBox(width=1300.0), *(BarBox(width=3000.0, section=n == 0) for n in range(8))]
    assert steady_lines(bars, 17_000.0, 4) == (0, 5)


def test_lines_of_slashes_are_squeezed_as_far_as_any_line_before_they_become_more() -> None:
    """Twelve bars of which five fill a line: three lines, and squeezed two."""
    bars = [BarBox(width=3000.0, section=n == 0) for n in range(12)]
    assert steady_lines(bars, 16_000.0, 5) == (0, 4, 8)
    assert steady_lines(bars, 16_000.0, 5, squeezed=True) == (0, 6)
    assert steady_lines(bars, 15_000.0, 5, squeezed=True) == (0, 4, 8)  # under .88 of their width


def test_sections_that_are_closed_up_share_a_line() -> None:
    """Two of "play 8" twice, then one of eight bars, then three of a bar each."""
    closed = [BarBox(width=3000.0, bars=8, section=n % 2 == 0 and n > 0) for n in range(4)]
    bars = [BarBox(width=3000.0, section=n == 0) for n in range(8)]
    last = [BarBox(width=3000.0, bars=8, section=True) for _ in range(3)]
    assert steady_lines([*closed, *bars, *last], 17_000.0, 4) == (0, 4, 8, 12)


def test_letters_inside_lines_are_counted() -> None:
    bars = [BarBox(width=3000.0, section=n in (4, 8)) for n in range(12)]
    assert [letters_inside(bars, starts) for starts in ((0, 4, 8), (0, 4), (0, 6))] == [0, 1, 2]


def _bass(tmp_path: Path, name: str) -> tuple[list[int], int, int]:
    """A walking part of twelve sections of eight bars: the bars that begin a line, how many letters
    stand inside a line, and its pages."""
    signs = {32 * n: _sign(f"<rehearsal>{n + 1}</rehearsal>") for n in range(12)}
    text = "C3/4 E3/4 G3/4 A3/4 " * 96
    document = parse_document(Path("x.musicxml"), score_xml({name: part_xml(text, signs=signs)}))
    basis = Basis(document=document, chart=read_chart(document))
    (job,) = part_jobs(basis, tmp_path, SheetStyle())
    drawn = laid_out(job)
    starts = [drawn.engraving.bars[first].index for first, _ in drawn.engraving.lines]
    return starts, 11 - sum(start % 8 == 0 for start in starts[1:]), len(drawn.fit.pages.starts)


def test_a_walking_bass_counts_by_letters_as_far_as_two_pages_allow(tmp_path: Path) -> None:
    """A trombone with the same notes keeps its larger staff and has letters inside its lines."""
    starts, inside, pages = _bass(tmp_path, "Bass")
    others, more, as_many = _bass(tmp_path, "Trombone 1")
    assert pages == as_many == 2
    assert inside < more
    assert len(starts) > len(others)
