"""What a director asks for at any place: every part that plays there has it, once, whatever was
printed. Breaks when a part is left out, when a second run writes more, when a word is dropped in
silence, or when a decision about one thing moves another.
"""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from build import part_xml, score_xml

from sectionprep import one_output, stages
from sectionprep.errors import UnusableSettings
from sectionprep.music.hairpins import pins_of
from sectionprep.music.marks import SLURS
from sectionprep.outputs.workbook import read_typed, tables, to_decisions
from sectionprep.phrasing.director_words import decision_of
from sectionprep.phrasing.plan_file import read_plan, write_plan
from sectionprep.results import Marked, Options, Score

LINE = "C5/8 D5/8 E5/8 G5/8 A5/4 G5/4 r/8 E5/8 G5/8 A5/8 C6/4 A5/4 G5/8 E5/8 D5/8 C5/8 D5/2"
BARS = " ".join([LINE, LINE])
ALONE = "r/1 " * 5 + "C3/4 D3/4 E3/4 F3/4"


def _score(path: Path, signs: dict[int, str] | None = None) -> Path:
    parts = {
        "Alto Sax 1": part_xml(BARS, signs=signs),
        "Alto Sax 2": part_xml(BARS),
        "Bass": part_xml(ALONE),
    }
    path.write_bytes(score_xml(parts))
    return path


def _marked(path: Path, plan: str, **options: Any) -> Marked:
    file = path.with_suffix(".toml")
    file.write_text(plan, encoding="utf-8")
    asked = Options(plan=file, **options)
    return stages.mark_score(stages.read_score(path, asked), asked)


def _plan(*lines: str, lead: str = "Alto Sax 1", more: str = "") -> str:
    said = "".join(f'  "{line}",\n' for line in lines)
    return f'[[passage]]\nid = "P1"\nlead = "{lead}"\n{more}lines = [\n{said}]\n'


def _dynamics(marked: Marked, part: int) -> list[tuple[str, str]]:
    chart = marked.again.chart
    return [(str(chart.place(s.onset)), s.value) for s in chart.signs(part, "dynamic")]


def _dynamic(value: str) -> str:
    return (
        f"<direction><direction-type><dynamics><{value}/></dynamics></direction-type></direction>"
    )


def test_a_dynamic_goes_to_all_who_play_and_takes_the_place_of_what_stands_there(
    tmp_path: Path,
) -> None:
    path = _score(tmp_path / "a.musicxml", signs={0: _dynamic("mf"), 7: _dynamic("p")})
    marked = _marked(path, _plan("2 1and | | ff"))
    for part in (0, 1):
        assert _dynamics(marked, part) == [("bar 1 beat 1", "mf"), ("bar 2 beat 1and", "ff")]
    assert [c.taken for c in marked.marking.taken_out] == ["p"]


def test_a_hairpin_runs_from_here_to_there_in_every_part(tmp_path: Path) -> None:
    marked = _marked(
        _score(tmp_path / "a.musicxml", signs={0: _dynamic("mf")}),
        _plan("2 1and to 3 1 | | cresc.", "3 1 to 3 | | diminuendo"),
    )
    chart = marked.again.chart
    for part in (0, 1):
        pins = pins_of(chart.signs(part, "wedge"))
        assert [
            (p.kind, str(chart.place(p.start)), str(chart.end_place(p.stop))) for p in pins
        ] == [
            ("crescendo", "bar 2 beat 1and", "the end of bar 2"),
            ("diminuendo", "bar 3 beat 1", "the end of bar 3"),
        ]


def test_a_proposal_of_ours_can_be_refused(tmp_path: Path) -> None:
    path = _score(tmp_path / "a.musicxml")
    assert _dynamics(_marked(path, ""), 0)  # nothing is printed, so a dynamic is proposed
    marked = _marked(path, _plan("1 1 | | no dynamic"))
    assert _dynamics(marked, 0) == []
    assert marked.unfit == ()
    (tmp_path / "b.toml").write_text(write_plan(marked.score.chart, marked.plan))
    same = Options(plan=tmp_path / "b.toml")
    assert _dynamics(stages.mark_score(marked.score, same), 0) == []
    again = _marked(path, _plan("3 1 | | no dynamic"))
    assert [why for _, why in again.unfit] == ["no dynamic was proposed in this bar"]


