"""Bars of one kind are equally wide: what is laid out once must be what the engraver draws
everywhere else."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import document

from sectionprep.drawing.engraver import bar_widths as widths_module
from sectionprep.drawing.engraver.bar_widths import bar_widths
from sectionprep.drawing.engraver.mei import MeiPart
from sectionprep.drawing.engraver.toolkit import ENDLESS, common, quiet, toolkit
from sectionprep.drawing.scene.drawing import natural_widths
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.part_job import PartJob, SheetStyle
from sectionprep.outputs.parts.sheet import draw_part
from sectionprep.outputs.parts.sheets import Basis, part_jobs
from sectionprep.results import Marked


@pytest.fixture(autouse=True)
def _nothing_known(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(widths_module, "_known", {})


def _in_place(xml: bytes, staff: float) -> tuple[str, list[str], dict[str, float], float]:
    """A part in the engraver's notation, the names of its single bars, and how wide each is drawn
    where it stands."""
    drawer = toolkit()
    with quiet():
        drawer.resetOptions()
        drawer.setOptions(common(staff) | ENDLESS | {"xmlIdSeed": 1})
        assert drawer.loadData(xml.decode())
        text = drawer.getMEI()
        widths, head = natural_widths(str(drawer.renderToSVG(1)))
    return text, [bar.id for bar in MeiPart(text).bars if bar.bars == 1], widths, head


def _compare(doc: Document, staff: float = 7.5) -> tuple[int, int]:
    """Every bar of every part, laid out by kinds and in place: how many bars, and how many were
    laid out."""
    bars = laid_out = 0

    def draw(excerpt: str) -> str:
        nonlocal laid_out
        laid_out += excerpt.count("<measure")
        drawer = toolkit()
        with quiet():
            assert drawer.loadData(excerpt)
            return str(drawer.renderToSVG(1))

    for job in part_jobs(Basis(document=doc, chart=read_chart(doc)), Path(), SheetStyle()):
        text, names, widths, head = _in_place(job.xml, staff)
        ours, our_head = bar_widths(text, staff, names, draw)
        assert our_head == pytest.approx(head, abs=1)
        last = names[-1]  # drawn where it stands, words that run over its end make it wider
        for name in names[:-1] if len(names) > 1 else []:
            assert ours[name] == pytest.approx(widths[name], abs=1), (job.name, names.index(name))
        assert last in ours
        bars += len(names)
    return bars, laid_out


def test_every_bar_of_the_demo_is_as_wide_as_its_kind_and_each_kind_is_laid_out_once(
    demo_marked: Marked,
) -> None:
    bars, laid_out = _compare(demo_marked.again.document)
    assert laid_out < bars / 2


def test_what_is_printed_does_not_hang_on_which_part_was_drawn_first(
    demo_marked: Marked, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Parts are drawn by several processes in whatever order; each learns kinds of bars from the
    parts it happens to draw."""
    again = demo_marked.again
    jobs = list(
        part_jobs(
            Basis.of_score(again),
            tmp_path,
            SheetStyle(),
            footer="x",
        )
    )[:8]

    def drawn(some: list[PartJob], *, forget: bool) -> dict[str, bytes]:
        monkeypatch.setattr(widths_module, "_known", {})
        pages = {}
        for job in some:
            if forget:
                monkeypatch.setattr(widths_module, "_known", {})
            assert not draw_part(job).failed
            pages[job.name] = job.out.read_bytes()
        return pages

    alone = drawn(jobs, forget=True)
    assert drawn(jobs, forget=False) == alone
    assert drawn(jobs[::-1], forget=False) == alone


def test_the_size_of_the_staff_is_part_of_the_kind(demo_marked: Marked) -> None:
    doc = document({"Alto Sax 1": "C5/4 D5/4 E5/4 F5/4 r/8 C5/8 r/8 D5/8 E5/2"})
    _compare(doc)
    _compare(doc, 9.0)


@pytest.mark.parametrize(
    "tune",
    [
        # a flag beside an upward stem takes room, beside a downward one it does not
        "C5/8 r/4. C5/8 r/4. B4/8 r/4. A4/8 r/4.",
        "A4/8 r/4 A4/8 A4/4 r/4 A4/8 r/4 B4/8 A4/4 r/4 A4/8 r/4 B4/8 B4/4 r/4",
        "C5/4 C5/4 C5/4 C5/4 C#5/4 C5/4 C#5/4 C5/4 C5/4 C5/4 C5/4 C5/4 Eb5/4 C5/4 E5/4 C5/4",
        "C4/16 r/16 C4/8 C4/4 C4/2 C6/16 r/16 C6/8 C6/4 C6/2 C5/1",
        "E5/8 F5/8t G5/8t A5/8t B5/4 r/4 E4/8 F4/8t G4/8t A4/8t B4/4 r/4",
    ],
)
def test_stems_flags_accidentals_and_short_notes_in_all_heights(tune: str) -> None:
    _compare(document({"Alto Sax 1": tune, "Tenor Sax 1": tune, "Trombone 1": tune}))


_QUARTER = (
    "<note><pitch><step>B</step><octave>4</octave></pitch><duration>2"
    "</duration><type>quarter</type></note>"
)


@pytest.mark.parametrize(
    "sign",
    [
        "<direction><direction-type><dynamics><p/></dynamics></direction-type><offset>3"
        "</offset></direction>",
        "<direction><direction-type><wedge type='crescendo'/></direction-type></direction>"
        "<direction><direction-type><wedge "
        "type='stop'/></direction-type><offset>3</offset></direction>",
    ],
)
def test_a_sign_after_the_notes_of_a_short_bar_wants_room(sign: str) -> None:
    """Bars of two quarters in four-four alike; in one of them a sign stands on a beat that none of
    them has."""
    full, short = 4 * _QUARTER, 2 * _QUARTER
    _compare(_partwise(full, short, full, short + sign, short, full, divisions=2))


