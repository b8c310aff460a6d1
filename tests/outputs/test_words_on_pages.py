"""Words, letters and signs as they come onto the page: frames around them, within the page, clear
of each other."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from build import part_xml, score_xml
from measure_pages import line_collisions

from sectionprep import stages
from sectionprep.drawing.engraver.part import Engraving
from sectionprep.drawing.scene.ink import Ellipse, Glyph, Ink, Text
from sectionprep.drawing.text.frames import frame
from sectionprep.musicxml.copies.enclosures import SHAPES
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.laying_out import extras_of, laid_out
from sectionprep.outputs.parts.part_job import PartJob, SheetReport, SheetStyle
from sectionprep.outputs.parts.sheets import Basis, draw_all, part_jobs
from sectionprep.results import Marked, Options

_PRINTED = Path(__file__).resolve().parent.parent / "cases" / "printed"
_TUNE = "C5/4 D5/4 E5/4 F5/4 G5/4 A5/4 B5/4 C6/4 "


def _job(d: Document, tmp_path: Path) -> PartJob:
    return next(iter(part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle())))


def _kept(name: str, tmp_path: Path) -> PartJob:
    return _job(stages.read_score(_PRINTED / f"{name}.musicxml", Options()).document, tmp_path)


def _drawn(xml: str, tmp_path: Path, name: str = "Alto Sax") -> Engraving:
    return laid_out(
        _job(parse_document(Path("x.musicxml"), score_xml({name: xml})), tmp_path)
    ).engraving


def _words(text: str, more: str = "", place: str = "above") -> str:
    return (
        f'<direction placement="{place}"><direction-type><words {more}>{text}</words>'
        "</direction-type></direction>"
    )


def _texts(drawn: Engraving, system: int = 0) -> list[Ink]:
    return [ink for ink in drawn.systems[system].ink if isinstance(ink.shape, Text)]


def _says(ink: Ink) -> str:
    assert isinstance(ink.shape, Text)
    return ink.shape.words


def _inside(inner: tuple[float, ...], outer: tuple[float, ...]) -> bool:
    return (
        outer[0] < inner[0] and outer[1] < inner[1] and inner[2] < outer[2] and inner[3] < outer[3]
    )


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("words", [(0.0, 0.0, 200.0, 290.0), (0.0, 0.0, 2500.0, 290.0)])
def test_words_lie_within_their_frame(shape: str, words: tuple[float, float, float, float]) -> None:
    """The middle of each side of the words' box lies inside; a bracket is open on one side."""
    drawn = frame(shape, words)
    x0, y0, x1, y1 = words
    assert _inside(words, drawn.box)
    if drawn.kind == "polygon":
        for x, y in (((x0 + x1) / 2, y1), (x0, (y0 + y1) / 2), (x1, (y0 + y1) / 2)):
            assert _contains(drawn.points, x, y)
    elif drawn.kind == "ellipse":
        a, b = (drawn.box[2] - drawn.box[0]) / 2, (drawn.box[3] - drawn.box[1]) / 2
        assert ((x1 - x0) / 2 / a) ** 2 + ((y1 - y0) / 4 / b) ** 2 < 1


def _contains(points: tuple[tuple[float, float], ...], x: float, y: float) -> bool:
    """Even-odd rule."""
    hits = 0
    for (xa, ya), (xb, yb) in zip(points, (*points[1:], points[0]), strict=True):
        if (ya > y) != (yb > y) and x < (xb - xa) * (y - ya) / (yb - ya) + xa:
            hits += 1
    return hits % 2 == 1


def test_a_letter_in_a_circle_can_be_read(tmp_path: Path) -> None:
    """It was a black blob: no filled shape may lie over the letter."""
    drawn = laid_out(_kept("circle_letter", tmp_path)).engraving
    (letter,) = [ink for ink in _texts(drawn) if _says(ink) == "A"]
    around = [ink for ink in drawn.systems[0].ink if isinstance(ink.shape, Ellipse)]
    assert [(ink.shape.fill, _inside(letter.box, ink.box)) for ink in around] == [(False, True)]