def test_a_bar_can_be_as_another(tmp_path: Path) -> None:
    """Bars 4 to 6 have the notes of 1 to 3; a word on a single note there goes before."""
    path = _score(tmp_path / "a.musicxml")
    lines = ("1 1and | | tenuto", "4 to 6 | | as bar 1", "4 2 | | staccato")
    marked = _marked(path, _plan(*lines))
    notes = {
        str(marked.score.chart.place(n.tone.onset)): n.marks - SLURS
        for n in marked.plan.passages[0].notes
    }
    assert notes["bar 1 beat 1and"] == notes["bar 4 beat 1and"] == {"tenuto"}
    assert notes["bar 4 beat 2"] == {"staccato"}
    different = [
        place
        for place, marks in notes.items()
        if place[4] in "123" and notes[f"bar {int(place[4]) + 3}{place[5:]}"] != marks
    ]
    assert different == ["bar 1 beat 2"] or different == []


def test_a_reading_is_taken_for_the_whole_passage(demo_score: Score, tmp_path: Path) -> None:
    options = Options()
    plan, _ = stages.plan_score(demo_score, options)
    planned = max(plan.passages, key=lambda p: len(p.notes))
    reading = next(r for r in planned.readings if r.differs)
    lead = demo_score.chart.parts[planned.part].label
    file = tmp_path / "plan.toml"
    file.write_text(
        f'[[passage]]\nid = "{planned.id}"\nlead = "{lead}"\nreading = "{reading.name}"\n',
        encoding="utf-8",
    )
    taken, unfit = stages.plan_score(demo_score, Options(plan=file))
    assert unfit == ()
    found = taken.of(planned.id)
    assert found is not None
    assert [n.marks - SLURS for n in found.notes] == [n.marks - SLURS for n in reading.notes]
    file.write_text(file.read_text().replace(reading.name, "upside down"), encoding="utf-8")
    _, unfit = stages.plan_score(demo_score, Options(plan=file))
    assert [why for _, why in unfit] == [
        "its readings are: " + ", ".join(r.name for r in planned.readings)
    ]


def test_a_note_of_the_section_is_decided_for_all_and_a_note_alone_for_its_part(
    tmp_path: Path,
) -> None:
    path = _score(tmp_path / "a.musicxml", signs={0: _dynamic("mf")})
    marked = _marked(path, _plan("1 1and | | ghost", lead="Alto Sax 2"))
    assert marked.unfit == ()
    assert all("ghost" in marked.again.chart.lines[part][1].marks for part in (0, 1))
    marked = _marked(path, _plan("6 2 | | accent", "6 4 | | plain", lead="Bass"))
    bass = marked.again.chart.lines[2]
    assert [bool(tone.marks) for tone in bass] == [False, True, False, False]
    assert not [c for c in marked.marking.changes if c.part == 2 and c.tick != bass[1].onset]


def test_what_was_asked_for_is_in_the_plan_that_is_written(tmp_path: Path) -> None:
    """So that the plan file alone says the same the next time."""
    path = _score(tmp_path / "a.musicxml", signs={0: _dynamic("mf")})
    lines = ("2 1and | | ff", "3 1 to 3 | | diminuendo", "1 2 | | fall", "1 3 | | plain")
    first = _marked(path, _plan(*lines))
    assert any(n.decided and not n.marks for n in first.plan.passages[0].notes)
    written = write_plan(first.score.chart, first.plan)
    (tmp_path / "b.toml").write_text(written, encoding="utf-8")
    options = Options(plan=tmp_path / "b.toml")
    again = stages.mark_score(stages.read_score(path, options), options)
    assert again.unfit == ()
    assert [f.data for f in again.files] == [f.data for f in first.files]


@pytest.mark.parametrize(
    ("place", "words", "message"),
    [
        ("17 9x", "accent", "no bar and beat"),
        ("17", "accent", "no bar and beat"),
        ("17 1", "louder", "no mark I know"),
        ("17 1 to 18 2", "accent", "no bar and beat"),
    ],
)
def test_words_that_are_none_are_refused(place: str, words: str, message: str) -> None:
    from sectionprep.errors import BadArgument

    with pytest.raises(BadArgument, match=message):
        decision_of("Alto Sax 1", place, words)


