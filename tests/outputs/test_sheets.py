"""Printed sheets, measured back from the PDF."""

from __future__ import annotations

import re
from pathlib import Path

import pypdfium2
import pytest
from build import document, part_xml, score_xml
from lxml import etree

from sectionprep.drawing.scene.chord_symbols import split
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.names import safe_name
from sectionprep.outputs.parts.laying_out import laid_out
from sectionprep.outputs.parts.part_job import SheetReport, SheetStyle
from sectionprep.outputs.parts.sheets import (
    Basis,
    draw_all,
    part_jobs,
)
from sectionprep.outputs.parts.turning import rests_at_bar_ends
from sectionprep.results import Marked

TUNE = "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8 E5/8 E5/4 D5/8 C5/8 B4/4 r/4 "


def _draw(parts: dict[str, str], folder: Path, **style: object) -> list[SheetReport]:
    d = document(parts)
    look = SheetStyle(**style)  # type: ignore[arg-type]
    jobs = part_jobs(Basis(document=d, chart=read_chart(d)), folder, look, footer="version 1")
    return draw_all(jobs)


def _text(path: Path) -> list[str]:
    pdf = pypdfium2.PdfDocument(path)
    return [page.get_textpage().get_text_range() for page in pdf]


@pytest.fixture(scope="module")
def demo_sheets(demo_marked: Marked, tmp_path_factory: pytest.TempPathFactory) -> list[SheetReport]:
    again = demo_marked.again
    basis = Basis(document=again.document, chart=again.chart)
    folder = tmp_path_factory.mktemp("parts")
    jobs = part_jobs(basis, folder, SheetStyle(), footer="version 1")
    return draw_all(jobs)


def test_every_part_of_the_demo_is_drawn_with_its_headings(demo_sheets: list[SheetReport]) -> None:
    assert len(demo_sheets) == 17
    for report in demo_sheets:
        pages = _text(report.path)
        assert len(pages) == report.pages
        assert "Late Tram Home" in pages[0]
        assert all(report.name in page for page in pages)
        assert "Medium swing" in pages[0]
        assert all("version 1" in page for page in pages)


def test_eight_or_nine_staves_on_the_first_page_about_ten_after(
    demo_sheets: list[SheetReport],
) -> None:
    """D. J. Argue, Music Preparation Fundamentals (2023): 8-9 staves on page 1 and 10 after.
    Drums, guitar and piano have nothing but slashes, in lines of four bars with each letter at the
    left, which are lower: two more, rather than a third page."""
    full = [report for report in demo_sheets if report.pages > 1]
    assert full
    for report in full:
        more = 2 * (report.name in ("Drums", "Guitar", "Piano"))
        assert 7 <= report.staves[0] <= 10 + more
        assert all(count <= 11 + more for count in report.staves[1:])


