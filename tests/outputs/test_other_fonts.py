"""Letters of other scripts: out of a font of the machine if one has them, with a warning that names
the text if none has.

The fonts here are made by fontTools, of both kinds that font files hold (TrueType and CFF outlines:
OpenType 1.9, tables glyf and CFF); one test looks at whatever this machine has.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from build import part_xml, score_xml

from sectionprep.drawing.text import fonts, other_fonts
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.sheet_remarks import SheetRemark, at_the_foot, not_printed, said_once
from sectionprep.outputs.parts.sheets import Basis, draw_all, part_jobs

_TUNE = "C5/4 D5/4 E5/4 F5/4 G5/4 A5/4 B5/4 C6/4 "


def _make_font(path: Path, letters: str, cff: bool) -> None:
    """A font in which each of the letters is a square."""
    from fontTools.fontBuilder import FontBuilder
    from fontTools.pens.t2CharStringPen import T2CharStringPen
    from fontTools.pens.ttGlyphPen import TTGlyphPen

    names = [".notdef", *(f"uni{ord(c):04X}" for c in letters)]
    builder = FontBuilder(1000, isTTF=not cff)
    builder.setupGlyphOrder(names)
    builder.setupCharacterMap({ord(c): f"uni{ord(c):04X}" for c in letters})
    shapes = {}
    for name in names:
        pen = T2CharStringPen(900, None) if cff else TTGlyphPen(None)
        pen.moveTo((100, 0))
        for corner in ((100, 700), (800, 700), (800, 0)):
            pen.lineTo(corner)
        pen.closePath()
        shapes[name] = pen.getCharString() if cff else pen.glyph()
    if cff:
        builder.setupCFF("Made", {"FullName": "Made"}, shapes, {})
    else:
        builder.setupGlyf(shapes)
    builder.setupHorizontalMetrics(dict.fromkeys(names, (900, 100)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Made", "styleName": "Regular"})
    builder.setupOS2(sTypoAscender=800, sTypoDescender=-200, usWinAscent=800, usWinDescent=200)
    builder.setupPost()
    builder.save(path)


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder that is all the machine has of fonts; what was learnt before is forgotten, and
    after."""
    folder = tmp_path / "fonts"
    folder.mkdir()

    def forget() -> None:
        other_fonts._files.cache_clear()
        fonts._elsewhere.clear()
        fonts.pieces.cache_clear()
        fonts.width.cache_clear()

    fonts.register()
    monkeypatch.setattr(other_fonts, "folders", lambda: [folder])
    monkeypatch.setattr(fonts, "_cache_folder", lambda: tmp_path / "cache")
    forget()
    yield folder
    forget()


def _document(title: str, words: str) -> Document:
    sign = f"<direction><direction-type><words>{words}</words></direction-type></direction>"
    head = f"<work><work-title>{title}</work-title></work>"
    return parse_document(
        Path("x.musicxml"), score_xml({"Alto": part_xml(_TUNE, signs={4: sign})}, head=head)
    )


def _drawn(d: Document, tmp_path: Path) -> tuple[str, tuple[SheetRemark, ...]]:
    """The text on the first page as a reader of PDF sees it, and the remarks."""
    import pypdfium2

    (job,) = part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle())
    from sectionprep.outputs.parts.sheet import draw_part

    report = draw_part(job)
    pdf = pypdfium2.PdfDocument(report.path.read_bytes())
    words = str(pdf[0].get_textpage().get_text_range())
    pdf.close()
    return words, report.remarks


@pytest.mark.parametrize("cff", [False, True])
def test_letters_come_out_of_a_font_of_the_machine(
    cff: bool, machine: Path, tmp_path: Path
) -> None:
    _make_font(machine / f"made.{'otf' if cff else 'ttf'}", "静かに夜", cff)
    words, remarks = _drawn(_document("夜 at home", "静かに"), tmp_path)
    assert "夜 at home" in words
    assert "静かに" in words
    assert remarks == ()


def test_two_fonts_give_what_one_has_not(machine: Path, tmp_path: Path) -> None:
    _make_font(machine / "a.ttf", "静夜", False)
    _make_font(machine / "b.otf", "かに夜", True)
    words, remarks = _drawn(_document("夜", "静かに"), tmp_path)
    assert "静かに" in words
    assert remarks == ()
    assert len({piece.font for piece in fonts.pieces("静かに")}) == 2


def test_without_a_font_the_text_is_named(machine: Path, tmp_path: Path) -> None:
    """Never boxes without a word: the sheet and the report name title and words, with the bar."""
    words, remarks = _drawn(_document("夜", "静かに"), tmp_path)
    assert "□" in words
    assert [(r.first, "夜" in r.what or "静かに" in r.what) for r in remarks] == [
        ("", True),
        ("2", True),
    ]
    assert all("install one" in r.what for r in remarks)


def test_scripts_that_join_or_run_from_the_right_are_not_set_wrongly(
    machine: Path, tmp_path: Path
) -> None:
    """Hebrew and Arabic are of bidirectional class R and AL, Devanagari lies in U+0900-097F
    (Unicode)."""
    _make_font(machine / "a.ttf", "שלוםعربहिन्दी", False)
    for text in ("שלום", "عرب", "हिन्दी"):
        _, remarks = _drawn(_document("x", text), tmp_path)
        assert [text in r.what and "by hand" in r.what for r in remarks] == [True]


def test_damaged_font_files_are_passed_over_and_the_search_is_remembered(
    machine: Path, tmp_path: Path
) -> None:
    (machine / "broken.ttf").write_bytes(b"\0\1\0\0 no font at all")
    (machine / "empty.otf").write_bytes(b"")
    _make_font(machine / "good.ttf", "夜", False)
    assert "夜" in _drawn(_document("夜", "so"), tmp_path)[0]
    remembered = (tmp_path / "cache" / "other.json").read_text(encoding="utf-8")
    assert "good.ttf" in remembered
    assert other_fonts.files_with("夜", tmp_path / "cache" / "other.json")[0][0].name == "good.ttf"


