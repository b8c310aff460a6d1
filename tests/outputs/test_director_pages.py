"""The director's pages: whose study pages they are, what stands on them, and how many there are."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from build import document, part_xml, score_xml
from measure_pages import off_the_page, painted
from page_faults import overlap

from sectionprep import preparing
from sectionprep.drawing.engraver import excerpts
from sectionprep.drawing.engraver.excerpts import engrave_bars
from sectionprep.drawing.pdf.painter import MM, UNIT, new_canvas
from sectionprep.drawing.scene import jazz_marks
from sectionprep.drawing.scene.drawing import read_systems
from sectionprep.drawing.scene.ink import System, Text
from sectionprep.drawing.scene.jazz_marks import overlays_of
from sectionprep.errors import BadArgument
from sectionprep.music.naming import find_players
from sectionprep.musicxml.copies.excerpt import extract_excerpt
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.director import small_score
from sectionprep.outputs.director.lines import bar_numbers, music_lines
from sectionprep.outputs.director.pages import director_pdf, studies_of, study_pdf
from sectionprep.outputs.director.pen import MARGIN, Pen
from sectionprep.outputs.director.small_score import small_score_pdf
from sectionprep.outputs.director.staves import pick_staff
from sectionprep.outputs.director.study import Study, hit_studies, study_excerpt, study_of
from sectionprep.outputs.director.study_page import _listed
from sectionprep.results import Marked, Options


def _pages(pdf: bytes | Path) -> list[str]:
    return [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf)]


def _of(marked: Marked, name: str) -> str:
    who = find_players(marked.again.chart.parts, name)
    pages = _pages(
        study_pdf(
            marked, who, studies_of(marked, only=frozenset(who.parts)), paper="letter", footer=""
        ).pdf
    )
    return re.sub(r"[ \xa0]+", " ", "\n".join(pages))


# -- one section leader's pages --------------------------------------------------------------------


def test_a_section_or_a_part_is_found_by_what_people_call_it(demo_marked: Marked) -> None:
    parts = demo_marked.again.chart.parts
    saxes = find_players(parts, "saxes")
    assert saxes.name == "saxes"
    assert saxes.parts == (0, 1, 2, 3, 4)
    assert saxes == find_players(parts, "Sax section") == find_players(parts, " SAXES ")
    assert find_players(parts, "Alto Sax 2").parts == (1,)
    assert find_players(parts, "Trombone 1") != find_players(parts, "trombones")


@pytest.mark.parametrize(
    ("said", "meant"),
    [("trumpits", "trumpets"), ("Alto Sachs 2", "Alto Sax 2"), ("rythm", "rhythm")],
)
def test_a_near_miss_is_answered_with_what_was_meant(
    demo_marked: Marked, said: str, meant: str
) -> None:
    with pytest.raises(BadArgument) as failed:
        find_players(demo_marked.again.chart.parts, said)
    assert f"Did you mean {meant}?" in str(failed.value.remedy)
    assert "Sections: saxes, trumpets, trombones, rhythm." in str(failed.value.remedy)


def test_words_for_a_part_that_is_not_there_do_not_mean_its_section(demo_marked: Marked) -> None:
    """ "Alto Sax 9" names a saxophone, but nobody asked for five."""
    with pytest.raises(BadArgument):
        find_players(demo_marked.again.chart.parts, "Alto Sax 9")


def test_a_section_leader_gets_the_passages_of_the_section_alone(demo_marked: Marked) -> None:
    words = _of(demo_marked, "trombones")
    mine = set(find_players(demo_marked.again.chart.parts, "trombones").parts)
    passages = demo_marked.score.together.passages
    theirs = [p for p in passages if mine & {*p.parts, *(g.part for g in p.guests)}]
    assert 0 < len(theirs) < len(passages)
    for passage in passages:
        assert (f"{passage.id} {passage.scope}, {passage.texture}" in words) == (passage in theirs)


def test_the_lead_stands_above_the_section_that_follows_it(demo_marked: Marked) -> None:
    """A passage of the brass, on the trombones' pages: their staves and the lead trumpet's."""
    words = _of(demo_marked, "trombones")
    assert "Trumpet 1 (lead)" in words
    assert "Trumpet 2" not in [line.strip() for line in words.splitlines()]


def test_who_never_moves_with_others_is_told_so(demo_marked: Marked) -> None:
    assert "moves together with nobody" in _of(demo_marked, "Drums")


def test_prepare_writes_them_beside_the_directors_pages(saxes_path: Path, tmp_path: Path) -> None:
    wish = Options(study_for=("saxes", "Sax section", "Alto Sax 1"))
    done = preparing.prepare(saxes_path, tmp_path / "out", wish)
    names = sorted(path.name for path in done.files if "_study_" in path.name)
    assert names == [
        "late_tram_home_study_Alto_Sax_1.pdf",
        "late_tram_home_study_saxes.pdf",
    ]
    with pytest.raises(BadArgument):
        preparing.prepare(saxes_path, tmp_path / "none", replace(wish, study_for=("tubas",)))
    assert not (tmp_path / "none").exists()


# -- study pages -----------------------------------------------------------------------------------


def _studies(marked: Marked) -> list[Study]:
    passages = marked.score.together.passages
    shown = [
        study_of(marked, passage, planned, "sounding")
        for passage in passages
        if (planned := marked.plan.of(passage.id)) is not None
    ]
    return shown + hit_studies(marked, "sounding")[0]


def _drawn(marked: Marked, study: Study) -> list[System]:
    return read_systems(engrave_bars(*study_excerpt(study, 190)))[0]


def test_the_demo_takes_twelve_study_pages(demo_marked: Marked) -> None:
    """19 pages with the map before this was asked for; at most 12 and the map, hits and all."""
    pages = _pages(
        director_pdf(demo_marked, studies_of(demo_marked), paper="letter", footer="").pdf
    )
    assert len(pages) <= 13
    assert "Hits" in "".join(pages)


def test_silence_is_closed_up_and_every_bar_that_is_left_keeps_its_number(
    demo_marked: Marked,
) -> None:
    """The brass punch ten notes in bars 2 to 18: two lines, not three pages."""
    study = next(s for s in _studies(demo_marked) if s.first.id == "P2")
    assert study.bars == (2, 4, 5, 6, 8, 9, 10, 12, 13, 16, 18)
    systems = _drawn(demo_marked, study)
    assert len(systems) == 2
    chart = demo_marked.again.chart
    numbers = [number for line in bar_numbers(chart, study.bars, systems) for _, number in line]
    assert numbers == ["2", "// 4", "// 8", "9", "// 12", "// 16", "// 18"]


def test_no_line_of_a_study_page_holds_a_lone_bar_of_several(demo_marked: Marked) -> None:
    for study in _studies(demo_marked):
        systems = _drawn(demo_marked, study)
        if len(study.bars) > 1:
            assert min(len(system.measures) for system in systems) > 1, study.title


def test_syllables_are_at_least_six_points(demo_marked: Marked) -> None:
    """Also on the smallest staff, for thirteen parts."""
    for study in _studies(demo_marked):
        for system in _drawn(demo_marked, study):
            sizes = [
                run.size
                for ink in system.ink
                if "syl" in ink.classes and isinstance(ink.shape, Text)
                for run in ink.shape.runs
            ]
            assert min(sizes, default=1000.0) / (2540 / 72) >= 6.0


def test_syllables_stand_a_millimetre_apart(demo_marked: Marked) -> None:
    """The closest pair of the demo stood at .89 mm, and 23 at less than one."""
    seen = 0
    for study in _studies(demo_marked):
        for system, *_ in music_lines(
            demo_marked.again.chart,
            study.parts,
            study.bars,
            _drawn(demo_marked, study),
            study.staff,
        ):
            rows: dict[int, list[tuple[float, float]]] = {}
            for ink in system.ink:
                if "syl" in ink.classes:
                    rows.setdefault(round(ink.box[3]), []).append((ink.box[0], ink.box[2]))
            for row in rows.values():
                for (_, end), (begin, _) in pairwise(sorted(row)):
                    seen += 1
                    assert begin - end >= 100, study.title
    assert seen > 100


def test_letters_stand_above_the_bar_numbers(demo_marked: Marked) -> None:
    chart = demo_marked.again.chart
    seen = 0
    for study in _studies(demo_marked):
        for system, extras, _ in music_lines(
            chart, study.parts, study.bars, _drawn(demo_marked, study), study.staff
        ):
            letters = [ink.box for ink in system.ink if "reh" in ink.classes]
            for number in (extra.box for extra in extras if extra.kind == "number"):
                for letter in letters:
                    seen += letter[0] < number[2] and number[0] < letter[2]
                    assert not overlap(letter, number)
                    if letter[0] < number[2] and number[0] < letter[2]:
                        assert letter[3] < number[1]
    assert seen


def test_parts_that_are_written_alike_share_a_staff_and_no_others(demo_marked: Marked) -> None:
    """P4: the altos have the same notes and marks in sounding pitch, so have the tenors, and the
    baritone is an octave lower. P1: tenor 2 has a wrong note and stands by himself."""
    by_id = {s.first.id: s for s in _studies(demo_marked) if not s.hits}
    assert by_id["P4"].alike == ((0, 1), (2, 3))
    assert by_id["P4"].parts == (0, 2, 4)
    assert 3 in by_id["P1"].parts
    assert not any(3 in group for group in by_id["P1"].alike)


def test_hits_stand_together_and_nothing_is_tied_into_them_from_bars_that_are_left_out(
    demo_marked: Marked,
) -> None:
    hits = [s for s in _studies(demo_marked) if s.hits]
    shown = {hit.id for study in hits for hit in study.passages}
    marked = {plan.id for plan in demo_marked.plan.marked if plan.id.startswith("H")}
    assert {"H1", "H6", "H9"} <= shown <= marked
    for study in hits:
        score, *_ = study_excerpt(study, 190)
        for part in score.root.iterchildren("part"):
            open_ties = 0
            for n, measure in enumerate(part):
                gap = n and study.bars[n] != study.bars[n - 1] + 1
                assert not (gap and open_ties), study.title
                signs = [tie.get("type") for tie in measure.iter("tie")]
                open_ties += signs.count("start") - signs.count("stop")


def test_a_planted_tie_over_left_out_bars_is_cut() -> None:
    d = document({"Alto Sax 1": "C5/1~ C5/1~ C5/1 D5/1"})
    c = read_chart(d)
    pick = pick_staff(c, 0, "sounding", 0, c.bars[-1].end, label="Alto")
    whole = extract_excerpt(d, [pick], 0, 3)
    assert len(list(whole.root.iter("tie"))) == 4
    cut = extract_excerpt(d, [pick], 0, 3, closed=frozenset([1]))
    assert len(list(cut.root.iter("tie"))) == 0
    assert len(cut.measures) == 3


def test_a_reason_that_many_notes_share_names_some_and_counts_the_others() -> None:
    assert _listed(["1.1 C5 accent", "2.1 D5 accent"]) == "1.1 C5 accent, 2.1 D5 accent"
    many = _listed([f"{n}.1 C5 accent" for n in range(1, 71)])
    assert many.startswith("1.1 C5 accent, ")
    assert many.endswith("8.1 C5 accent, and 62 more to 70.1 C5 accent")


def test_an_entry_longer_than_a_page_goes_on_on_the_next_one() -> None:
    """A quartet movement's list of staccatos ran off the foot of its page."""
    out = io.BytesIO()
    canvas = new_canvas(out, 612, 792, title="x")
    pen = Pen(canvas, 612, 792, "")
    pen.space(400)
    pen.columns(["short", " ".join(f"{n}.1" for n in range(5000)), "short"])
    pen.end()
    canvas.save()
    words = " ".join(_pages(out.getvalue())).split()
    assert [word for word in words if word.endswith(".1")] == [f"{n}.1" for n in range(5000)]
    assert words.count("short") == 2
    assert not off_the_page("", out.getvalue())