@pytest.mark.parametrize("fifths", [-4, 3, 0])
def test_a_new_key_widens_its_own_bar_alone(fifths: int) -> None:
    key = f"<attributes><key><fifths>{fifths}</fifths></key></attributes>"
    bar = 4 * _QUARTER
    _compare(
        _partwise(
            bar, bar, key + bar, bar, key.replace(str(fifths), "1") + bar, bar, bar, divisions=2
        )
    )


def test_flags_are_told_apart_in_every_clef() -> None:
    """Two staves, and a clef that changes: the same heights, other stems."""
    tune = "C4/8 r/4. B3/8 r/4. A4/8 r/4. E3/8 r/4. C4/8 r/4. B3/8 r/4. A4/8 r/4. E3/8 r/4."
    bass = tune.replace("A4", "A2")
    _compare(document({"Trombone 1": tune, "Alto Sax 1": tune, "Bass Trombone": bass}))
    note = (
        "<note><pitch><step>{}</step><octave>4</octave></pitch><duration>1"
        "</duration><type>eighth</type></note>"
    )
    rest = "<note><rest/><duration>1</duration><type>eighth</type></note>"
    bar = "".join(note.format(step) + rest for step in "CBCB")
    clef = "<attributes><clef><sign>F</sign><line>4</line></clef></attributes>"
    _compare(_partwise(bar, bar, bar, clef + bar, bar, bar, bar, divisions=2))


def _partwise(*bars: str, divisions: int) -> Document:
    start = (
        f"<attributes><divisions>{divisions}</divisions><key><fifths>0</fifths></key><time>"
        f"<beats>4</beats><beat-type>4</beat-type>"
        "</time><clef><sign>G</sign><line>2</line></clef></attributes>"
    )
    body = "".join(
        f"<measure number='{n}'>{start if n == 1 else ''}{bar}</measure>"
        for n, bar in enumerate(bars, start=1)
    )
    return parse_document(
        Path("x"),
        (
            "<score-partwise version='4.0'><part-list><score-part id='P1'><part-name>Alto Sax "
            "1</part-name></score-part></part-list>"
            f"<part id='P1'>{body}</part></score-partwise>"
        ).encode(),
    )


def _with(xml: str) -> Document:
    """Bars of quarters alike, with something put into the third."""
    bar = 4 * _QUARTER
    return _partwise(bar, bar, 2 * _QUARTER + xml + 2 * _QUARTER, bar, bar, bar, divisions=2)


@pytest.mark.parametrize(
    "xml",
    [
        "<direction><direction-type><wedge "
        "type='crescendo'/></direction-type><offset>1</offset></direction>",
        "<direction><direction-type><dynamics><ff/></dynamics></direction-type><offset>1"
        "</offset></direction>",
        "<attributes><key><fifths>-4</fifths></key></attributes>",
        "<attributes><clef><sign>F</sign><line>4</line></clef></attributes>",
        "<barline location='right'><repeat direction='backward'/></barline>",
        "<direction placement='above'><direction-type><words>a long word over this "
        "bar</words></direction-type></direction>",
        "<harmony><root><root-step>B</root-step><root-alter>-1</root-alter></root>"
        "<kind>dominant-13th</kind></harmony>",
    ],
)
def test_what_stands_between_the_notes_is_seen(xml: str) -> None:
    """A dynamic between two notes, a key, a clef, a bar line, a chord symbol: each in one bar of
    many that are alike else."""
    _compare(_with(xml))


def test_long_parts_with_changing_clefs_are_laid_out_in_pieces(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What a bar is like hangs on the clef and the key that hold there, also where they were
    changed in a piece before."""
    lines = [
        "C5/8 r/8 E5/4 F5/8 r/8 A5/4 ",
        "C4/8 r/8 E3/4 F4/8 r/8 A3/4 ",
        "B4/4 r/8 B5/8 C6/2 ",
    ]
    text = document({"Piano": "".join(lines[n * n % 3] for n in range(30))}).data.decode()
    clef = "<attributes><clef><sign>F</sign><line>4</line></clef></attributes>"
    key = "<attributes><key><fifths>-4</fifths></key></attributes>"
    bars = text.split("<measure ")
    for n, change in ((5, clef), (9, key), (14, clef.replace("F", "G").replace("4", "2"))):
        opening, rest = bars[n].split(">", 1)
        bars[n] = f"{opening}>{change}{rest}"
    xml = "<measure ".join(bars).encode()
    monkeypatch.setattr(widths_module, "_PIECE", 4)
    doc = parse_document(Path("x.musicxml"), xml)
    count, laid_out = _compare(doc)
    assert count == 30
    assert laid_out > 35  # pieces overlap: it was laid out in several


def test_bars_whose_staves_are_said_to_be_visible_are_measured() -> None:
    """`<staff-details print-object="yes">`: the engraver says so in the drawing, and a bar that is
    not measured there is taken to be of middling width, so that its line overflows."""
    text = document({"Piano": "C5/16 D5/16 E5/16 F5/16 G5/4 r/8 E5/8 C5/4 " * 6}).data.decode()
    shown = '<attributes><staff-details print-object="yes"/></attributes>'
    bars = text.split("<measure ")
    for n in (2, 4):
        opening, rest = bars[n].split(">", 1)
        bars[n] = f"{opening}>{shown}{rest}"
    assert _compare(parse_document(Path("x.musicxml"), "<measure ".join(bars).encode()))[0] == 6
