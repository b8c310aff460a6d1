"""Every fault that the measure of pages looks for is planted once and found; the page as it is
printed has none of them."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import pytest
from build import chart, part_xml, score_xml
from measure_pages import (
    Painted,
    director_count,
    line_collisions,
    lonely_bars,
    off_the_page,
    painted,
    part_count,
    seconds_to_turn,
    uneven,
)
from page_faults import economy, line_faults

from sectionprep.drawing.engraver.part import Engraving
from sectionprep.drawing.pdf.painter import new_canvas
from sectionprep.drawing.scene.ink import Curve, Ink, InkSpot, System, Text
from sectionprep.drawing.scene.line_extras import words_at
from sectionprep.drawing.text import fonts
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.director.numbers import numbered
from sectionprep.outputs.parts.laying_out import extras_of, laid_out
from sectionprep.outputs.parts.part_job import PartJob, SheetStyle
from sectionprep.outputs.parts.sheet import draw_part
from sectionprep.outputs.parts.sheets import Basis, part_jobs
from sectionprep.results import Marked


def _sign(content: str, placement: str) -> str:
    kind = f"<direction-type>{content}</direction-type>"
    return f'<direction placement="{placement}">{kind}</direction>'


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> PartJob:
    """Sixteen bars: eighths, a hairpin, dynamics, words, a letter, and eight bars of rest."""
    text = "C5/8 D5/8 E5/8 F5/8 G5/4 E5/4 " * 8 + "r/1 " * 8
    signs = {
        0: _sign("<dynamics><mf/></dynamics>", "below"),
        6: _sign("<rehearsal>A</rehearsal>", "above") + _sign("<words>sweetly</words>", "above"),
        12: _sign('<wedge type="crescendo"/>', "below"),
        17: _sign('<wedge type="stop"/>', "below"),
        18: _sign("<dynamics><f/></dynamics>", "below"),
        48: _sign("<words>cup mute</words>", "above"),
    }
    score = score_xml({"Trumpet 1": part_xml(text, signs=signs)})
    document = parse_document(Path("x.musicxml"), score)
    folder = tmp_path_factory.mktemp("faults")
    (made,) = part_jobs(Basis(document=document, chart=read_chart(document)), folder, SheetStyle())
    return made


@pytest.fixture(scope="module")
def drawn(job: PartJob) -> Engraving:
    return laid_out(job).engraving


def _with(system: System, *more: Ink, without: tuple[Ink, ...] = ()) -> System:
    return replace(system, ink=(*(i for i in system.ink if i not in without), *more))


def _faults(drawn: Engraving, n: int, system: System) -> set[str]:
    return {fault.kind for fault in line_faults("", n + 1, system, [], drawn)}


def _line_with(drawn: Engraving, kind: str) -> tuple[int, System, Ink]:
    return next(
        (n, system, ink)
        for n, system in enumerate(drawn.systems)
        for ink in system.ink
        if kind in ink.classes
    )


def test_the_page_as_it_is_has_none(job: PartJob, drawn: Engraving) -> None:
    found = [
        fault
        for n, (system, extras) in enumerate(zip(drawn.systems, extras_of(drawn, job), strict=True))
        for fault in line_faults(job.name, n + 1, system, extras, drawn)
    ]
    assert found == []


def test_two_signs_of_one_kind_that_overlap_are_seen(drawn: Engraving) -> None:
    n, system, dynamic = _line_with(drawn, "dynam")
    twin = dynamic.moved(30.0, 120.0)._replace(owner="another")
    assert "collision" in _faults(drawn, n, _with(system, twin))
    found = line_collisions("", 1, _with(system, twin), [])
    assert [fault.kinds for fault in found] == [("dynamic", "dynamic")]


def test_a_near_miss_is_seen(drawn: Engraving) -> None:
    """Words moved to a third of a millimetre from the letter they stand beside."""
    n, system, _ = _line_with(drawn, "reh")
    box = next(i.box for i in system.ink if "reh" in i.classes)
    words = next(i for i in system.ink if "dir" in i.classes)
    edge = max(i.box[2] for i in system.ink if "reh" in i.classes)
    near = words.moved((box[1] + box[3]) / 2 - words.box[3], edge + 33 - words.box[0])
    assert _faults(drawn, n, _with(system, near, without=(words,))) == {"near miss"}


def test_words_over_the_wrong_bar_are_seen(drawn: Engraving) -> None:
    n, system, words = _line_with(drawn, "dir")
    moved = words.moved(-400.0, 9000.0)
    faults = _faults(drawn, n, _with(system, moved, without=(words,)))
    assert "over the wrong bar" in faults


def test_syllables_that_run_together_are_seen(tmp_path: Path) -> None:
    """The same line as it is printed, and with one syllable moved to a tenth of a millimetre from
    the one before."""
    sung = "C5/4 D5/4 E5/4 F5/4 " * 4
    lyric = "<lyric><syllabic>single</syllabic><text>tram</text></lyric></note>"
    xml = part_xml(sung).replace("</note>", lyric)
    document = parse_document(Path("x.musicxml"), score_xml({"Voice": xml}))
    (made,) = part_jobs(
        Basis(document=document, chart=read_chart(document)), tmp_path, SheetStyle()
    )
    drawn = laid_out(made).engraving
    system = drawn.systems[0]
    assert _faults(drawn, 0, system) == set()
    first, second = sorted(
        (i for i in system.ink if "syl" in i.classes and isinstance(i.shape, Text)),
        key=lambda ink: ink.box[0],
    )[:2]
    near = second.moved(0.0, first.box[2] + 10 - second.box[0])
    assert _faults(drawn, 0, _with(system, near, without=(second,))) == {"run together"}


def test_what_we_say_under_notes_stands_a_millimetre_apart(job: PartJob, drawn: Engraving) -> None:
    """Nine tenths of one are not enough, be they added to a part or drawn on a study page."""
    system = drawn.systems[0]
    said = [words_at("syllable", x, 3000.0, "dah", fonts.ITALIC, 260.0) for x in (5000.0, 8000.0)]
    assert line_faults("", 1, system, said, drawn) == []
    wide = said[0].box[2] - said[0].box[0]
    near = words_at("syllable", 5000.0 + wide + 90, 3000.0, "dah", fonts.ITALIC, 260.0)
    assert [f.signs for f in line_faults("", 1, system, [said[0], near], drawn)] == [
        ("syllable", "syllable")
    ]
    words = next(i for s in drawn.systems for i in s.ink if "dir" in i.classes)
    first = words._replace(classes=("syl",), group="", owner="").moved(3000.0)
    second = first.moved(0.0, first.box[2] - first.box[0] + 90)
    both = _with(system, first, second)
    assert [f.kind for f in line_faults("", 1, both, [], None, ours=True)] == ["run together"]
    assert line_faults("", 1, both, [], None) == []


def test_a_sentence_of_the_road_map_ends_at_its_bar_line(drawn: Engraving) -> None:
    """However long it is; two millimetres before the line it stands over the wrong bars."""
    n, system, words = _line_with(drawn, "dir")
    bar = next(bar for bar, left, right in system.bar_edges if left < words.box[0] < right)
    right = next(right for name, _, right in system.bar_edges if name == bar)
    left = next(left for name, left, _ in system.bar_edges if name == bar)
    x0, y0, _, y1 = words.box
    for short, faults in ((0.0, set()), (200.0, {"over the wrong bar"})):
        box = (right - short - 2.5 * (right - left), y0 - 600, right - short, y1 - 600)
        sentence = words.moved(-600.0, box[0] - x0)._replace(box=box)
        others = tuple(i for i in system.ink if i.group == words.group)
        assert _faults(drawn, n, _with(system, sentence, without=others)) == faults


def test_a_stub_is_seen(drawn: Engraving) -> None:
    n, system, hairpin = _line_with(drawn, "hairpin")
    first = min(spot.x for spot in system.heads.values())
    x0, y0, _, y1 = hairpin.box
    stub = hairpin.moved(0.0, first - 300 - x0)._replace(box=(first - 300, y0, first - 100, y1))
    assert "stub" in _faults(drawn, n, _with(system, stub))


def test_a_sign_in_a_rests_number_is_seen(drawn: Engraving) -> None:
    n, system, _ = _line_with(drawn, "multiRest")
    number = next(
        i for i in system.ink if "multiRest" in i.classes and i.box[3] < system.staff_top + 50
    )
    words = next(i for i in system.ink if "dir" in i.classes and isinstance(i.shape, Text))
    beside = words.moved(
        (number.box[1] + number.box[3] - words.box[1] - words.box[3]) / 2,
        number.box[2] + 90 - words.box[0],
    )
    faults = _faults(drawn, n, _with(system, beside, without=(words,)))
    assert "in a rest's number" in faults


def test_words_on_the_lines_of_a_staff_are_seen(drawn: Engraving) -> None:
    n, system, words = _line_with(drawn, "dir")
    middle = (system.staff_top + system.staff_bottom) / 2
    within = words.moved(middle - (words.box[1] + words.box[3]) / 2)
    assert "in the staff" in _faults(drawn, n, _with(system, within, without=(words,)))


@pytest.mark.parametrize(("text", "faults"), [("C7", set()), ("C\uf8ff7", {"unreadable"})])
def test_a_chord_symbol_that_no_font_has_is_seen(
    drawn: Engraving, text: str, faults: set[str]
) -> None:
    """Naturals and double flats after roots were printed as boxes."""
    chords = {"c": InkSpot(3000.0, -3000.0)}
    system = replace(drawn.systems[0], chords=chords, chord_texts={"c": text})
    assert _faults(drawn, 0, system) == faults


def test_a_bar_too_narrow_to_count_is_seen(drawn: Engraving) -> None:
    system = drawn.systems[0]
    (bar, left, _), *others = system.bar_edges
    narrow = replace(system, bar_edges=((bar, left, left + 290), *others))
    assert _faults(drawn, 0, narrow) == {"narrow bar"}


def test_a_clef_on_a_flag_is_seen(drawn: Engraving) -> None:
    n, system, clef = _line_with(drawn, "clef")
    flag = clef._replace(classes=("flag",), owner="another", group="")
    assert _faults(drawn, n, _with(system, flag.moved(0.0, 60.0))) == {"collision"}


def test_a_lonely_bar_and_a_lonely_line_are_seen() -> None:
    assert [f.signs for f in economy("", [4, 4, 1], [2, 1])] == [
        ("one bar", "last line"),
        ("one line", "last page"),
    ]
    assert economy("", [4, 4, 2], [3]) == []
    assert economy("", [1], [1]) == []  # all that there is


def test_a_turn_that_is_timed_wrongly_is_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sixty lines of eighths with a rest here and there; then the same with seconds made up."""
    text = ("C5/8 D5/8 E5/8 F5/8 G5/4 E5/4 " * 43 + "r/1 " * 8) * 5
    document = parse_document(Path("x.musicxml"), score_xml({"Alto": part_xml(text)}))
    c = read_chart(document)
    (made,) = part_jobs(Basis(document=document, chart=c), tmp_path, SheetStyle())
    right = part_count(made, c, 0)
    assert right.turns >= 2
    assert [f for f in right.faults if f.kind == "turn"] == []
    wrong = replace(made, rests=tuple(rest + 2.0 for rest in made.rests))
    assert {f.kind for f in part_count(wrong, c, 0).faults} == {"turn"}
    assert laid_out(made).fit.pages.turns