@pytest.mark.parametrize(
    "damage", ['{"@": 5}', '{"@": [["a", "b"]]}', '{"@": [[1]]}', "[]", "[" * 5000, "\0", ""]
)
def test_a_damaged_memory_of_fonts_is_made_anew(damage: str, machine: Path, tmp_path: Path) -> None:
    _make_font(machine / "good.ttf", "夜", False)
    memory = tmp_path / "cache" / "other.json"
    memory.parent.mkdir()
    memory.write_text(damage.replace("@", str(machine / "good.ttf")), encoding="utf-8")
    assert other_fonts.files_with("夜", memory)[0][0].name == "good.ttf"


@pytest.mark.parametrize("text", ["Ελληνικά", "По-русски", "Łódź", "Clarinet in B♭", "F♯ G♮"])
def test_these_letters_need_no_other_font(text: str, machine: Path) -> None:
    """Greek and Cyrillic are in the text face, flat, natural and sharp in the music font (SMuFL
    E260-E262)."""
    assert fonts.lacking(text) == ""
    assert {piece.font for piece in fonts.pieces(text)} <= {fonts.TEXT, fonts.MUSIC}


def test_the_fonts_of_this_machine_are_found() -> None:
    letter = "日"
    if fonts.lacking(letter):
        pytest.skip(
            "no font with Chinese characters is installed here (Debian: fonts-droid-fallback)"
        )
    (piece,) = fonts.pieces(letter)
    assert piece.font not in (fonts.TEXT, fonts.MUSIC)
    assert fonts.width(letter, fonts.TEXT, 10) > 5


def test_remarks_are_said_once() -> None:
    remarks = [
        not_printed("Organ", "figured bass", 14, "3"),
        not_printed("Harp", "figured bass", 1, "5"),
        not_printed("Harp", "harp pedals", 2, "1"),
        not_printed("Harp", "playback", 3, "1", for_player=False),
    ]
    assert said_once(remarks) == [
        "not printed: figured bass - Organ (14 places, first in bar 3), Harp (bar 5)",
        "not printed: harp pedals - Harp (2 places, first in bar 1)",
        "not printed: playback - Harp (3 places, first in bar 1)",
    ]
    assert (
        at_the_foot(remarks[1:])
        == "not printed: figured bass (bar 5), harp pedals (2 places, first in bar 1)"
    )
    assert at_the_foot(remarks[3:]) == ""


def test_what_is_not_printed_is_said_on_screen_in_the_report_the_workbook_and_on_the_sheet(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from openpyxl import load_workbook

    from sectionprep.cli import app

    bend = "<notations><technical><bend><bend-alter>1</bend-alter></bend></technical></notations>"
    xml = part_xml(_TUNE).replace("</type></note>", f"</type>{bend}</note>", 3)
    chart = tmp_path / "chart.musicxml"
    chart.write_bytes(score_xml({"Guitar": xml, "Alto Sax": part_xml(_TUNE)}))
    app(["prepare", str(chart)], standalone_mode=False)
    line = "not printed: bends - Guitar (3 places, first in bar 1)"
    assert capsys.readouterr().out.count(line) == 1
    folder = tmp_path / "chart_prepared"
    assert (folder / "chart_agreement.txt").read_text(encoding="utf-8").count(line) == 1
    book = load_workbook(folder / "chart_rehearsal.xlsx")
    assert book.sheetnames[0] == "Start here"
    assert [c.value for row in book["Start here"] for c in row].count(line) == 1
    import pypdfium2

    pdf = pypdfium2.PdfDocument((folder / "parts" / "01_Guitar.pdf").read_bytes())
    assert "not printed: bends" in pdf[0].get_textpage().get_text_range()
    pdf.close()


def test_drawing_with_the_pool_says_the_same(tmp_path: Path) -> None:
    bend = "<notations><technical><bend><bend-alter>1</bend-alter></bend></technical></notations>"
    d = parse_document(
        Path("x.musicxml"),
        score_xml(
            {"Guitar": part_xml(_TUNE).replace("</type></note>", f"</type>{bend}</note>", 1)}
        ),
    )
    (report,) = draw_all(part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle()))
    assert report.remarks == (not_printed("Guitar", "bends", 1, "1"),)


def test_a_title_of_megabytes_is_cut_at_once() -> None:
    """It was cut letter by letter, each time measured whole: minutes for a title of 300 kB."""
    room = 200.0
    cut = fonts.fitted("\u0416" * 1_000_000, fonts.TEXT, 9, room)
    assert cut.endswith("\u2026")
    assert fonts.width(cut, fonts.TEXT, 9) <= room
    assert fonts.width(cut[:-1] + "\u0416\u2026", fonts.TEXT, 9) > room
    assert fonts.fitted("Trumpet 1", fonts.TEXT, 9, room) == "Trumpet 1"


def test_a_damaged_store_of_fonts_is_made_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It stopped every run until somebody deleted it."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    whole = fonts._ttf.__wrapped__("Leipzig.css", 1)
    (kept,) = tmp_path.rglob("*.ttf")
    good = kept.read_bytes()
    for bad in (b"", b"broken", good[:-1000], good[:5000] + b"x" + good[5001:]):
        kept.write_bytes(bad)
        (font,) = fonts._ttf.__wrapped__("Leipzig.css", 1)
        assert len(font) == len(whole[0])  # it says when it was unpacked
        assert kept.read_bytes() == font + fonts._seal(font)