@pytest.mark.parametrize("staff", [7.0, 7.5, 8.5, 9.6, 10.0, 11.0])
def test_staff_height_measured_from_the_page(tmp_path: Path, staff: float) -> None:
    """MOLA guidelines 2017: 7.5 mm best, 7.0 acceptable, over 8.5 to be avoided: what is asked for
    is what is printed."""
    (report,) = _draw({"Alto": TUNE}, tmp_path, staff=staff)
    pdf = pypdfium2.PdfDocument(report.path)
    scale = 8
    picture = pdf[0].render(scale=scale, grayscale=True).to_pil()
    width, height = picture.size

    def staff_lines(x: int) -> list[int]:
        """Tops of the first five evenly spaced dark lines in a column of the picture."""
        column = [picture.getpixel((x, y)) < 128 for y in range(height)]
        starts = [y for y in range(1, height) if column[y] and not column[y - 1]]
        for n in range(len(starts) - 4):
            steps = [starts[n + k + 1] - starts[n + k] for k in range(4)]
            if max(steps) - min(steps) <= 1:
                return starts[n : n + 5]
        return []

    five = next(found for x in range(width // 5, width, width // 40) if (found := staff_lines(x)))
    millimetres = (five[4] - five[0]) / scale / 72 * 25.4
    assert millimetres == pytest.approx(staff, abs=0.08)  # a little more than one dot


def test_fonts_are_embedded_and_bytes_reproducible(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    (a,) = _draw({"Alto": TUNE}, tmp_path / "a")
    (b,) = _draw({"Alto": TUNE}, tmp_path / "b")
    data = a.path.read_bytes()
    assert data == b.path.read_bytes()
    assert b"/FontFile2" in data
    assert not re.search(
        rb"/BaseFont /(Helvetica|Times)[^\n]*\n(?:(?!endobj).)*?/FontFile", data, re.DOTALL
    )


def test_long_rests_are_one_sign_broken_at_rehearsal_marks(tmp_path: Path) -> None:
    """Metropole Orkest library: multi-rests combined where possible; broken at letters (M. Moore,
    moosack.net)."""
    mark = "<direction><direction-type><rehearsal>B</rehearsal></direction-type></direction>"
    d = parse_document(
        Path("x"),
        score_xml(
            {"Alto": part_xml(TUNE + "r/1 " * 12 + TUNE, signs={len(TUNE.split()) + 8: mark})}
        ),
    )
    (report,) = draw_all(part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle()))
    assert sum(report.bars_per_line) == 3 + 2 + 3


def test_a_hostile_name_makes_a_tame_file_and_prints(tmp_path: Path) -> None:
    (report,) = _draw({"../../e\u0301vil/\u4e2d\u6587 \U0001f3b7 <b>&amp;": TUNE}, tmp_path)
    assert report.path.parent == tmp_path
    assert report.path.exists()
    assert safe_name("../..") == "part"


def test_rests_at_bar_ends_are_in_seconds() -> None:
    c = read_chart(document({"Alto": "C5/1 C5/2 r/2 r/1 C5/1"}))
    rests = rests_at_bar_ends(c, c.parts[0])
    assert rests == pytest.approx((0.0, 3.0, 3.0, 0.0))  # no tempo: counted at 120 beats a minute


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Bb7(b9)", ("B", "b", "7", ["b9"], "", "")),
        ("Cmaj7", ("C", "", "maj7", [], "", "")),
        ("F#m7b5/E", ("F", "#", "\u00f87", [], "E", "")),
        ("G7(#9,b13)", ("G", "", "7", ["#9", "b13"], "", "")),
        ("N.C.", ("N.C.", "", "", [], "", "")),
        ("C\uea65m7", ("C", "", "m7", [], "", "")),  # a natural, as the engraver has it in scores
        ("A\uea637/F\uea67", ("A", "bb", "7", [], "F", "##")),
        ("C\u25b37", ("C", "", "maj7", [], "", "")),  # was read as a seventh and a 7
        ("C\u03949(#11)", ("C", "", "maj9", ["#11"], "", "")),
        ("C\u0394", ("C", "", "maj7", [], "", "")),
        ("C-\u25b37", ("C", "", "-maj7", [], "", "")),
        ("C\u00f87", ("C", "", "\u00f87", [], "", "")),
        ("C\u00f8", ("C", "", "\u00f87", [], "", "")),
        ("C\u00f89", ("C", "", "m9", ["b5"], "", "")),
        ("B\U0001d12b7", ("B", "bb", "7", [], "", "")),  # a double flat, as it has it in parts
    ],
)
def test_chord_symbols_are_understood(text: str, expected: tuple[object, ...]) -> None:
    assert split(text) == expected


def test_a_root_altered_by_nothing_has_no_sign(tmp_path: Path) -> None:
    """MusicXML 4.0, root-alter and bass-alter: 0 is natural, and many programs write it; a chord
    symbol was printed with a natural after its root, and its quality was not understood."""
    harmony = (
        "<harmony><root><root-step>C</root-step><root-alter>0</root-alter></root>"
        "<kind>minor-seventh</kind>"
        "<bass><bass-step>G</bass-step><bass-alter>0</bass-alter></bass></harmony>"
    )
    d = parse_document(Path("x"), score_xml({"Guitar": part_xml(TUNE, signs={0: harmony})}))
    (job,) = part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle())
    (chord,) = laid_out(job).engraving.chords.values()
    assert split(chord) == ("C", "", "m7", [], "G", "")


