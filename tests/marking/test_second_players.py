"""Two players on one staff, each on stems of their own: both get the marks where they play
together. Common practice, no source."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import part_xml, score_xml, shared_staff, transposed

from sectionprep import stages
from sectionprep.checks import run_checks
from sectionprep.music.lines import lower_notes, second_players
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.editing.bundle import mark_bundle
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.results import Options, Score

TUNE = "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8 E5/8 E5/4 D5/8 C5/8 B4/4 r/4 "
TUNE += "r/8 G5/8 A5/8 C6/8 A5/4 r/8 C6/8 r/2 r/8 D5/8 F5/4"
#: as the tune, but the second player rests in the first bar and holds the last note on
SECOND = "r/1 E5/4 C5/4 r/8 B4/8 D5/8 C5/8 C5/4 B4/8 A4/8 G4/2 "
SECOND += "r/8 E5/8 F5/8 A5/8 F5/4 r/8 A5/8 r/2 r/8 B4/8 D5/4"


def _score(tmp_path: Path, first: str, second: str) -> Score:
    parts = {
        "Trumpet 1 & 2": shared_staff(first, second),
        "Trumpet 3": part_xml(transposed(TUNE, -5)),
        "Trumpet 4": part_xml(transposed(TUNE, -8)),
    }
    path = tmp_path / "a.musicxml"
    path.write_bytes(score_xml(parts))
    return stages.read_score(path, Options())


def test_who_plays_with_the_first_player_is_known(tmp_path: Path) -> None:
    score = _score(tmp_path, TUNE, SECOND)
    seconds = second_players(score.chart)
    assert list(seconds) == [0]
    quarter = score.chart.resolution
    assert [tick / quarter for tick in seconds[0]] == [
        4,
        5,
        6.5,
        7,
        7.5,
        8,
        9,
        9.5,
        12.5,
        13,
        13.5,
        14,
        15.5,
        18.5,
        19,
    ]


@pytest.mark.parametrize("own", ["", "!"])
def test_the_second_player_gets_the_marks_of_the_first(own: str, tmp_path: Path) -> None:
    """What he has printed stays; where he plays alone he gets nothing; a second run inserts
    nothing."""
    second = SECOND.replace("E5/4", f"E5/4{own}")
    marked = stages.mark_score(_score(tmp_path, TUNE, second), Options())
    chart = marked.again.chart
    notes = {(n.voice, n.onset): n for n in chart.parts[0].notes if not n.is_rest}
    together = second_players(chart)[0]
    had = {n.onset: n.marks for n in marked.score.chart.parts[0].notes if n.voice == "2"}
    given = [t for t in together if notes["1", t].marks]
    assert len(given) >= 3
    assert all(notes["1", t].marks <= notes["2", t].marks for t in given if not had[t])
    assert all(had[t] <= notes["2", t].marks for t in together)
    alone = [n for (voice, t), n in notes.items() if voice == "2" and t not in together]
    assert [n.marks for n in alone] == [frozenset()]
    assert not [f for f in marked.after if f.check == "second-player"]
    again = stages.mark_score(marked.again, Options())
    assert [c for c in again.marking.changes if c.applied] == []


def test_a_second_player_without_the_marks_of_the_first_is_found(tmp_path: Path) -> None:
    first = TUNE.replace("G5/4", "G5/4>").replace("B4/4", "B4/4>")
    score = _score(tmp_path, first, SECOND)
    (found,) = (f for f in run_checks(score.chart, score.together) if f.check == "second-player")
    assert (found.part, len(found.places)) == (0, 1)
    assert "lacks marks of the first on a note (accent)" in found.message


def test_marks_of_the_lower_player_stand_below(tmp_path: Path) -> None:
    """Two players on a staff: the upper one's marks above it, the lower one's below (common
    practice, no source; MusicXML 4.0, attribute `placement`)."""
    marked = stages.mark_score(_score(tmp_path, TUNE, SECOND), Options())
    edits = marked.marking.edits
    notes = {n.address: n for n in marked.score.chart.parts[0].notes}
    sides = {
        voice: {edit.below for address, edit in edits.items() if edit.add and address in notes
                and notes[address].voice == voice}
        for voice in ("1", "2")
    }  # fmt: skip
    assert sides == {"1": {False}, "2": {True}}
    (file,) = mark_bundle(marked.score.bundle, edits, ())
    below = [part for part in file.data.decode().split("<note") if 'placement="below"' in part]
    assert len(below) >= 3
    assert all("<voice>2</voice>" in note for note in below if "<articulations>" in note)
    assert 'placement="above"' not in "".join(n for n in below if "<articulations>" in n)


def test_where_he_plays_alone_nothing_says_below() -> None:
    """In the second bar the first rests, in the third both are on one stem."""
    staff = shared_staff("C6/2 G5/2 r/1 C6/1", "C5/2 E5/2 E5/2 D5/2 C5/1", chords={2})
    chart = read_chart(parse_document(Path("x"), score_xml({"Trumpet 1 & 2": staff})))
    below = lower_notes(chart)
    assert [n.sounding for n in chart.parts[0].notes if n.address in below] == [72, 76]


def test_a_second_player_with_a_passage_of_his_own_has_its_marks_alone(tmp_path: Path) -> None:
    """He would have marks that nobody has with whom he plays."""
    other = "r/1 r/8 E4/4 G4/8 A4/4 B4/8 A4/8 G4/2 E4/8 G4/8 A4/8 r/8 "
    other += "r/8 C5/4 B4/8 A4/4 G4/4 G4/4 A4/4 r/8 C5/4 A4/8"
    parts = {
        "Trumpet 1 & 2": shared_staff(TUNE, other),
        "Trumpet 3": part_xml(transposed(TUNE, -3)),
        "Tenor Sax": part_xml(other),
        "Trombone": part_xml(other),
    }
    path = tmp_path / "a.musicxml"
    path.write_bytes(score_xml(parts))
    marked = stages.mark_score(stages.read_score(path, Options()), Options())
    (spans,) = marked.score.together.apart.values()
    (start, end) = spans[0][0], spans[-1][1]
    chart = marked.again.chart
    first, second = (
        {n.onset: n.marks for n in chart.parts[0].notes if n.voice == voice and not n.is_rest}
        for voice in ("1", "2")
    )
    with_him = {n.onset: n.marks for n in chart.parts[3].notes if not n.is_rest}
    there = [t for t in first.keys() & second.keys() & with_him.keys() if start <= t < end]
    assert any(first[t] - second[t] for t in there)  # the first has some that he must not get
    assert all(second[t] == with_him[t] for t in there)
    assert not [f for f in marked.after if f.check in ("second-player", "marks-extra")]