@pytest.mark.parametrize("shape", SHAPES)
def test_each_shape_is_drawn_around_its_words_and_nothing_is_filled(
    shape: str, tmp_path: Path
) -> None:
    drawn = _drawn(part_xml(_TUNE, signs={2: _words("ab", f'enclosure="{shape}"')}), tmp_path)
    (text,) = [ink for ink in _texts(drawn) if _says(ink) == "ab"]
    shapes = [
        ink
        for ink in drawn.systems[0].ink
        if "dir" in ink.classes and not isinstance(ink.shape, Text)
    ]
    assert [ink.shape.fill for ink in shapes] == [False]
    assert text.box[0] > shapes[0].box[0]
    assert shapes[0].box[3] < drawn.systems[0].staff_top


def test_string_numbers_stand_in_circles(tmp_path: Path) -> None:
    xml = part_xml(_TUNE).replace(
        "</type></note>",
        "</type><notations><technical><string>4</string></technical></notations></note>",
        1,
    )
    drawn = _drawn(xml, tmp_path, "Guitar")
    assert [_says(ink) for ink in _texts(drawn) if "fing" in ink.classes] == ["4"]
    signs = [ink.shape for ink in drawn.systems[0].ink if "fing" in ink.classes]
    assert [type(shape) for shape in signs] == [Text, Ellipse]


def test_a_long_rest_with_restated_clefs_stays_one(tmp_path: Path) -> None:
    drawn = laid_out(_kept("restated_clefs", tmp_path)).engraving
    assert [bar.bars for bar in drawn.bars] == [1, 16, 1]
    assert sum("clef" in ink.classes for ink in drawn.systems[0].ink) == 1


_REST = '<note><rest measure="yes"/><duration>96</duration><voice>1</voice></note>'


@pytest.mark.parametrize(
    "unseen",
    [
        '<direction><direction-type><words></words></direction-type><sound tempo="99"/>'
        "</direction>",
        '<sound tempo="99"/>',
        '<direction><sound tempo="99"/></direction>',
        '<barline location="left"><bar-style>regular</bar-style></barline>',
        "<print new-system='yes'/>",
        "<attributes><divisions>24</divisions></attributes>",
        "<attributes><transpose><chromatic>0</chromatic></transpose></attributes>",
        "<direction><direction-type><words>~C7,0</words></direction-type></direction>",
    ],
)
def test_what_cannot_be_seen_does_not_part_a_long_rest(unseen: str, tmp_path: Path) -> None:
    bars = "".join(
        f'<measure number="{n}">{unseen if n % 2 else ""}{_REST}</measure>' for n in range(3, 12)
    )
    drawn = _drawn(part_xml(_TUNE) + bars, tmp_path)
    assert [bar.bars for bar in drawn.bars] == [1, 1, 9]


@pytest.mark.parametrize(
    "seen",
    [
        "<direction><direction-type><words>solo</words></direction-type></direction>",
        '<barline location="left"><bar-style>light-light</bar-style></barline>',
        "<attributes><key><fifths>2</fifths></key></attributes>",
        "<direction><direction-type><rehearsal>C</rehearsal></direction-type></direction>",
    ],
)
def test_what_is_to_be_seen_begins_a_rest_of_its_own(seen: str, tmp_path: Path) -> None:
    bars = "".join(
        f'<measure number="{n}">{seen if n == 6 else ""}{_REST}</measure>' for n in range(3, 12)
    )
    drawn = _drawn(part_xml(_TUNE) + bars, tmp_path)
    assert [bar.bars for bar in drawn.bars] == [1, 1, 3, 6]