@pytest.fixture(scope="module")
def helped(demo_marked: Marked, tmp_path_factory: pytest.TempPathFactory) -> dict[str, SheetReport]:
    again = demo_marked.again
    jobs = part_jobs(Basis.of_score(again), tmp_path_factory.mktemp("helped"), SheetStyle())
    return {report.name: report for report in draw_all(jobs)}


def test_parts_say_how_they_belong(helped: dict[str, SheetReport]) -> None:
    words = {
        name: " ".join(" ".join(_text(helped[name].path)).split())
        for name in ("Alto Sax 1", "Alto Sax 2", "Baritone Sax", "Trombone 2")
    }
    assert "soli: you lead" in words["Alto Sax 1"]
    assert "soli, lead Alto 1" in words["Alto Sax 2"]
    assert "8vb of Alto 1" in words["Baritone Sax"]
    assert "8vb of Alto 1" in words["Trombone 2"]


def test_long_rests_end_in_a_named_cue(helped: dict[str, SheetReport]) -> None:
    """Common practice, no source: a cue before the entry after a long rest."""
    words = " ".join(" ".join(_text(helped["Trumpet 3"].path)).split())
    assert "cue: Alto 1" in words
    assert "cue: Trombone 1" in words


def test_a_cue_stands_at_the_readers_pitch(demo_marked: Marked) -> None:
    """Bar 58, concert D4 Eb4 E4 F4 in Trombone 1, read a step higher by a trumpet."""
    from lxml import etree

    from sectionprep.musicxml.copies.part import extract_part
    from sectionprep.outputs.parts.cue_choice import choose_cues
    from sectionprep.outputs.parts.sheets import _cue_writer

    again = demo_marked.again
    part = next(p for p in again.chart.parts if p.name == "Trumpet 3")
    xml = extract_part(
        again.document,
        part.id,
        finish=_cue_writer(again.document, choose_cues(again.chart, again.together, part), ()),
    )
    measure = next(m for m in etree.fromstring(xml).iter("measure") if m.get("number") == "58")
    pitches = [
        (n.findtext("pitch/step"), n.findtext("pitch/alter"), n.findtext("pitch/octave"))
        for n in measure.iter("note")
        if n.find("cue") is not None
    ]
    assert pitches == [("E", None, "4"), ("F", None, "4"), ("F", "1", "4"), ("G", None, "4")]


def test_print_sets_have_a_bookmark_for_every_part_and_copies_from_the_roster(
    helped: dict[str, SheetReport], demo_marked: Marked, tmp_path: Path
) -> None:
    from pypdf import PdfReader

    from sectionprep.outputs.parts.print_set import bind, set_jobs

    jobs = set_jobs(demo_marked.again.chart, list(helped.values()), {"Alto Sax 1": 2}, tmp_path)
    for job in jobs:
        bind(job)
    assert {job.out.stem for job in jobs} == {"saxes", "trumpets", "trombones", "rhythm", "band"}
    band = PdfReader(tmp_path / "band.pdf")
    assert len(band.outline) == 18
    printed = [n for n, label in enumerate(band.page_labels) if not label.startswith("blank")]
    assert len(printed) == sum(r.pages for r in helped.values()) + helped["Alto Sax 1"].pages
    assert band.page_labels[0] == "Alto Sax 1 1"
    starts = [band.get_destination_page_number(item) for item in band.outline]  # type: ignore[arg-type]
    assert all(
        start is not None and start % 2 == 0 for start in starts
    )  # each on a right-hand page, printed on both sides
    first = (tmp_path / "band.pdf").read_bytes()
    bind(jobs[-1])
    assert (tmp_path / "band.pdf").read_bytes() == first


