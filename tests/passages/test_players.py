"""Two players on one staff: the second is followed where he goes his own way."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from build import part_xml, score_xml, shared_staff, transposed
from charts import plant_chart
from charts.shared import TRAIT
from passage_scores import compare

from sectionprep import stages
from sectionprep.checks import run_checks
from sectionprep.music.chart import SECOND
from sectionprep.musicxml.document import open_document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.reports.agreement import passages_json
from sectionprep.passages import find_passages
from sectionprep.passages.guests import say_guests
from sectionprep.phrasing.plan_file import write_plan
from sectionprep.results import Options, Score

TUNE = "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8 E5/8 E5/4 D5/8 C5/8 B4/4 r/4 "
TUNE += "r/8 G5/8 A5/8 C6/8 A5/4 r/8 C6/8 r/2 r/8 D5/8 F5/4"
OTHER = "C6/4 r/4 G5/2 A5/4. B5/8 r/2 G5/2. r/4 E5/4 r/4 G5/2 A5/4. B5/8 r/2"
LOW = transposed(TUNE, -12)
NAME = "Trumpet 1 & 2"


def _score(tmp_path: Path, first: str, second: str, third: str) -> Score:
    parts = {NAME: shared_staff(first, second), "Trumpet 3": part_xml(third)}
    path = tmp_path / "a.musicxml"
    path.write_bytes(score_xml(parts))
    return stages.read_score(path, Options())


def test_the_second_player_is_followed_where_he_goes_his_own_way(tmp_path: Path) -> None:
    """A passage of the lower stems and another part, while the upper stems play something else."""
    score = _score(tmp_path, OTHER, LOW, LOW)
    (passage,) = score.together.passages
    assert (passage.texture, passage.parts, passage.seconds) == ("unison", (0, 1), {0})
    assert passage.scope == "Trumpet 2 + Trumpet 3"
    said = passages_json(score.chart, score.together)["passages"][0]
    assert said["second_players"] == [NAME]
    assert all(group.parts == (0, 1) for (group,) in score.together.bars)


def test_each_of_two_players_may_have_a_passage_of_his_own(tmp_path: Path) -> None:
    parts = {
        NAME: shared_staff(OTHER, LOW),
        "Trumpet 3": part_xml(LOW),
        "Alto 1": part_xml(transposed(OTHER, -3)),
    }
    chart = read_chart(parse_document(tmp_path / "x", score_xml(parts)))
    found = find_passages(chart).passages
    assert {(p.parts, tuple(p.seconds)) for p in found} == {((0, 1), (0,)), ((0, 2), ())}


def test_the_first_player_alone_is_named_alone(tmp_path: Path) -> None:
    """While the second plays something else, "Trumpet 1 & 2" in a passage is Trumpet 1, and with
    Trumpet 3 they are not all trumpets."""
    (passage,) = _score(tmp_path, TUNE, transposed(OTHER, -12), TUNE).together.passages
    assert (passage.parts, passage.seconds) == ((0, 1), frozenset())
    assert passage.scope == "Trumpet 1 + Trumpet 3"
    (both,) = _score(tmp_path, TUNE, transposed(TUNE, -4), TUNE).together.passages
    assert both.scope == "trumpets"


def test_who_goes_with_the_first_is_no_player_of_his_own(tmp_path: Path) -> None:
    (passage,) = _score(tmp_path, TUNE, transposed(TUNE, -4), LOW).together.passages
    assert passage.seconds == frozenset()


def test_where_both_are_on_one_stem_he_has_the_lower_notes(tmp_path: Path) -> None:
    """Bar 3 is written in chords, the others on two stems: his passage goes through it, and its
    marks stand once on each chord."""
    first = "C6/4 r/4 G5/2 A5/4. B5/8 r/2 G4/4 F4/8 E4/8 D4/4 r/4 G5/2 A5/4. B5/8 r/4 E5/4 G5/2"
    accented = LOW.replace("E4/4 D4/8 C4/8 B3/4", "E4/4> D4/8 C4/8 B3/4!")
    parts = {
        NAME: shared_staff(first, LOW, chords={2}),
        "Trumpet 3": part_xml(accented),
        "Trumpet 4": part_xml(accented),
    }
    path = tmp_path / "a.musicxml"
    path.write_bytes(score_xml(parts))
    score = stages.read_score(path, Options())
    (passage,) = score.together.passages
    assert (passage.parts, passage.seconds, passage.deviations) == ((0, 1, 2), {0}, ())
    marked = stages.mark_score(score, Options())
    bar = marked.again.chart.bars[2]
    chords, alone = (
        [n for n in marked.again.chart.parts[part].notes if n.bar == bar.index and n.marks]
        for part in (0, 1)
    )
    assert [(n.onset, n.marks) for n in chords] == [(n.onset, n.marks) for n in alone]
    assert len(chords) >= 2
    again = stages.mark_score(marked.again, Options()).marking
    assert [c for c in again.changes if c.applied] == []
    assert not [f for f in marked.after if f.check in ("articulation", "second-player")]


def test_a_guest_on_the_lower_stems_is_told_and_marked(tmp_path: Path) -> None:
    """Four saxes for eighteen bars; the second trumpet doubles the lead for five of them, while the
    first has notes of his own. Nothing is written on the upper stems, and a second run inserts
    nothing."""
    tune = "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 G5/4> E5/4! r/8 D5/8 F5/8 E5/8^ "
    tune += "E5/4 D5/8 C5/8 B4/4 r/4 "
    plain = re.sub("[>^!]", "", tune)
    names = ("Alto 1", "Alto 2", "Tenor 1", "Tenor 2")
    saxes = {name: part_xml(transposed(tune * 6, -n)) for n, name in enumerate(names)}
    joins = f"E5/4 D5/8 C5/8 B4/4 r/4 {plain} r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8"
    first = "C6/4 r/4 G5/2 A5/4. B5/8 r/2 G5/2. r/4 " * 6
    staff = shared_staff(first, f"{'r/1 ' * 5}{joins}{' r/1' * 8}")
    path = tmp_path / "a.musicxml"
    path.write_bytes(score_xml({**saxes, NAME: staff}))
    score = stages.read_score(path, Options())
    (passage,) = score.together.passages
    assert passage.parts == (0, 1, 2, 3)
    (guest,) = passage.guests
    assert (guest.part, guest.second, guest.texture) == (4, True, "unison")
    assert f"{NAME} {SECOND} (unison, bar 6 to bar 10)" in say_guests(score.chart, passage)
    told = passages_json(score.chart, score.together)["passages"][0]["guests"]
    assert [(g["part"], g["second_player"]) for g in told] == [(NAME, True)]
    lacking = [f.check for f in run_checks(score.chart, score.together) if f.part == 4]
    assert lacking == ["marks-missing"]
    marked = stages.mark_score(score, Options())
    notes = [n for n in marked.again.chart.parts[4].notes if n.marks]
    assert {n.voice for n in notes} == {"2"}
    lead = {n.onset: n.marks for n in marked.again.chart.parts[0].notes}
    assert len(notes) >= 3
    assert all(n.marks == lead[n.onset] for n in notes)
    again = stages.mark_score(marked.again, Options()).marking
    assert [c for c in again.changes if c.applied] == []
    assert len(marked.after) < len(marked.before)


def test_bars_in_which_only_he_plays_are_his(tmp_path: Path) -> None:
    """The file has one voice there, and it is the voice that was his in the bars before."""
    rests = "C6/4 r/4 G5/2 A5/4. B5/8 r/2 r/1 r/1 A5/4. B5/8 r/2"
    score = _score(tmp_path, rests, LOW, LOW)
    (passage,) = score.together.passages
    assert (passage.parts, passage.seconds) == ((0, 1), {0})
    assert score.chart.place(passage.end).bar == "5"


def test_his_stems_get_the_marks_and_the_first_ones_none(tmp_path: Path) -> None:
    score = _score(tmp_path, OTHER, LOW, LOW.replace("C5/4 A4/8", "C5/4^ A4/8"))
    marked = stages.mark_score(score, Options())
    again = marked.again.chart
    upper = [n.marks for n in again.parts[0].notes if n.voice == "1" and n.marks]
    lower = {n.onset: n.marks for n in again.parts[0].notes if n.voice == "2"}
    third = {n.onset: n.marks for n in again.parts[1].notes}
    assert upper == []
    assert len([marks for marks in lower.values() if marks]) >= 3
    assert lower == third
    assert not [f for f in marked.after if f.check == "articulation"]
    assert [
        c for c in stages.mark_score(marked.again, Options()).marking.changes if c.applied
    ] == []


def test_what_is_missing_on_his_stems_is_found(tmp_path: Path) -> None:
    """And it is said that his stems are meant."""
    accented = LOW.replace("C5/4 A4/8", "C5/4^ A4/8").replace("G4/4", "G4/4>")
    score = _score(tmp_path, OTHER, LOW, accented)
    found = [f for f in run_checks(score.chart, score.together) if f.passage]
    assert any(SECOND in f.message + f.fix for f in found), found


def test_an_unedited_plan_file_changes_nothing(tmp_path: Path) -> None:
    """The lines of both players stand in it, and each is found again."""
    parts = {
        NAME: shared_staff(OTHER, LOW),
        "Trumpet 3": part_xml(LOW),
        "Alto 1": part_xml(transposed(OTHER, -3)),
    }
    path = tmp_path / "a.musicxml"
    path.write_bytes(score_xml(parts))
    score = stages.read_score(path, Options())
    marked = stages.mark_score(score, Options()).marking
    assert [c.part for c in marked.changes if c.kind == "dynamic"] == [0, 1, 2]  # one for the staff
    plan, _ = stages.plan_score(score, Options())
    text = write_plan(score.chart, plan)
    assert f'lead = "{NAME} {SECOND}"' in text
    file = tmp_path / "plan.toml"
    file.write_text(text)
    settled, unfit = stages.plan_score(score, Options(plan=file))
    assert unfit == ()
    kept = {p.id: [n.marks for n in p.notes] for p in settled.passages}
    assert kept == {p.id: [n.marks for n in p.notes] for p in plan.passages}


def test_a_passage_of_shared_staves_ends_where_the_second_players_do(tmp_path: Path) -> None:
    """Both first players go on for two notes; their seconds have other notes there."""
    more, other = "D5/4 r/4 F5/4 r/4 ", "r/4 A4/2 r/8 B4/8 "
    line = TUNE + " r/4 "
    parts = {
        NAME: shared_staff(line + more, transposed(line, -4) + other),
        "Trumpet 3 & 4": shared_staff(transposed(line + more, -7), transposed(line, -9) + other),
    }
    chart = read_chart(parse_document(tmp_path / "x", score_xml(parts)))
    passage = max(find_passages(chart).passages, key=lambda p: len(p.attacks))
    assert passage.parts == (0, 1)
    assert chart.end_place(passage.end).bar == "5"


@pytest.mark.parametrize("seed", [301, 302])
def test_planted_passages_of_second_players(seed: int) -> None:
    """`python tests/measure_passages.py --kind shared` measures many."""
    data, truth = plant_chart(seed, kind="shared")
    chart = read_chart(parse_document(Path("x"), data))
    result = compare(truth, passages_json(chart, find_passages(chart))["passages"])
    his = [pair.found is not None for pair in result.pairs if TRAIT in pair.planted.traits]
    assert len(his) >= 2
    assert all(his)


def test_the_second_oboe_of_a_real_score() -> None:
    """J. S. Bach, Christmas Oratorio 23 (music21 corpus, bwv248.23-2): two oboi d'amore on one
    staff. In bar 3 the first goes with the flutes, an octave below, and the second with the oboe
    da caccia; in bar 10 the second has the flutes' line. Bars by our own reading of the score."""
    import music21

    path = Path(music21.__file__).parent / "corpus" / "bach" / "bwv248.23-2.mxl"
    chart = read_chart(open_document(path))
    names = chart.labels
    his = [
        (p.texture, chart.place(p.start).bar, tuple(names[n] for n in p.parts))
        for p in find_passages(chart).passages
        if p.seconds
    ]
    assert ("soli", "3", ("Oboe d'amore", "Oboe da caccia")) in his
    assert ("octaves", "10", ("Flutes", "Oboe d'amore")) in his