@pytest.mark.parametrize(("bars", "signs", "said"), [(1, 1, 0), (2, 0, 1), (4, 0, 1)])
def test_a_repeat_of_several_bars_is_not_printed_as_one_of_a_bar(
    bars: int, signs: int, said: int, tmp_path: Path
) -> None:
    """The sign for one bar in each of two bars would say: twice the bar before."""

    def style(inside: str) -> str:
        return f"<attributes><measure-style>{inside}</measure-style></attributes>"

    repeats = {
        4 * 2: style(f'<measure-repeat type="start">{bars}</measure-repeat>'),
        4 * (2 + bars): style('<measure-repeat type="stop"/>'),
    }
    job = _job(
        parse_document(
            Path("x.musicxml"), score_xml({"Drums": part_xml(_TUNE * 4, signs=repeats)})
        ),
        tmp_path,
    )
    drawn = laid_out(job).engraving
    assert any("mRpt" in ink.classes for ink in drawn.systems[0].ink) == bool(signs)
    assert len(job.remarks) == said
    assert sum(len(system.heads) for system in drawn.systems) == 32 - 4 * signs


def test_tablature_prints_its_frets(tmp_path: Path) -> None:
    (report,) = draw_all([_kept("tablature", tmp_path)])
    assert not report.failed
    drawn = laid_out(_kept("tablature", tmp_path)).engraving
    assert [_says(ink) for ink in _texts(drawn) if "tabGrp" in ink.classes] == ["0", "1", "3", "0"]
    assert set(drawn.systems[0].heads) == {"n0", "n1", "n2", "n3"}


@pytest.mark.parametrize("lines", [4, 5, 6])
def test_tablature_of_any_number_of_strings_has_the_first_string_on_top(
    lines: int, tmp_path: Path
) -> None:
    """MusicXML 4.0, element string: numbered from the highest-pitched; in tablature that is the top
    line (common practice)."""
    clef = (
        "<clef><sign>TAB</sign><line>5</line></clef><staff-details>"
        f"<staff-lines>{lines}</staff-lines></staff-details>"
    )
    xml = part_xml("C4/1 C4/1").replace("</attributes>", f"{clef}</attributes>")
    for string in (1, lines):
        fretted = (
            f"<notations><technical><string>{string}</string><fret>2</fret></technical></notations>"
        )
        xml = xml.replace("</type></note>", f"</type>{fretted}</note>", 1)
    drawn = _drawn(xml, tmp_path, "Guitar")
    first, last = (drawn.systems[0].heads[name].y for name in ("n0", "n1"))
    system = drawn.systems[0]
    assert first == pytest.approx(system.staff_top, abs=60)
    assert last == pytest.approx(system.staff_bottom, abs=60)


_LONG = "as softly as you can and with the lead trumpet until the drums have gone round the corner"


@pytest.mark.parametrize("place", ["above", "below"])
@pytest.mark.parametrize("times", [1, 3])
def test_words_end_on_the_page_and_do_not_push_the_bars(
    place: str, times: int, tmp_path: Path
) -> None:
    """Over the last beat of a line: words that run on, once longer than the line is wide."""
    plain = _drawn(part_xml(_TUNE * 4), tmp_path)
    drawn = _drawn(
        part_xml(_TUNE * 4, signs={7: _words(" ".join([_LONG] * times), place=place)}), tmp_path
    )
    edge = max(right for _, _, right in drawn.systems[0].bar_edges)
    said = [ink for ink in _texts(drawn) if "dir" in ink.classes]
    assert len(said) >= times
    assert " ".join(" ".join(_says(ink) for ink in said).split()) == " ".join([_LONG] * times)
    assert all(ink.box[0] >= 0 and ink.box[2] <= edge + 1 for ink in said)
    assert [b[2] for b in drawn.systems[0].bar_edges] == pytest.approx(
        [b[2] for b in plain.systems[0].bar_edges], abs=1
    )


def test_words_of_several_lines_stand_under_each_other(tmp_path: Path) -> None:
    drawn = _drawn(part_xml(_TUNE, signs={2: _words("solo\nwith mute")}), tmp_path)
    first, second = [ink for ink in _texts(drawn) if "dir" in ink.classes]
    assert (_says(first), _says(second)) == ("solo", "with mute")
    assert first.box[3] < second.box[3] < drawn.systems[0].staff_top
    assert first.box[0] == pytest.approx(second.box[0], abs=1)