@pytest.mark.thorough
@pytest.mark.parametrize("pitch", ["written", "sounding"])
def test_the_small_score_shows_every_part_and_bar(demo_marked: Marked, pitch: str) -> None:
    from sectionprep.outputs.director.small_score import small_score_pdf

    again = demo_marked.again
    pdf = pypdfium2.PdfDocument(
        small_score_pdf(again, paper="letter", footer="version 1", pitch=pitch).pdf
    )
    pages = [page.get_textpage().get_text_range() for page in pdf]
    assert all(part.name in pages[0] for part in again.chart.parts)
    words = " ".join(pages).split()
    assert {bar.rehearsal for bar in again.chart.bars if bar.rehearsal} <= set(words)
    assert all("version 1" in page for page in pages)
    assert " ".join(pages).count("To Coda") == 1  # a sign for everybody stands once


def test_no_turn_without_rest_where_a_line_can_end_in_one(tmp_path: Path) -> None:
    """D. J. Argue, Music Preparation Fundamentals: put rests at the bottom of odd pages. A rest of
    eight bars stands every forty-odd bars, in the middle of a line as lines would fall by
    themselves."""
    d = document({"Alto": ("C5/8 D5/8 E5/8 F5/8 G5/4 E5/4 " * 43 + "r/1 " * 8) * 5})
    (report,) = draw_all(part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle()))
    assert len(report.turns) >= 2
    assert all(turn.possible for turn in report.turns)


@pytest.mark.thorough
def test_study_pages_sound_or_read(demo_marked: Marked) -> None:
    """The lead's first accent of the soli at B: written E6 for an alto is a sounding G5."""
    from sectionprep.outputs.director.pages import director_pdf, studies_of

    texts = {}
    for pitch in ("sounding", "written"):
        pdf = pypdfium2.PdfDocument(
            director_pdf(demo_marked, studies_of(demo_marked, pitch), paper="letter", footer="").pdf
        )
        texts[pitch] = " ".join(page.get_textpage().get_text_range() for page in pdf)
    assert "Sounding pitch" in texts["sounding"]
    assert "As the players read" in texts["written"]
    assert re.search(r"19\.1and\s+G5\s+accent", texts["sounding"])
    assert re.search(r"19\.1and\s+E6\s+accent", texts["written"])


def test_a_staff_follows_a_change_of_instrument() -> None:
    """A player who changes from alto (sounding a major sixth lower) to flute in bar 2 is shown at
    the right pitch in both."""
    from sectionprep.outputs.director.staves import pick_staff

    flute = (
        "<attributes><transpose><diatonic>0</diatonic><chromatic>0</chromatic>"
        "</transpose></attributes>"
    )
    body = part_xml("C5/4 C5/4 C5/4 C5/4 C5/4 C5/4 C5/4 C5/4", transpose=(-5, -9), signs={4: flute})
    d = parse_document(
        Path("x"),
        score_xml(
            {
                "Reed 1": body.replace(
                    "<transpose>", "<clef><sign>G</sign><line>2</line></clef><transpose>", 1
                )
            }
        ),
    )
    c = read_chart(d)
    first, second = (
        pick_staff(c, 0, "sounding", bar.start, bar.end, label="Reed 1") for bar in c.bars
    )
    assert (first.shift.chromatic, first.clef) == (-9, "G2")
    assert (second.shift.chromatic, second.clef) == (0, "")
    assert pick_staff(c, 0, "written", 0, c.bars[0].end, label="Reed 1").shift.chromatic == 0