def test_the_clock_of_the_measure_follows_the_tempo() -> None:
    """Two bars of rest, the first at 60, the second at 120: four seconds and two."""
    c = replace(chart({"Alto": "C5/1 r/1 r/1 C5/1"}), tempos=((0, 60.0), (192, 120.0)))
    assert seconds_to_turn(c, 0, 1) == pytest.approx(6.0)


def test_the_directors_pages_are_looked_at(demo_marked: Marked, saxes_marked: Marked) -> None:
    """Every line of both small scores and of the study pages is seen and has no fault; what is
    planted on one of them is counted, unless it may step aside."""
    found = director_count(demo_marked)
    assert found.signs > 1000
    assert not found.faults
    from sectionprep.outputs.director import lines, study_page

    read = study_page.take_drawing

    def spoiled(*given: object) -> object:
        systems, glyphs = read(*given)  # type: ignore[arg-type]
        dynamic = next((i for i in systems[0].ink if "dynam" in i.classes), None)
        if dynamic is not None:
            head = next(i for i in systems[0].ink if "notehead" in i.classes)
            onto = dynamic.moved(head.box[1] - dynamic.box[1], head.box[0] - dynamic.box[0])
            systems[0] = _with(systems[0], onto._replace(owner="planted"))
        return systems, glyphs

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(study_page, "take_drawing", spoiled)
        patch.setattr(lines, "set_apart", lambda system, _: system)
        assert director_count(saxes_marked).faults