def _crowded_bar(number: int) -> str:
    """Sixty-four notes in one bar, each with an accidental."""
    signs = (("1", "sharp"), ("-1", "flat"))
    notes = [
        f"<note><pitch><step>{'CDEFGAB'[n % 7]}</step><alter>{signs[n % 2][0]}</alter>"
        "<octave>5</octave></pitch><duration>1</duration>"
        f"<voice>1</voice><type>64th</type><accidental>{signs[n % 2][1]}</accidental></note>"
        for n in range(64)
    ]
    attributes = "<attributes><divisions>16</divisions></attributes>"
    return f'<measure number="{number}">{attributes}{"".join(notes)}</measure>'


def test_a_crammed_bar_stands_alone_and_small_enough_to_be_read(tmp_path: Path) -> None:
    """Heads do not overlap, and no accidental lies on the head before it."""
    calm = part_xml("C5/4 D5/4 E5/4 F5/4 " * 3)
    drawn = _drawn(calm + _crowded_bar(4), tmp_path)
    assert [system.scale for system in drawn.systems][:-1] == [1.0] * (len(drawn.systems) - 1)
    crammed = drawn.systems[-1]
    assert 0.4 < crammed.scale < 1.0
    assert len(crammed.measures) == 1
    heads = sorted((head.x, head.x + head.width) for head in crammed.heads.values())
    assert len(heads) == 64
    assert all(after[0] >= before[1] for before, after in pairwise(heads))
    widest = max(ink.box[2] for ink in crammed.ink) * crammed.scale
    assert widest <= max(ink.box[2] for ink in drawn.systems[0].ink) + 5


def test_a_metronome_mark_keeps_away_from_the_count_of_a_rest(tmp_path: Path) -> None:
    rest = '<note><rest measure="yes"/><duration>96</duration><voice>1</voice></note>'
    tempo = (
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
        "<per-minute>60</per-minute></metronome>"
        "</direction-type></direction>"
    )
    first = part_xml("C5/1").split("<note>")[0]
    drawn = _drawn(
        f"{first}{tempo}{rest}</measure>"
        + "".join(f'<measure number="{n}">{rest}</measure>' for n in range(2, 9))
        + part_xml(_TUNE).replace('number="1"', 'number="9"'),
        tmp_path,
    )
    count = [
        ink
        for ink in drawn.systems[0].ink
        if "multiRest" in ink.classes
        and isinstance(ink.shape, Glyph)
        and ink.box[3] <= drawn.systems[0].staff_top
    ]
    mark = [ink for ink in drawn.systems[0].ink if "tempo" in ink.classes]
    assert count
    assert mark
    over = max(ink.box[3] for ink in mark) < min(ink.box[1] for ink in count)
    beside = max(ink.box[2] for ink in mark) + 150 < min(ink.box[0] for ink in count)
    assert over or beside


def test_the_rest_of_a_pickup_does_not_touch_the_meter(demo_marked: Marked, tmp_path: Path) -> None:
    again = demo_marked.again
    names = {part.name: part.index for part in again.chart.parts}
    jobs = part_jobs(
        Basis(document=again.document, chart=again.chart),
        tmp_path,
        SheetStyle(),
        parts=[names["Drums"], names["Piano"]],
    )
    for job in jobs:
        drawn = laid_out(job).engraving
        meter = max(ink.box[2] for ink in drawn.systems[0].ink if "meterSig" in ink.classes)
        rest = min(
            ink.box[0] for ink in drawn.systems[0].ink if {"rest", "mRest"} & set(ink.classes)
        )
        assert rest > meter + 50, job.name


def test_verses_have_their_numbers_and_figured_bass_prints(tmp_path: Path) -> None:
    lyric = '<lyric number="{0}"><syllabic>single</syllabic><text>{0}. la</text></lyric>'
    figures = (
        "<figured-bass><figure><prefix>sharp</prefix><figure-number>6</figure-number></figure>"
        "</figured-bass>"
    )
    xml = part_xml(_TUNE, signs={3: figures}).replace(
        "</type></note>", f"</type>{lyric.format(1)}{lyric.format(2)}</note>", 1
    )
    drawn = _drawn(xml, tmp_path, "Organ")
    said = [_says(ink) for ink in _texts(drawn)]
    assert {"1.", "2."} <= set(said)
    assert any(text.endswith("6") for text in said)
    assert not drawn.chords