def test_a_concert_score_is_read_by_its_players_on_request(tmp_path: Path) -> None:
    """Concert C5: an alto reads A5, a tenor D6, a baritone (treble clef, two octaves in all) A6 for
    a sounding C5."""
    from sectionprep.musicxml.copies.excerpt import extract_excerpt
    from sectionprep.outputs.director.staves import pick_staff

    parts = ("Alto Sax 1", "Tenor Sax 1", "Baritone Sax", "Trombone 1")
    d = document(dict.fromkeys(parts, "C5/1 E5/1"))
    c = read_chart(d)
    assert c.concert
    read = {}
    for pitch in ("written", "sounding"):
        picks = [
            pick_staff(c, n, pitch, 0, c.bars[-1].end, label=name) for n, name in enumerate(parts)
        ]
        drawn = extract_excerpt(d, picks, 0, 1).root
        read[pitch] = [
            (p.findtext(".//step"), p.findtext(".//octave"), p.findtext(".//fifths"))
            for p in drawn.iter("part")
        ]
    assert read["written"] == [("A", "5", "3"), ("D", "6", "2"), ("A", "6", "3"), ("C", "5", "0")]
    assert read["sounding"] == [("C", "5", "0")] * 4


@pytest.mark.parametrize(
    ("shift", "expected"), [((0, 0), ["sharp", None]), ((-5, -9), ["natural", None])]
)
def test_an_excerpt_that_begins_in_a_tie_says_the_accidental_again(
    shift: tuple[int, int], expected: list[str | None]
) -> None:
    """F sharp held over the bar line: nobody sees where it was raised. A major sixth lower, in
    three flats, it is an A natural."""
    from sectionprep.music.pitch import Transposition
    from sectionprep.musicxml.copies.excerpt import Pick, extract_excerpt

    d = document({"Alto Sax 1": "F#5/1~ F#5/2 G5/2"})
    pick = Pick(
        part_id=d.root.find("part").get("id") or "",
        occurrence=0,
        label="Alto",
        shift=Transposition(*shift),
    )
    drawn = extract_excerpt(d, [pick], 1, 1).root
    assert [note.findtext("accidental") for note in drawn.iter("note")] == expected


def test_e_sharp_is_kept_where_the_key_has_it() -> None:
    """Concert G sharp for an alto: E sharp in the seven sharps that concert E major gives it, F in
    three. Common practice, no source."""
    from sectionprep.musicxml.copies.part import extract_part
    from sectionprep.outputs.parts.sheets import _as_read

    for fifths, step in ((4, "E"), (0, "F")):
        d = parse_document(
            Path("x"),
            score_xml({n: part_xml("G#4/1", fifths=fifths) for n in ("Alto Sax 1", "Tenor Sax 1")}),
        )
        c = read_chart(d)
        drawn = etree.fromstring(extract_part(d, c.parts[0].id, written=_as_read(c, c.parts[0])))
        assert drawn.findtext(".//pitch/step") == step


def test_a_part_without_a_clef_gets_that_of_its_instrument(tmp_path: Path) -> None:
    """Without one the engraver draws a bare staff. A trombone reads bass clef; what a file states
    stays."""
    from sectionprep.musicxml.copies.excerpt import extract_excerpt
    from sectionprep.musicxml.copies.part import extract_part
    from sectionprep.outputs.director.staves import pick_staff

    d = document({"Alto Sax 1": "C5/1 D5/1", "Trombone 1": "C4/1 D4/1"})
    jobs = part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle())
    clefs = [
        [
            f"{c.findtext('sign')}{c.findtext('line')}"
            for c in etree.fromstring(job.xml).iter("clef")
        ]
        for job in jobs
    ]
    assert clefs == [["G2"], ["F4"]]
    c = read_chart(d)
    study = extract_excerpt(
        d, [pick_staff(c, n, "sounding", 0, c.bars[-1].end, label="x") for n in (0, 1)], 1, 1
    ).root
    assert [clef.findtext("sign") for clef in study.iter("clef")] == ["G", "F"]
    own = part_xml("C4/1").replace("</time>", "</time><clef><sign>C</sign><line>4</line></clef>", 1)
    d = parse_document(Path("x"), score_xml({"Trombone 1": own}))
    drawn = etree.fromstring(extract_part(d, d.root.find("part").get("id") or "", clef="F4"))
    assert [clef.findtext("sign") for clef in drawn.iter("clef")] == ["C"]