def test_a_heading_never_stands_alone_at_the_foot_of_a_page() -> None:
    """Its first entry takes four lines, and there is room for two."""
    out = io.BytesIO()
    canvas = new_canvas(out, 612, 792, title="x")
    pen = Pen(canvas, 612, 792, "")
    pen.space(pen.room - 35)
    pen.headed("Heading", ["word " * 60])
    pen.end()
    canvas.save()
    first, second = _pages(out.getvalue())
    assert "Heading" not in first
    assert "Heading" in second


# -- the small score -------------------------------------------------------------------------------


def test_the_small_score_puts_two_lines_on_a_page_and_no_bar_alone(demo_marked: Marked) -> None:
    """17 staves of 3 mm and more leave room for two lines: 10 pages, 29 before."""
    with painted() as lines:
        made = small_score_pdf(demo_marked.again, paper="letter", footer="", pitch="written")
    systems = [line.system for line in lines]
    assert min(len(system.measures) for system in systems) > 1
    assert sum(len(system.measures) for system in systems) == len(demo_marked.again.chart.bars)
    assert len(_pages(made.pdf)) <= 11
    assert len(systems) / len(_pages(made.pdf)) > 1.5


def test_the_small_score_shows_falls_as_the_parts_do(demo_marked: Marked) -> None:
    drawn: list[str] = []
    draw = jazz_marks.draw

    def watch(*given: Any, **how: Any) -> None:
        drawn.append(how["mark"])
        draw(*given, **how)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(jazz_marks, "draw", watch)
        small_score_pdf(demo_marked.again, paper="letter", footer="", pitch="written")
    assert drawn
    assert len(drawn) == sum(
        len(marks) for part in demo_marked.again.chart.parts for marks in overlays_of(part).values()
    )


