"""The director's map: the road map, solos, loudness and lips, at any size."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pypdfium2
import pytest
from build import document

from sectionprep.drawing.pdf.painter import new_canvas
from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.director.map_facts import (
    SCALE,
    loudness,
    road_map,
    sections,
    solos,
    tired_lips,
)
from sectionprep.outputs.director.pages import director_pdf, studies_of
from sectionprep.outputs.director.summary import write_summary
from sectionprep.passages import Together
from sectionprep.phrasing import Plan
from sectionprep.results import Marked


def _with(music: dict[str, str], signs: dict[tuple[int, int], str]) -> Chart:
    """A chart with directions or bar lines put at the head of bars, by part and bar from 0."""
    d = document(music)
    parts = d.data.split(b"<part id=")
    for (part, bar), sign in signs.items():
        bars = parts[part + 1].split(b"<measure ")
        first, tag, rest = bars[bar + 1].partition(b">")
        bars[bar + 1] = first + tag + sign.encode() + rest
        parts[part + 1] = b"<measure ".join(bars)
    return read_chart(parse_document(Path("x.musicxml"), b"<part id=".join(parts)))


def _words(text: str) -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type></direction>"


def _dynamic(name: str) -> str:
    return f"<direction><direction-type><dynamics><{name}/></dynamics></direction-type></direction>"


def _alone(c: Chart) -> Together:
    return Together(passages=(), bars=((),) * len(c.bars))


def test_the_road_map_is_told_bar_by_bar(demo_marked: Marked) -> None:
    """The demo: repeat of 9-16 with two endings, segno at 19, To Coda, a second repeat, D.S.,
    coda at 83 (printed numbers; there is a pick-up bar 0)."""
    chart = demo_marked.again.chart
    told = [(sign.kind, chart.bars[sign.bar].number, sign.text) for sign in road_map(chart)]
    assert ("repeat-start", "9", "") in told
    assert ("ending", "15", "1.") in told
    assert ("ending", "17", "2.") in told
    assert ("repeat-end", "16", "") in told
    assert ("segno", "19", "") in told
    assert ("words", "32", "To Coda") in told
    assert ("words", "82", "D.S.") in told
    assert ("coda", "83", "") in told
    assert [bar for _, bar, _ in told] == sorted((bar for _, bar, _ in told), key=int)


def test_a_solo_lasts_till_the_player_joins_others_or_is_told_or_rests(
    demo_marked: Marked,
) -> None:
    chart = demo_marked.again.chart
    (solo,) = solos(chart, demo_marked.score.together)
    assert chart.parts[solo.part].label == "Tenor Sax 1"
    assert (chart.bars[solo.first].number, chart.bars[solo.last].number) == ("35", "50")
    music = {"Alto Sax 1": "C5/1 C5/1 C5/1 C5/1 r/1 C5/1"}
    c = _with(music, {(0, 1): _words("Solo"), (0, 3): _words("end solo")})
    assert [(s.first, s.last) for s in solos(c, _alone(c))] == [(1, 2)]
    assert solos(_with(music, {(0, 1): _words("soli")}), _alone(c)) == []


def test_loudness_is_the_loudest_of_those_who_play() -> None:
    """The first player is p, then f from bar 3 on; the second, mf, rests in bar 2."""
    c = _with(
        {"Trumpet 1": "C5/1 C5/1 C5/1 r/1", "Trumpet 2": "C5/1 r/1 C5/1 r/1"},
        {(0, 0): _dynamic("p"), (0, 2): _dynamic("f"), (1, 0): _dynamic("mf")},
    )
    ((name, members),) = sections(c)
    assert name == "trumpets"
    said = [None if n is None else SCALE[n] for n in loudness(c, members)]
    assert said == ["mf", "p", "f", None]


def test_a_section_without_a_printed_dynamic_has_no_loudness() -> None:
    c = _with({"Trumpet 1": "C5/1 C5/1"}, {})
    assert loudness(c, list(c.parts)) == [None, None]


@pytest.mark.parametrize(("bars", "found"), [(15, 0), (16, 1)])
def test_a_lip_that_never_rests_is_shown(bars: int, found: int) -> None:
    c = _with({"Trumpet 1": "C5/1 " * bars + "r/1 C5/1", "Alto Sax 1": "C5/1 " * 40}, {})
    assert [(s.part, s.first, s.last) for s in tired_lips(c)] == [(0, 0, bars - 1)][:found]


def test_one_page_is_enough_for_the_demo(demo_marked: Marked) -> None:
    pdf = pypdfium2.PdfDocument(
        director_pdf(demo_marked, studies_of(demo_marked), paper="letter", footer="foot").pdf
    )
    wide = [page for page in pdf if page.get_width() > page.get_height()]
    assert len(wide) == 1
    text = re.sub(r"\s+", " ", wide[0].get_textpage().get_text_range())
    for words in (
        "To Coda",
        "D.S.",
        "Left for you",
        "Solo of Tenor Sax 1: bars 35 to 50",
        "without a bar of rest",
        "a caution",
        "trombones, loudness",
        "P14",
    ):
        assert words in text


@pytest.mark.parametrize(
    ("parts", "bars", "pages"), [(1, 1, 1), (4, 1114, 2), (30, 600, 4), (120, 160, 3)]
)
def test_a_large_map_goes_to_more_pages_and_stays_readable(
    parts: int, bars: int, pages: int
) -> None:
    """No bar is narrower than 4 points, no name smaller than 6, and every part is named. Windows
    of few rows stand under each other: a quartet of 1,114 bars took seven pages, nearly empty."""
    names = ("Trumpet", "Trombone", "Alto Sax", "Piano")
    c = _with({f"{names[n % 4]} {n // 4 + 1}": "C5/1 " * bars for n in range(parts)}, {})
    out = io.BytesIO()
    canvas = new_canvas(out, 792, 612, title="x")
    plan = Plan(style="rock", style_why="", passages=())
    write_summary(canvas, 792, 612, c, _alone(c), plan, [], "foot")
    canvas.save()
    pdf = pypdfium2.PdfDocument(out.getvalue())
    assert len(pdf) == pages
    text = " ".join(page.get_textpage().get_text_range() for page in pdf)
    assert all(part.label in text for part in c.parts)
    for page in pdf:
        for thing in page.get_objects():
            left, bottom, right, top = thing.get_bounds()
            assert left > 20
            assert right < 792 - 20
            assert bottom > 10
            assert top < 612 - 10