def test_accidentals_are_worked_out_where_the_file_prints_none(tmp_path: Path) -> None:
    """Three sharps, and not one <accidental> in the file: a natural, what follows it in its bar,
    and the next bar. Common practice, no source: an accidental holds to the bar line, for its own
    octave."""
    from sectionprep.musicxml.copies.part import extract_part

    body = part_xml("C5/4 C5/4 C#5/4 C6/4 C#5/4 C5/4 C5/4 C#5/4", fifths=3)
    d = parse_document(Path("x"), score_xml({"Alto Sax 1": body}))
    drawn = etree.fromstring(extract_part(d, d.root.find("part").get("id") or ""))
    assert [note.findtext("accidental") for note in drawn.iter("note")] == [
        "natural",
        None,
        "sharp",
        "natural",
        None,
        "natural",
        None,
        "sharp",
    ]
    first = body.replace("<type>", "<accidental>sharp</accidental><type>", 1)
    told = parse_document(Path("x"), score_xml({"Alto Sax 1": first}))
    drawn = etree.fromstring(extract_part(told, told.root.find("part").get("id") or ""))
    assert [
        note.findtext("accidental") for note in drawn.iter("note")
    ] == [  # the file's own sign says another pitch than the file
        "natural",
        None,
        "sharp",
        "natural",
        None,
        "natural",
        None,
        "sharp",
    ]


def test_a_doubling_in_a_concert_score_is_printed_as_its_player_reads_it(tmp_path: Path) -> None:
    """Alto reads a major sixth higher and three sharps more, the flute what sounds; back on the
    alto the sharps come back."""
    from sectionprep.musicxml.copies.part import extract_part
    from sectionprep.outputs.parts.sheets import _as_read

    def words(text: str) -> str:
        return f"<direction><direction-type><words>{text}</words></direction-type></direction>"

    line = part_xml(
        "C5/4 C5/4 C5/4 C5/4 C5/4 C5/4 C5/4 C5/4 C5/4 C5/4 C5/4 C5/4",
        signs={4: words("to Flute"), 8: words("to Alto Sax")},
    )
    d = parse_document(
        Path("x"), score_xml({"Alto Sax 1": line, "Tenor Sax 1": part_xml("C4/1 C4/1 C4/1")})
    )
    c = read_chart(d)
    assert c.concert
    drawn = etree.fromstring(extract_part(d, c.parts[0].id, written=_as_read(c, c.parts[0])))
    read = [
        [note.findtext("pitch/step") for note in bar.iter("note")] for bar in drawn.iter("measure")
    ]
    assert read == [["A"] * 4, ["C"] * 4, ["A"] * 4]
    assert [bar.findtext("attributes/key/fifths") for bar in drawn.iter("measure")] == [
        "3",
        "0",
        "3",
    ]


def test_the_style_stands_in_every_part_and_words_for_one_player_do_not() -> None:
    from sectionprep.musicxml.copies.part import extract_part

    def words(text: str) -> str:
        return (
            f"<direction "
            f'placement="above"><direction-type><words>{text}</words></direction-type></direction>'
        )

    tempo = (
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
        "<per-minute>144</per-minute></metronome></direction-type></direction>"
    )
    top = part_xml(
        "C5/1 C5/1",
        signs={0: tempo + words("Medium Swing") + words("to Flute"), 1: words("Swing it")},
    )
    d = parse_document(
        Path("x"), score_xml({"Alto Sax 1": top, "Trumpet 2": part_xml("C5/1 C5/1")})
    )
    second = etree.fromstring(extract_part(d, read_chart(d).parts[1].id))
    assert [e.text for e in second.iter("words")] == ["Medium Swing"]


def test_every_font_of_a_sheet_is_embedded(tmp_path: Path) -> None:
    """What a print shop asks for first. Common practice, no source."""
    from pypdf import PdfReader

    (report,) = _draw({"Alto Sax 1": TUNE}, tmp_path)
    for page in PdfReader(report.path).pages:
        fonts = [font.get_object() for font in page["/Resources"]["/Font"].values()]  # type: ignore[index, union-attr]
        assert fonts
        assert all("/FontFile2" in font["/FontDescriptor"].get_object() for font in fonts)