def test_what_is_painted_is_seen_and_the_painter_is_given_back(job: PartJob) -> None:
    with painted() as seen:
        draw_part(job)
    assert len(seen) == len(laid_out(job).engraving.systems)
    with painted() as nothing:
        pass
    assert nothing == []


def test_a_bar_alone_on_a_line_or_a_page_of_the_director_is_seen(drawn: Engraving) -> None:
    """Two lines of four bars; then the last bar alone, and alone on its page."""
    four = replace(drawn.systems[0], measures=("a", "b", "c", "d"))
    one = replace(drawn.systems[0], measures=("e",))
    assert lonely_bars("", [Painted(four, 1), Painted(four, 2)], [8]) == []
    assert lonely_bars("", [Painted(one, 1), Painted(four, 1)], [1, 4]) == []  # all that there is
    found = lonely_bars("", [Painted(four, 1), Painted(one, 2)], [5])
    assert [f.signs for f in found] == [("one bar", "a line"), ("one bar", "a page")]


def test_what_is_drawn_beyond_the_edge_of_the_paper_is_seen() -> None:
    for x, y, faults in ((100, 100, 0), (560, 100, 1), (100, -40, 1), (700, 300, 1)):
        out = io.BytesIO()
        canvas = new_canvas(out, 612, 792, title="x")
        canvas.rect(x, y, 50, 20, fill=1)
        canvas.showPage()
        canvas.save()
        assert len(off_the_page("", out.getvalue())) == faults