def test_nothing_collides_where_words_are_long(tmp_path: Path) -> None:
    signs = {n: _words(_LONG[: 20 + 8 * n], place="below" if n % 2 else "above") for n in range(6)}
    job = _job(
        parse_document(Path("x.musicxml"), score_xml({"Alto": part_xml(_TUNE * 4, signs=signs)})),
        tmp_path,
    )
    drawn = laid_out(job).engraving
    found = [
        c
        for n, system in enumerate(drawn.systems)
        for c in line_collisions("", n, system, extras_of(drawn, job)[n])
    ]
    assert [c.kinds for c in found] == []


def _first_page(report: SheetReport) -> str:
    import pypdfium2

    pdf = pypdfium2.PdfDocument(report.path.read_bytes())
    words = str(pdf[0].get_textpage().get_text_range())
    pdf.close()
    return words


@pytest.mark.parametrize("way", ["identification", "credits"])
def test_the_files_credits_stand_on_the_first_page(way: str, tmp_path: Path) -> None:
    """Composer, arranger, lyricist and all rights, from the identification or, where there is none,
    from the credits."""
    said = {"composer": "Ann Onym", "arranger": "Bo Rrow", "lyricist": "Cy Lable"}
    rights = ("May be copied.", "May be played.")
    if way == "identification":
        head = "".join(f'<creator type="{k}">{v}</creator>' for k, v in said.items()) + "".join(
            f"<rights>{r}</rights>" for r in rights
        )
        head = f"<identification>{head}</identification>"
    else:
        named = [*said.items(), *(("rights", r) for r in rights)]
        head = "".join(
            f'<credit page="1"><credit-type>{k}</credit-type>'
            f"<credit-words>{v}</credit-words></credit>"
            for k, v in named
        )
    d = parse_document(Path("x.musicxml"), score_xml({"Alto": part_xml(_TUNE)}, head=head))
    (report,) = draw_all(part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle()))
    words = _first_page(report)
    for text in ("Ann Onym", "arr. Bo Rrow", "words: Cy Lable", *rights):
        assert text in words


def test_heads_and_feet_of_pages_do_not_run_into_each_other(tmp_path: Path) -> None:
    """Long title, part, credits and footer: each text ends before the next on its line begins, and
    all lie on the paper."""
    import pypdfium2

    head = (
        "<work>"
        "<work-title>Suite of the long and winding evenings in a small town by the river"
        "</work-title></work><identification>"
        '<creator type="composer">Somebody with many names and titles</creator>'
        '<creator type="arranger">Another of that family</creator>'
        '<creator type="lyricist">A poet of some renown in the county</creator></identification>'
    )
    tune = " ".join(["C5/8"] * 8 * 60)
    d = parse_document(
        Path("x.musicxml"),
        score_xml({"Baritone Saxophone in E flat (doubling Flute)": part_xml(tune)}, head=head),
    )
    (report,) = draw_all(
        part_jobs(
            Basis(document=d, chart=read_chart(d)),
            tmp_path,
            SheetStyle(),
            footer="A footer that goes on " * 12,
        )
    )
    pdf = pypdfium2.PdfDocument(report.path.read_bytes())
    assert len(pdf) > 1
    for page in pdf:
        words = page.get_textpage()
        boxes = [words.get_rect(n) for n in range(words.count_rects())]
        boxes = [b for b in boxes if b[3] < 40 or b[1] > page.get_height() - 90]  # foot and head
        assert len(boxes) >= 3
        assert all(b[0] > 0 and b[2] < page.get_width() for b in boxes)
        for n, a in enumerate(boxes):
            for b in boxes[n + 1 :]:
                assert (
                    min(a[2], b[2]) - max(a[0], b[0]) < 1 or min(a[3], b[3]) - max(a[1], b[1]) < 2
                )
        words.close()
    pdf.close()