@pytest.mark.parametrize(("staves", "lines"), [(1, 2), (4, 2), (17, 2), (20, 2), (24, 1), (90, 1)])
def test_two_lines_stand_on_a_page_where_staves_stay_readable(staves: int, lines: int) -> None:
    """Letter: staves of 3 mm with two lines, of 4 mm at the most; else one line as it fits. A dense
    chart of 19 staves took 26 pages of three or four bars each, now ten."""
    room = 740.0
    share = small_score._scale(staves, room)
    assert share <= 1.0
    tall = share * staves * small_score._BAND_MM * MM
    assert lines * tall + (lines - 1) * small_score._GAP <= room + 1e-6
    assert lines == 1 or share * 4.0 >= 3.0


@pytest.mark.parametrize("bars", [1, 2, 24, 25, 49, 145])
def test_no_piece_of_the_small_score_is_one_bar_of_many(bars: int) -> None:
    """Found on a string quartet of 145 bars, six pieces of 24 and the last bar alone."""
    c = read_chart(document({"Alto Sax 1": "C5/1 " * bars}))
    pieces = small_score._chunks(c)
    assert [n for first, last in pieces for n in range(first, last + 1)] == list(range(bars))
    assert min(last - first + 1 for first, last in pieces) >= min(bars, 2)


