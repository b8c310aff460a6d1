"""What a chart may come as: a folder of parts, other formats, a concert-pitch score, a roster; and
the road map."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml
from lxml import etree

from sectionprep import stages
from sectionprep.errors import BadArgument, NotAScore, UnusableSettings
from sectionprep.music.roadmap import playing_order, say_order
from sectionprep.music.roster import read_roster
from sectionprep.musicxml.copies.part import extract_part
from sectionprep.musicxml.copies.transposing import WrittenPart
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.results import Options, Score

TUNE = "r/8 D4/8 F4/8 A4/8> C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4"
BARE = TUNE.replace(">", "")


def test_a_folder_of_parts_is_one_chart_and_marks_go_back_into_each_file(tmp_path: Path) -> None:
    folder = tmp_path / "chart"
    folder.mkdir()
    originals = {}
    for name, text in (
        ("Bari Sax", BARE),
        ("Alto Sax 2", BARE),
        ("Alto Sax 1", TUNE),
        ("Trumpet 1", "C5/1 D5/1 E5/1"),
    ):
        data = score_xml({name: part_xml(text)})
        (folder / f"{name}.musicxml").write_bytes(data)
        originals[f"{name}.musicxml"] = data
    score = stages.read_score(folder, Options())
    assert score.chart.labels == ("Alto Sax 1", "Alto Sax 2", "Bari Sax", "Trumpet 1")
    marked = stages.mark_score(score, Options())
    written = [p for p in stages.write_marked(marked, tmp_path / "out") if p.suffix == ".musicxml"]
    assert {p.name for p in written} == set(originals)
    assert b"<accent" in (tmp_path / "out" / "Bari Sax.musicxml").read_bytes()
    assert (tmp_path / "out" / "Trumpet 1.musicxml").read_bytes() == originals["Trumpet 1.musicxml"]
    assert all((folder / name).read_bytes() == data for name, data in originals.items())
    assert [f.check for f in marked.after if f.check.startswith("marks")] == []


def test_a_folder_of_scores_is_refused(tmp_path: Path) -> None:
    for n in (1, 2):
        (tmp_path / f"{n}.musicxml").write_bytes(
            score_xml({"A": part_xml("C5/1"), "B": part_xml("C5/1")})
        )
    with pytest.raises(NotAScore, match="more than one part"):
        stages.read_score(tmp_path, Options())


def test_abc_is_converted_and_said_to_be(tmp_path: Path) -> None:
    path = tmp_path / "tune.abc"
    path.write_text("X:1\nT:Our own tune\nM:4/4\nL:1/8\nK:C\nCDEF GABc|c4 G4|\n")
    score = stages.read_score(path, Options())
    assert [t.pitch for t in score.chart.lines[0]] == [60, 62, 64, 65, 67, 69, 71, 72, 72, 67]
    assert "converted from ABC" in score.chart.remarks[0].what
    assert score.bundle.suffix == ".musicxml"


def _tunes(folder: Path, *heads: str) -> Path:
    path = folder / "tunes.abc"
    path.write_text(
        "%abc-2.1\n\n"
        + "\n".join(
            f"{head}\nM:4/4\nL:1/8\nK:C\n{'CDEF' if n else 'GABc'} G4|\n"
            for n, head in enumerate(heads)
        ),
        encoding="utf-8",
    )
    return path


def test_a_collection_in_abc_lists_its_tunes_and_gives_one(tmp_path: Path) -> None:
    path = _tunes(tmp_path, "X:1\nT:The first", "X:7\nT:The seventh\nT:called so", "X:9")
    with pytest.raises(
        BadArgument, match=r"holds 3 tunes: 1 The first; 7 The seventh; 9 \(no title\)\..*--tune 1"
    ):
        stages.read_score(path, Options())
    with pytest.raises(BadArgument, match=r"has no tune 2\. Its tunes: 1 The first"):
        stages.read_score(path, Options(tune=2))
    charts = [stages.read_score(path, Options(tune=n)).chart for n in (1, 7, 9)]
    assert [[t.pitch for t in c.lines[0]][:2] for c in charts] == [[67, 69], [60, 62], [60, 62]]
    assert [c.title for c in charts[:2]] == ["The first", "The seventh"]


def test_tunes_of_one_number_are_counted(tmp_path: Path) -> None:
    path = _tunes(tmp_path, "X:1\nT:A", "X:1\nT:B")
    assert stages.read_score(path, Options(tune=2)).chart.title == "B"


def test_a_single_tune_needs_no_number_and_other_files_have_none(tmp_path: Path) -> None:
    single = _tunes(tmp_path, "X:5\nT:Alone")
    assert stages.read_score(single, Options()).chart.title == "Alone"
    assert stages.read_score(single, Options(tune=5)).chart.title == "Alone"
    (tmp_path / "c.musicxml").write_bytes(score_xml({"A": part_xml("C5/1")}))
    for path in (tmp_path / "c.musicxml", tmp_path):
        with pytest.raises(BadArgument, match="no collection of tunes"):
            stages.read_score(path, Options(tune=1))


MEI = """<?xml version="1.0"?><mei xmlns="http://www.music-encoding.org/ns/mei"><meiHead/><music><body><mdiv><score>
<scoreDef meter.count="4" meter.unit="4"><staffGrp>
<staffDef n="1" lines="5" clef.shape="G" clef.line="2"/>
<staffDef n="2" lines="5" clef.shape="F" clef.line="4"/></staffGrp></scoreDef>
<section><measure n="1">
<staff n="1"><layer n="1"><note pname="c" oct="4" dur="1"/></layer></staff>
<staff n="2"><layer n="1"><note pname="c" oct="3" dur="1"/></layer></staff></measure>
</section></score></mdiv></body></music></mei>"""


@pytest.mark.filterwarnings("ignore::ResourceWarning")  # the library leaves its file open
def test_parts_without_names_are_numbered_whatever_they_came_in(tmp_path: Path) -> None:
    """The library that converts gives such parts ids of 32 letters and digits, an invented title
    and itself as composer."""
    import music21

    (tmp_path / "a.mei").write_text(MEI)
    (tmp_path / "a.abc").write_text("X:1\nM:4/4\nL:1/4\nK:C\nV:1\nCDEF|\nV:2\nGABc|\n")
    score = music21.stream.Score(
        [music21.stream.Part([music21.note.Note("C4", type="whole")]) for _ in range(2)]
    )
    score.write("midi", tmp_path / "a.mid")
    for path in sorted(tmp_path.iterdir()):
        chart = stages.read_score(path, Options()).chart
        assert (chart.labels, chart.title, chart.composer) == (("Part 1", "Part 2"), "a", ""), path


def test_humdrum_of_the_corpus_reads_like_its_other_encoding() -> None:
    """beethoven/opus18no1/movement1 stands in the corpus as .krn too; there the viola's wrong note
    is right."""
    import music21

    path = Path(music21.__file__).parent / "corpus" / "beethoven" / "opus18no1" / "movement1.krn"
    if not path.exists():
        pytest.fail("the corpus file has gone")
    score = stages.read_score(path, Options())
    first = score.together.passages[0]
    assert (first.texture, len(first.parts)) == ("octaves", 4)
    assert not [
        f
        for f in stages.check_score(score, Options())
        if f.check == "wrong-note" and score.chart.place(f.tick).bar == "11"
    ]


@pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning", "ignore::ResourceWarning"
)  # the library leaves its file open
def test_nonsense_in_another_format(tmp_path: Path) -> None:
    (tmp_path / "a.mid").write_bytes(b"nonsense")
    with pytest.raises(NotAScore, match="MIDI"):
        stages.read_score(tmp_path / "a.mid", Options())


def test_concert_scores_are_read_as_sounding_and_printed_transposed() -> None:
    data = score_xml(
        {
            "Alto Sax 1": part_xml("Eb4/1 F4/1", fifths=-3),
            "Trumpet 1": part_xml("Bb4/1 C5/1", fifths=-3),
        }
    )
    document = parse_document(Path("x"), data)
    chart = read_chart(document)
    assert chart.concert
    assert [t.pitch for t in chart.lines[0]] == [63, 65]
    alto = chart.parts[0].chair.instrument
    root = etree.fromstring(
        extract_part(document, "P1", written=WrittenPart(alto.transposition, alto.clef))
    )
    assert [
        (p.findtext("step"), p.findtext("alter"), p.findtext("octave")) for p in root.iter("pitch")
    ] == [("C", None, "5"), ("D", None, "5")]
    assert root.findtext(".//fifths") == "0"


def test_roster_settles_chairs_and_leads(tmp_path: Path) -> None:
    (tmp_path / "chart.musicxml").write_bytes(
        score_xml({"Reed 1": part_xml(TUNE), "Reed 2": part_xml(BARE)})
    )
    roster = tmp_path / "roster.toml"
    roster.write_text(
        '[[seat]]\npart = "Reed 1"\ninstrument = "alto-sax"\nnumber = 1\n[[seat]]\npart = '
        '"Reed 2"\n'
        'instrument = "tenor-sax"\n[[lead]]\nof = "bar 1"\npart = "Reed 2"\n'
    )
    plain = stages.read_score(tmp_path / "chart.musicxml", Options())
    assert any("not certain" in r.what for r in plain.chart.remarks)
    settled = stages.read_score(tmp_path / "chart.musicxml", Options(roster=roster))
    assert [p.chair.says for p in settled.chart.parts] == ["Alto 1", "Tenor 2"]
    assert settled.chart.parts[settled.together.passages[0].lead].name == "Reed 2"
    assert settled.together.passages[0].lead_why == "named by the director"


@pytest.mark.parametrize(
    "text",
    [
        "[[seat]]\nprat = 'x'",
        "[[seat]]\npart = 3",
        "[[seat]]\npart='a'\ninstrument='kazoo'",
        "[[lead]]\nof='saxes'",
        "[seat]\npart='a'",
        "[[x]]",
        "= =",
    ],
)
def test_a_roster_that_cannot_be_used_is_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "roster.toml").write_text(text)
    with pytest.raises(UnusableSettings) as caught:
        read_roster(tmp_path / "roster.toml")
    assert caught.value.remedy


def test_example_roster_is_valid() -> None:
    from sectionprep.settings import data_path

    assert read_roster(data_path("shared/roster_example.toml")).seats


def test_road_map_of_the_demo(demo_score: Score) -> None:
    """First and second ending, a repeated solo chorus, D.S. al Coda: read off the score by eye."""
    assert say_order(demo_score.chart) == "0-16, 9-14, 17-50, 35-82, 19-32, 83-94"


def test_road_map_without_signs_is_straight() -> None:
    chart = read_chart(parse_document(Path("x"), score_xml({"A": part_xml("C5/1 D5/1 E5/1")})))
    assert playing_order(chart) == (0, 1, 2)