def test_a_letter_on_a_bar_number_of_the_director_is_seen(drawn: Engraving) -> None:
    """As it is drawn the letter stands above the number; put back where the engraver had it, the
    two collide."""
    system = next(s for s in drawn.systems if any("reh" in i.classes for i in s.ink))
    letter = next(i for i in system.ink if "reh" in i.classes)
    raised, numbers = numbered(system, [(letter.box[0], "9")], 260.0)
    above = line_faults("", 1, raised, numbers, None)
    assert not [f for f in above if set(f.signs) == {"number", "rehearsal mark"}]
    onto = letter.moved(numbers[0].box[1] - letter.box[1])
    spoiled = _with(system, onto, without=(letter,))
    found = line_faults("", 1, spoiled, numbers, None)
    assert [f for f in found if set(f.signs) == {"number", "rehearsal mark"}]


def test_a_section_with_staves_of_three_sizes_is_seen() -> None:
    assert uneven("saxes", [1.0, 0.973, 1.0, 0.973]) == []
    assert [f.part for f in uneven("saxes", [1.0, 0.973, 0.933])] == ["saxes"]


@pytest.mark.parametrize(
    ("share", "kinds"), [(0.4, {"collision"}), (0.7, {"collision"}), (0.8, set())]
)
def test_a_number_on_a_clefs_tail_is_seen(drawn: Engraving, share: float, kinds: set[str]) -> None:
    """The tail of a treble clef is narrower than the clef: it ends at .77 of its width."""
    system = drawn.systems[1]
    left, _, right, _ = next(ink.box for ink in system.ink if "clef" in ink.classes)
    x, y = left + share * (right - left), system.staff_bottom + 300
    number = words_at("number", x, y, "5", fonts.ITALIC, 300.0)
    assert {fault.kind for fault in line_faults("", 2, system, [number], drawn)} == kinds


@pytest.mark.parametrize(
    ("times", "note", "kinds"), [(3.9, 0, set()), (4.1, 0, {"strayed"}), (4.1, 300, set())]
)
def test_a_slur_that_strays_from_its_staff_is_seen(
    drawn: Engraving, times: float, note: float, kinds: set[str]
) -> None:
    """From a head of the line up to nothing; a pianist's, up to another staff's note, is none."""
    system = drawn.systems[0]
    high = system.staff_bottom - system.staff_top
    head = next(ink for ink in system.ink if "notehead" in ink.classes)
    x, y = head.box[0], head.box[1]
    top = y - times * high
    points = (((x, y),), ((x, top), (x + 2000, top), (x + 4000, top)))
    back = ((x + 2000, top), (x, top), (x, y))
    curve = Curve((("moveTo", points[0]), ("curveTo", points[1]), ("curveTo", back)), 0.0, True)
    slur = Ink(curve, (x, top, x + 4000, y), ("slur",))
    there = head.moved(top - y - note, 4000.0)
    system = _with(system, slur, there) if note else _with(system, slur)
    found = line_faults("", 1, system, [], None)
    assert {fault.kind for fault in found} & {"strayed"} == kinds