@pytest.mark.parametrize("bars", [1, 2, 4, 9])
def test_no_line_goes_beyond_the_margin_where_another_part_is_fuller_than_the_lead(
    bars: int,
) -> None:
    """Found on a string quartet: a lead in whole notes, sixteenths under it, and a line that ran
    off the page. One bar that is too full by itself is drawn smaller."""
    d = document({"Trumpet 1": "C5/1 " * bars, "Trumpet 2": "C5/16 D5/16 E5/16 F5/16 " * 4 * bars})
    c = read_chart(d)
    picks = [pick_staff(c, n, "sounding", 0, c.bars[-1].end, label="T") for n in (0, 1)]
    excerpt = extract_excerpt(d, picks, 0, bars - 1)
    systems, _ = read_systems(engrave_bars(excerpt, 120, 5.0, "x"))
    assert max(edge for s in systems for _, _, edge in s.bar_edges) <= 12000 + 100
    assert sum(len(s.measures) for s in systems) == bars


@pytest.mark.parametrize(("least", "lines"), [(None, [2, 1, 2]), (3.6, [3, 2])])
def test_staves_are_a_little_smaller_where_a_bar_would_stand_alone(
    least: float | None, lines: list[int]
) -> None:
    """Found on a motet with long bars, two of which filled a line of a study page. All lines of the
    passage get the same size, and what is said under them stays as large as it was."""
    d = document(dict.fromkeys(("Trumpet 1", "Trumpet 2"), "C5/16 D5/16 E5/16 F5/16 " * 20))
    c = read_chart(d)
    picks = [pick_staff(c, n, "sounding", 0, c.bars[-1].end, label="T") for n in (0, 1)]
    heads = (note.address for note in c.parts[0].notes)
    excerpt = extract_excerpt(d, picks, 0, 4, said=dict.fromkeys(heads, "d"))
    drawn, _ = read_systems(engrave_bars(excerpt, 130, 4.5, "x", least))
    assert [len(system.measures) for system in drawn] == lines
    pen = Pen(None, 130 * MM + 2 * MARGIN, 800.0, "")
    shares = {line.share(pen) for line in music_lines(c, (0, 1), range(5), drawn, 4.5)}
    (share,) = shares
    assert 3.6 / 4.5 <= share <= 1
    letters = {
        run.size for i in drawn[0].ink if isinstance(i.shape, Text) and "syl" in i.classes
        for run in i.shape.runs
    }  # fmt: skip
    assert min(letters) * share * UNIT >= 6.0


