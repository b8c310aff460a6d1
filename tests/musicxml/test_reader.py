"""The reader on cases whose right answer stands in the test."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from build import chart, document, part_xml, score_xml

from sectionprep import stages
from sectionprep.errors import NotAScore, SectionprepError, UnreadableFile
from sectionprep.music.notes import Note
from sectionprep.musicxml.document import open_document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.results import Options


def test_ties_are_one_tone_over_the_bar_line() -> None:
    c = chart({"Alto Sax 1": "C5/4 D5/4 E5/2~ E5/4 F5/4 r/2"})
    assert [(t.pitch, c.quarters(t.duration)) for t in c.lines[0]] == [
        (72, 1),
        (74, 1),
        (76, 3),
        (77, 1),
    ]


def test_pickup_bar_is_as_long_as_its_notes() -> None:
    c = chart({"Alto Sax 1": "C5/4 D5/1"}, pickup=1)
    assert [c.quarters(b.length) for b in c.bars] == [1, 4]
    assert c.place(c.lines[0][1].onset).bar == "1"


def test_sounding_pitch_uses_the_transposition() -> None:
    c = read_chart(
        parse_document(Path("x"), score_xml({"Alto Sax 1": part_xml("C5/1", transpose=(-5, -9))}))
    )
    assert c.lines[0][0].pitch == 63


def test_transposition_may_change_within_a_part() -> None:
    change = (
        "<attributes><transpose><diatonic>0</diatonic><chromatic>0</chromatic>"
        "</transpose></attributes>"
    )
    xml = part_xml("C5/2 C5/2", transpose=(-5, -9), signs={1: change})
    c = read_chart(parse_document(Path("x"), score_xml({"Alto Sax 1 (Flute)": xml})))
    assert [t.pitch for t in c.lines[0]] == [63, 72]


def test_grace_and_cue_notes_are_not_the_line() -> None:
    grace = "<note><grace/><pitch><step>B</step><octave>4</octave></pitch><voice>1</voice></note>"
    cue = (
        "<note><cue/><pitch><step>B</step><octave>4</octave></pitch><duration>0"
        "</duration><voice>1</voice></note>"
    )
    c = read_chart(
        parse_document(Path("x"), score_xml({"A": part_xml("C5/2 D5/2", signs={0: grace, 1: cue})}))
    )
    assert [t.pitch for t in c.lines[0]] == [72, 74]
    assert len(c.parts[0].notes) == 4


def test_of_a_chord_the_top_is_the_line() -> None:
    chord = (
        "<note><chord/><pitch><step>G</step><octave>5</octave></pitch>"
        "<duration>48</duration><voice>1</voice></note>"
    )
    c = read_chart(
        parse_document(Path("x"), score_xml({"A": part_xml("C5/2 D5/2", signs={1: chord})}))
    )
    assert c.lines[0][0].pitches == (79, 72)
    assert c.lines[0][0].pitch == 79


def test_every_note_knows_its_place_in_the_document() -> None:
    d = document({"A": "C5/4 D5/4 E5/2", "B": "r/2 G4/2"})
    c = read_chart(d)
    for part in c.parts:
        for note in part.notes:
            text = d.text(d.notes[note.address])
            assert text.startswith("<note")
            assert text.endswith("</note>")
            assert ("<rest" in text) == note.is_rest
            if note.pitch:
                assert f"<step>{note.pitch.step}</step>" in text


def test_timewise_reads_as_partwise() -> None:
    partwise = score_xml({"A": part_xml("C5/1 D5/1"), "B": part_xml("E4/1 F4/1")})
    timewise = (
        b'<score-timewise version="4.0"><part-list><score-part '
        b'id="P1"><part-name>A</part-name></score-part>'
        b'<score-part id="P2"><part-name>B</part-name></score-part></part-list>'
        + b"".join(
            b'<measure number="%d">' % n
            + b"".join(
                b'<part id="P%d">' % k + _measure(part_xml(text), n) + b"</part>"
                for k, text in ((1, "C5/1 D5/1"), (2, "E4/1 F4/1"))
            )
            + b"</measure>"
            for n in (1, 2)
        )
        + b"</score-timewise>"
    )
    a, b = (read_chart(parse_document(Path("x"), data)) for data in (partwise, timewise))
    assert [[t.pitch for t in line] for line in a.lines] == [
        [t.pitch for t in line] for line in b.lines
    ]
    assert [bar.number for bar in b.bars] == ["1", "2"]


def _measure(xml: str, number: int) -> bytes:
    import re

    found = re.findall(r'<measure number="\d+">(.*?)</measure>', xml)
    return str(found[number - 1]).encode()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "iso-8859-1"])
def test_encodings(encoding: str) -> None:
    declared = {"utf-8-sig": "UTF-8", "utf-16": "UTF-16"}.get(encoding, encoding)
    text = (
        score_xml({"Caf\u00e9 Sax": part_xml("C5/4 D5/4 E5/2")})
        .decode()
        .replace('encoding="UTF-8"', f'encoding="{declared}"')
    )
    d = parse_document(Path("x"), text.encode(encoding))
    assert read_chart(d).parts[0].name == "Caf\u00e9 Sax"
    assert d.text(d.notes[0]).startswith("<note>")


LETTERS = {"Caf\u00e9 Sax": part_xml("C5/4> D5/4 E5/2"), "Fl\u00f6te": part_xml("C5/4 D5/4 E5/2")}


@pytest.mark.parametrize("comment", ["", "<!-- walked by expat -->"])
def test_latin_1_that_calls_itself_utf_8_is_read_and_said(tmp_path: Path, comment: str) -> None:
    path = tmp_path / "x.musicxml"
    path.write_bytes(
        score_xml(LETTERS)
        .replace(b"<part-list>", f"{comment}<part-list>".encode())
        .decode()
        .encode("latin-1")
    )
    score = stages.read_score(path, Options())
    assert score.chart.labels == ("Caf\u00e9 Sax", "Fl\u00f6te")
    assert ["Latin-1" in remark.what and "line 2" in remark.what for remark in score.chart.remarks][
        :1
    ] == [True]
    assert score.document.text(score.document.notes[-1]).endswith("</note>")
    marked = stages.mark_score(score, Options())
    assert marked.again.chart.labels == score.chart.labels
    written = stages.write_marked(marked, tmp_path / "m.musicxml")[0]
    assert "Caf\u00e9 Sax".encode("latin-1") in written.read_bytes()


def test_bytes_that_are_neither_are_refused_with_their_line(tmp_path: Path) -> None:
    data = score_xml(LETTERS).replace("Fl\u00f6te".encode(), b"\nFl\xf6te")
    with pytest.raises(UnreadableFile, match=r"byte 0xf6 on line 3 is not\. .*save it as UTF-8"):
        parse_document(Path("x"), data)


@pytest.mark.parametrize("before", [b"\n", b"\r\n \t\n"])
@pytest.mark.parametrize("comment", [b"", b"<!-- walked by expat -->"])
def test_a_blank_line_before_the_declaration_is_no_damage(
    tmp_path: Path, before: bytes, comment: bytes
) -> None:
    from sectionprep.outputs.reports.marked_score import undo

    plain = score_xml(LETTERS).replace(b"<part-list>", comment + b"<part-list>")
    path = tmp_path / "x.musicxml"
    path.write_bytes(before + plain)
    score = stages.read_score(path, Options())
    told = [remark for remark in score.chart.remarks if remark.where != "tempo"]
    assert told == [*read_chart(parse_document(path, plain)).remarks]
    for span in (*score.document.notes, *score.document.directions):
        assert score.document.text(span).startswith("<note>")
        assert score.document.text(span).endswith("</note>")
    written, record = stages.write_marked(
        stages.mark_score(score, Options()), tmp_path / "m.musicxml"
    )
    assert undo(written, record, ".musicxml") == before + plain


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("<step>D</step>", "<step>X</step>", "step 'X'"),
        ("<step>D</step>", "", "step ''"),
        ("<octave>5", "<octave>five", "octave 'five'"),
        ("<octave>5", "<octave>55", "octave 55"),
    ],
)
def test_a_bad_pitch_is_found_by_part_bar_and_line(old: str, new: str, says: str) -> None:
    data = score_xml(
        {"Alto Sax 1": part_xml("C4/1 C4/1"), "Tenor Sax 2": part_xml("C4/1\nC4/4 D5/4 E4/2")}
    ).decode()
    data = (
        data.replace("<measure", "\n<measure").replace("<pitch>", "\n<pitch>").replace(old, new, 1)
    )
    line = 1 + data[: data.index(new or "<octave>5")].count("\n")
    for before in (0, 2):
        with pytest.raises(NotAScore) as caught:
            read_chart(parse_document(Path("x.musicxml"), ("\n" * before + data).encode()))
        assert f"x.musicxml, part Tenor Sax 2, bar 2, line {line + before} of the file: " in str(
            caught.value
        )
        assert says in str(caught.value)


def test_a_bad_duration_is_found_by_part_and_bar() -> None:
    data = score_xml({"Alto Sax 1": part_xml("C4/1 C4/4 D4/4 E4/2")}).replace(
        b"<duration>48", b"<duration>x"
    )
    with pytest.raises(
        NotAScore, match=r"part Alto Sax 1, bar 2, line \d+ of the file: <duration> holds 'x'"
    ):
        read_chart(parse_document(Path("x.musicxml"), data))


@pytest.mark.parametrize(
    ("name", "data", "error"),
    [
        ("empty", b"", UnreadableFile),
        ("blank", b"  \n ", UnreadableFile),
        ("not XML", b"%PDF-1.4 something", NotAScore),
        ("truncated", score_xml({"A": part_xml("C5/1")})[:300], UnreadableFile),
        ("another XML", b"<html><body/></html>", NotAScore),
        ("no parts", b'<score-partwise version="4.0"><part-list/></score-partwise>', NotAScore),
        (
            "entity bomb",
            b'<!DOCTYPE s [<!ENTITY a "aaaa"><!ENTITY b '
            b'"&a;&a;">]><score-partwise>&b;</score-partwise>',
            NotAScore,
        ),
        (
            "external entity",
            b"<!DOCTYPE s [<!ENTITY a SYSTEM "
            b'"file:///etc/passwd">]><score-partwise>&a;</score-partwise>',
            NotAScore,
        ),
        ("zip that is none", b"PK\x03\x04 nonsense", UnreadableFile),
        (
            "zero divisions",
            score_xml({"A": part_xml("C5/1")}).replace(b"<divisions>24", b"<divisions>0"),
            NotAScore,
        ),
        (
            "negative length",
            score_xml({"A": part_xml("C5/1")}).replace(b"<duration>96", b"<duration>-96"),
            NotAScore,
        ),
        (
            "huge length",
            score_xml({"A": part_xml("C5/1")}).replace(
                b"<duration>96", b"<duration>99999999999999"
            ),
            NotAScore,
        ),
        ("no pitch", score_xml({"A": part_xml("C5/1")}).replace(b"<step>C", b"<step>X"), NotAScore),
    ],
)
def test_what_cannot_be_read_is_refused_with_a_remedy(
    tmp_path: Path, name: str, data: bytes, error: type[SectionprepError]
) -> None:
    path = tmp_path / "chart.musicxml"
    path.write_bytes(data)
    with pytest.raises(error) as caught:
        read_chart(open_document(path))
    assert str(path) in str(caught.value)
    assert caught.value.remedy
    assert "\n" not in str(caught.value)


def test_bars_of_unequal_count_are_repaired_and_said() -> None:
    c = chart({"A": "C5/1 D5/1 E5/1", "B": "C4/1 D4/1"})
    assert len(c.bars) == 3
    assert any("2 bars where others have 3" in r.what for r in c.remarks)


def test_positions_are_exact_under_any_mixture_of_divisions() -> None:
    a = part_xml("C5/8t D5/8t E5/8t F5/4 r/2")
    b = part_xml("C5/16 D5/16 E5/16 F5/16 G5/4 r/2").replace(
        "<divisions>24</divisions>", "<divisions>24</divisions>"
    )
    c = read_chart(parse_document(Path("x"), score_xml({"A": a, "B": b})))
    assert [c.quarters(t.onset) for t in c.lines[0]] == [0, Fraction(1, 3), Fraction(2, 3), 1]
    assert [c.quarters(t.onset) for t in c.lines[1]][:4] == [
        0,
        Fraction(1, 4),
        Fraction(1, 2),
        Fraction(3, 4),
    ]


def test_superfluous_rests_do_not_lengthen_a_bar() -> None:
    c = chart({"A": "C5/4 D5/4 E5/2 F5/1", "B": "C4/1 D4/1"})
    longer = part_xml("C5/4 D5/4 E5/2 F5/1").replace(
        "</measure>", "<note><rest/><duration>48</duration><voice>1</voice></note></measure>", 1
    )
    d = read_chart(parse_document(Path("x"), score_xml({"A": longer, "B": part_xml("C4/1 D4/1")})))
    assert [b.length for b in d.bars] == [b.length for b in c.bars]


def test_a_whole_rest_does_not_lengthen_a_pickup_that_others_play() -> None:
    a = part_xml("C5/4 D5/1", pickup=1)
    b = part_xml("r/4 D4/1", pickup=1).replace("<rest/><duration>24<", "<rest/><duration>96<")
    c = read_chart(parse_document(Path("x"), score_xml({"A": a, "B": b})))
    assert [c.quarters(bar.length) for bar in c.bars] == [1, 4]


def test_a_note_written_like_one_before_says_the_same() -> None:
    """To the byte alike, but for the place on the page in its own tag; what differs inside is read
    anew. Fields keep their order."""
    from sectionprep.musicxml.reading.notes import Written

    assert Written._fields[3:] == Note._fields[Note._fields.index("is_rest") :]
    note = (
        "<note default-x='{}'><pitch><step>{}</step><octave>4</octave></pitch>"
        "<duration>1</duration>{}</note>"
    )
    accent = "<notations><articulations><accent/></articulations></notations>"
    inside = (
        note.format(10, "C", "")
        + note.format(20, "C", accent)
        + note.format(30, "C", "")
        + note.format(40, "D", accent)
    )
    document = parse_document(
        Path("x"),
        (
            "<score-partwise><part-list><score-part "
            "id='P1'><part-name>x</part-name></score-part></part-list><part id='P1'><measure "
            "number='1'>"
            f"<attributes><divisions>1</divisions></attributes>{inside}</measure></part>"
            f"</score-partwise>"
        ).encode(),
    )
    notes = read_chart(document).parts[0].notes
    assert [(n.address, n.onset, str(n.pitch), sorted(n.marks)) for n in notes] == [
        (0, 0, "C4", []),
        (1, 1, "C4", ["accent"]),
        (2, 2, "C4", []),
        (3, 3, "D4", ["accent"]),
    ]
    bare = replace(document, notes=())  # where nobody knows the bytes of a note, each is looked at
    assert read_chart(bare).parts[0].notes == notes