def _workbook(score: Score, path: Path, rows: list[tuple[Any, ...]]) -> Path:
    marked = stages.mark_score(score, Options())
    one_output.write_checklist(marked, path, Options())
    workbook = openpyxl.load_workbook(path)
    sheet = workbook[tables.OWN]
    columns = {cell.value: cell.column for cell in sheet[2]}
    for n, row in enumerate(rows, start=3):
        for heading, value in zip(
            ("Part", "Bar", "Beat", "To bar", "To beat", "What"), row, strict=True
        ):
            sheet.cell(n, columns[heading]).value = value
    workbook.save(path)
    return path


def test_every_bad_cell_is_named_at_once(demo_score: Score, tmp_path: Path) -> None:
    path = _workbook(
        demo_score,
        tmp_path / "a.xlsx",
        [
            ("Alto Sax 1", 20, 1, None, None, "louder"),
            ("Alto Sax 1", None, 1, None, None, "mf"),
            ("Alto Sax 1", 20, "x", None, None, "accent"),
        ],
    )
    workbook = openpyxl.load_workbook(path)
    for name, heading, value in (
        (tables.MARKS, "Change to", "acent"),
        (tables.PARTS, "Copies", "two"),
        (tables.PASSAGES, "Reading", "plainest"),
    ):
        columns = {cell.value: cell.column for cell in workbook[name][2]}
        workbook[name].cell(4, columns[heading]).value = value
    workbook.save(path)
    with pytest.raises(UnusableSettings) as caught:
        to_decisions(read_typed(path, insist=False), path)
    said = str(caught.value)
    assert "6 cells" in said
    for cell in ("F3", "A4", "F5", "Marks!", "Parts", "Passages!M4"):
        assert cell in said, cell


@pytest.mark.thorough
def test_decisions_of_a_workbook_change_nothing_the_second_time(
    demo_score: Score, tmp_path: Path
) -> None:
    """Random decisions on the demo, six workbooks of nine rows: the workbook that a run makes holds
    every row, says what came of it, and given back makes the same score to the byte."""
    random.seed(7)
    chart = demo_score.chart
    words = ["accent", "tenuto", "plain", "off", "mf", "pp", "breath", "as bar 9", "leave it"]
    for round_ in range(6):
        rows: list[tuple[Any, ...]] = []
        for _ in range(8):
            part = random.choice([p for p in chart.parts if chart.lines[p.index]])
            tone = random.choice(chart.lines[part.index])
            place = chart.place(tone.onset)
            rows.append(
                (part.label, place.bar, float(place.beat), None, None, random.choice(words))
            )
        passage = random.choice(demo_score.together.passages)
        start, end = chart.place(passage.start), chart.end_place(passage.end)
        lead = chart.parts[passage.lead].label
        rows.append((lead, start.bar, float(start.beat), end.bar, None, "crescendo"))
        path = _workbook(demo_score, tmp_path / f"{round_}.xlsx", rows)
        options = Options(decisions=path)
        marked = stages.mark_score(demo_score, options)
        one_output.write_checklist(marked, path, options)
        sheet = openpyxl.load_workbook(path)[tables.OWN]
        columns = {cell.value: cell.column for cell in sheet[2]}
        for n in range(3, 3 + len(rows)):
            assert str(sheet.cell(n, columns["What came of it"]).value).startswith(("done", "not"))
        again = stages.mark_score(demo_score, options)
        assert [f.data for f in again.files] == [f.data for f in marked.files], round_
        assert len(again.unfit) == len(marked.unfit)


def test_a_plan_file_reads_all_of_it(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    file.write_text(
        _plan(
            "17 1 | | mf",
            "17 1 to 18 3 | | cresc",
            "17 | | as bar 12",
            more='reading = "plainer"\n',
        ),
        encoding="utf-8",
    )
    assert [d.says for d in read_plan(file).decisions if hasattr(d, "says")] == [
        "plainer",
        "mf",
        "crescendo",
        "as bar 12",
    ]