def test_a_slur_from_before_an_excerpt_does_not_go_to_the_next_staff() -> None:
    """Found on a song for two voices: an end without a beginning at the head of both staves, and
    the engraver drew the upper one's last slur down to the lower one."""
    around = '<notations><slur type="{}" number="1"/></notations></note>'
    bar = "C5/4 D5/4 E5/4 F5/4 "
    score = part_xml(bar * 2)
    for n, kind in ((2, "start"), (4, "stop"), (5, "start"), (6, "stop")):
        notes = score.split("</note>")
        notes[n] += around.format(kind).removesuffix("</note>")
        score = "</note>".join(notes)
    d = parse_document(Path("x.musicxml"), score_xml({"Trumpet 1": score, "Trumpet 2": score}))
    c = read_chart(d)
    picks = [pick_staff(c, n, "sounding", 0, c.bars[-1].end, label="T") for n in (0, 1)]
    (line,), _ = read_systems(engrave_bars(extract_excerpt(d, picks, 1, 1), 120, 5.0, "x"))
    slurs = [ink.box for ink in line.ink if "slur" in ink.classes]
    assert len(slurs) == 2
    assert max(bottom - top for _, top, _, bottom in slurs) < 500


def test_words_fill_the_page_on_which_no_second_line_of_many_staves_stands(
    demo_marked: Marked,
) -> None:
    """A line of thirteen staves left a third of its page white, twice in the demo; what is said of
    the passage stood behind its last line."""
    shown = studies_of(demo_marked)
    pages = _pages(director_pdf(demo_marked, shown, paper="letter", footer="").pdf)
    for title in ("P8 ensemble", "Hits H1"):
        begins = next(n for n, page in enumerate(pages) if title in page)
        assert title.split()[0] in pages[begins + 1].split("continued")[0]
        assert "What disagreed before" in pages[begins].split(title)[1]
        assert "What disagreed before" not in pages[begins + 1].split("P9")[0]


def test_whether_words_fit_is_tried_without_ink() -> None:
    pen = Pen(None, 600.0, 800.0, "")
    pen.y = MARGIN + 40
    assert pen.holds(lambda trial: trial.text("one line", 10))
    assert not pen.holds(lambda trial: trial.text("many words " * 100, 10))
    assert pen.y == MARGIN + 40


def test_of_all_sizes_the_largest_with_the_fewest_lone_bars_is_taken(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Where a bar is too full to have a neighbour at any size, the others need not be alone."""
    ways = {1.0: (0, 1, 2, 3), 0.95: (0, 1, 2), 0.9: (0, 1), 0.85: (0, 1), 0.8: (0, 3)}
    monkeypatch.setattr(excerpts, "_starts", lambda _e, _w, _mm, size, *_more: ways[size])
    d = document({"Trumpet 1": "C5/1 " * 4})
    picks = [pick_staff(read_chart(d), 0, "sounding", 0, 1, label="T")]
    drawn, _ = read_systems(engrave_bars(extract_excerpt(d, picks, 0, 3), 120, 4.5, "x", 3.6))
    assert [len(system.measures) for system in drawn] == [1, 3]
    right = max(x for system in drawn for *_, x in system.bar_edges)
    assert right == pytest.approx(12000 / 0.9, abs=100)
