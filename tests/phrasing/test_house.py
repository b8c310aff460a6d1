"""Habits of the house: said in a closed vocabulary, applied after the rules, learned from charts.

The simulated directors have known habits (found), or none (none invented); their charts are random
lines of `measure_variety`.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path

import openpyxl
import pytest
from build import chart, document
from measure_variety import _BARS, random_line

from sectionprep import one_output, stages
from sectionprep.errors import BadArgument, UnusableSettings
from sectionprep.learned import learn_habits
from sectionprep.music.chart import Chart
from sectionprep.outputs.workbook import tables
from sectionprep.phrasing.house import MARKS, REFUSALS, SITUATIONS, STYLES, parse_habit
from sectionprep.phrasing.learning import Seen, as_file, is_habit, learn, seen
from sectionprep.phrasing.plan_file import read_plan
from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.view import LineView, view_line
from sectionprep.results import Options

_STYLE = styles()["medium-swing"]
_RANDOM = [MARKS["accent"], MARKS["rooftop accent"], MARKS["tenuto"], MARKS["staccato"]]
_SIGNS = {"accent": ">", "strong-accent": "^", "staccato": ".", "tenuto": "-"}


# -- what can be said
# ------------------------------------------------------------------------------------------


def test_every_sentence_reads_back_as_itself() -> None:
    for situation in (*SITUATIONS, *STYLES):
        for words in (*MARKS, *REFUSALS):
            assert parse_habit(f"{situation}: {words}").says == f"{situation}: {words}"


@pytest.mark.parametrize(
    ("sentence", "list_of"),
    [
        ("loud notes: accent", "off-beat tops"),
        ("off-beat tops: fat", "rooftop accent"),
        ("off-beat tops", "no accents"),
        ("", "ballads"),
    ],
)
def test_what_is_not_in_the_vocabulary_is_refused_with_the_list(
    sentence: str, list_of: str
) -> None:
    with pytest.raises(BadArgument) as refused:
        parse_habit(sentence)
    assert list_of in refused.value.remedy


def test_a_plan_file_names_the_line_that_it_cannot_read(tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_text('[house]\nhabits = ["off-beat tops: accent", "tops: loud"]\n')
    with pytest.raises(UnusableSettings, match="line 2") as refused:
        read_plan(path)
    assert "off-beat tops" in refused.value.remedy
    path.write_text("[house]\nhabits = 3\n")
    with pytest.raises(UnusableSettings, match="habits: must be a list"):
        read_plan(path)


# -- what it does
# ----------------------------------------------------------------------------------------------

_LINE = "r/8 C5/8 D5/8 E5/8 F5/8 A5/8 G5/8 E5/8 C5/8 E5/8 D5/8 F5/8 E5/8 C5/8 D5/4 r/1"


def _written(folder: Path, line: str = _LINE, words: str = "Swing") -> Path:
    path = folder / "chart.musicxml"
    path.write_bytes(document({"Alto Sax 1": line, "Alto Sax 2": line}).data)
    return path


def _planned(path: Path, habits: list[str], style: str | None = None) -> stages.Plan:
    house = path.with_name("house.toml")
    house.write_text(f"[house]\nhabits = {habits!r}\n".replace("'", '"'))
    options = Options(plan=house, style=style)
    return stages.plan_score(stages.read_score(path, options), options)[0]


def test_a_habit_speaks_of_every_note_in_its_situation(tmp_path: Path) -> None:
    path = _written(tmp_path)
    score = stages.read_score(path, Options())
    (passage,) = _planned(path, ["off-beat tops: rooftop accent"]).passages
    view = view_line(score.chart, [n.tone for n in passage.notes], _STYLE, passage.part)
    tops = [s.index for s in view.spots if s.is_top and s.off_beat]
    assert tops
    for n in tops:
        assert "strong-accent" in passage.notes[n].marks
        assert passage.notes[n].length == "short"
    assert any("house habit" in passage.notes[n].why for n in tops)


def test_every_reading_keeps_the_habits_and_weights_agree(tmp_path: Path) -> None:
    path = _written(
        tmp_path,
        "C5/8 D5/8 E5/8 F5/8 A5/8 G5/8 E5/8 G5/8 F5/8 E5/8 D5/8 E5/8 F5/8 D5/8 C5/8 D5/8 C5/4 r/2.",
    )
    (passage,) = _planned(path, ["off-beat tops: plain", "on-beat tops: accent"]).passages
    score = stages.read_score(path, Options())
    view = view_line(score.chart, [n.tone for n in passage.notes], _STYLE, passage.part)
    middle = sorted(n.weight for n in passage.notes)[len(passage.notes) // 2]
    for notes in (passage.notes, *(reading.notes for reading in passage.readings)):
        for spot in view.spots:
            if spot.is_top and spot.off_beat:
                assert not notes[spot.index].leaned
            if spot.is_top and spot.on_beat:
                assert notes[spot.index].marks == {"accent"}
    leaned = [n for n in passage.notes if n.marks == {"accent"}]
    assert leaned
    assert all(n.weight >= middle - 0.02 for n in leaned)


def test_of_two_that_fit_the_later_line_wins(tmp_path: Path) -> None:
    path = _written(tmp_path)
    (passage,) = _planned(path, ["off-beat tops: rooftop accent", "off-beat tops: plain"]).passages
    (other,) = _planned(path, ["off-beat tops: plain"]).passages
    assert [n.marks for n in passage.notes] == [n.marks for n in other.notes]


def test_ballads_without_accents(tmp_path: Path) -> None:
    line = "r/8 C5/8 D5/8 E5/8 F5/4 A5/8 G5/8 r/2 r/8 A5/4. r/1"
    path = _written(tmp_path, line)
    with_accents = _planned(path, [], style="medium-swing").passages
    swing = _planned(path, ["ballads: no accents"], style="medium-swing").passages
    assert [n.marks for p in swing for n in p.notes] == [
        n.marks for p in with_accents for n in p.notes
    ]
    bare = _planned(path, ["medium swing: no accents"], style="medium-swing")
    assert not any(n.marks & {"accent", "strong-accent"} for p in bare.marked for n in p.notes)


def test_what_is_printed_stays_and_a_second_run_adds_nothing(tmp_path: Path) -> None:
    path = _written(tmp_path, _LINE.replace("A5/8", "A5/8-"))
    (passage,) = _planned(path, ["off-beat tops: rooftop accent"]).passages
    assert "tenuto" in passage.notes[4].marks
    assert "strong-accent" not in passage.notes[4].marks
    options = Options(plan=tmp_path / "house.toml")
    marked = stages.mark_score(stages.read_score(path, options), options)
    again = tmp_path / "again.musicxml"
    again.write_bytes(marked.files[0].data)
    assert not stages.mark_score(stages.read_score(again, options), options).files[0].splices


# -- what it learns
# --------------------------------------------------------------------------------------------


def _habits_of(view: LineView, n: int, habits: dict[str, frozenset[str]]) -> frozenset[str] | None:
    return next((m for name, m in habits.items() if SITUATIONS[name](view, view.spots[n])), None)


def _marked_by(
    habits: dict[str, frozenset[str]], seed: int, *, keeps: float = 0.93, noise: float = 0.12
) -> Iterator[Seen]:
    """What a director with these habits leaves in twelve charts of eight bars: nearly always his
    habit, and elsewhere a mark now and then."""
    draw = random.Random(seed)
    for n in range(12):
        c: Chart = chart({"Alto Sax 1": random_line(100 * seed + n, _BARS)})
        view = view_line(c, c.lines[0], _STYLE, 0)
        marks = {}
        for spot in view.spots:
            habit = _habits_of(view, spot.index, habits)
            by_chance = draw.choice(_RANDOM) if draw.random() < noise else frozenset()
            marks[spot.tone.onset] = (
                habit if habit is not None and draw.random() < keeps else by_chance
            )
        yield from seen(view, marks)


_DIRECTORS = [
    {"off-beat tops": MARKS["rooftop accent"]},
    {"last off-beat eighths": MARKS["staccato"], "off-beat quarters": MARKS["accent"]},
    {"on-beat quarters": MARKS["tenuto"]},
    {"leaps up": MARKS["accent"], "last off-beat eighths": MARKS["rooftop accent"]},
]


def test_known_habits_are_found_and_none_is_invented() -> None:
    wanted = found = invented = 0
    for seed in range(6):
        for habits in _DIRECTORS:
            learned = {
                p.habit.situation: p.habit.marks
                for p in learn(_marked_by(habits, seed))
                if p.habit.marks is not None
            }
            wanted += len(habits)
            found += sum(learned.get(name) == marks for name, marks in habits.items())
            invented += sum(
                marks not in habits.values()
                for name, marks in learned.items()
                if name not in habits
            )
    assert found >= 0.9 * wanted
    assert invented == 0


@pytest.mark.parametrize("noise", [0.1, 0.3, 0.6])
def test_a_director_without_habits_is_told_of_none(noise: float) -> None:
    for seed in range(12):
        assert learn(_marked_by({}, seed, noise=noise)) == ()


def test_how_often_is_a_habit() -> None:
    """Lower bounds of Wilson's interval for 14 of 16, 8 of 8, 7 of 8 and 12 of 16, computed by
    hand: .64, .68, .53, .51."""
    assert is_habit(14, 16)
    assert is_habit(8, 8)
    assert not is_habit(7, 8)
    assert not is_habit(12, 16)
    assert not is_habit(7, 7)


def test_eight_changes_among_many_that_were_left_are_no_habit() -> None:
    """A director who changed eight accents on off-beat tops and left thirty-two as we wrote them
    likes ours; one who changed all forty does not. What we proposed is never his habit."""
    tops = frozenset({"off-beat tops"})

    def told(changed: int, left: int) -> list[str]:
        notes = [
            *[Seen(situations=tops, style="medium-swing", marks=MARKS["tenuto"], decided=True)]
            * changed,
            *[Seen(situations=tops, style="medium-swing", marks=MARKS["accent"], left=True)] * left,
        ]
        return [p.habit.says for p in learn(notes)]

    assert told(8, 32) == []
    assert told(0, 40) == []
    assert told(40, 2) == ["off-beat tops: tenuto"]


def _marked_line(seed: int) -> str:
    """A random line with a rooftop accent on each top off the beat."""
    text = random_line(seed, _BARS)
    c = chart({"Alto Sax 1": text})
    view = view_line(c, c.lines[0], _STYLE, 0)
    tops = {s.index for s in view.spots if s.is_top and s.off_beat}
    tokens, n = [], 0
    for token in text.split():
        tokens.append(token + "^" if not token.startswith("r") and n in tops else token)
        n += not token.startswith("r")
    return " ".join(tokens)


def test_a_folder_of_marked_charts_tells_its_habits_and_they_can_be_given_back(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    for n in range(4):
        line = _marked_line(n)
        (folder / f"c{n}.musicxml").write_bytes(
            document({"Alto Sax 1": line, "Alto Sax 2": line}).data
        )
    plain = random_line(9, _BARS)
    (folder / "plain.musicxml").write_bytes(
        document({"Alto Sax 1": plain, "Alto Sax 2": plain}).data
    )
    (folder / "broken.xml").write_text("<score")
    learned = learn_habits(folder, Options(style="medium-swing"))
    assert [p.habit.says for p in learned.proposals] == ["off-beat tops: rooftop accent"]
    (proposal,) = learned.proposals
    assert proposal.times == proposal.of >= 8
    assert learned.silent == ("plain.musicxml",)
    assert learned.unread[0].startswith("broken.xml")
    house = tmp_path / "house.toml"
    house.write_text(as_file(learned.proposals))
    assert [h.says for h in read_plan(house).habits] == ["off-beat tops: rooftop accent"]


def test_what_this_program_has_marked_is_not_the_directors(tmp_path: Path) -> None:
    path = _written(tmp_path, _marked_line(1))
    marked = stages.mark_score(stages.read_score(path, Options()), Options())
    folder = tmp_path / "ours"
    folder.mkdir()
    stages.write_marked(marked, folder / "x.musicxml")
    assert learn_habits(folder, Options()).charts == ()


def test_decisions_in_a_plan_file_count_and_the_rules_own_lines_do_not(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    for n in range(4):
        plain = random_line(n, _BARS)
        path = folder / f"c{n}.musicxml"
        path.write_bytes(document({"Alto Sax 1": plain, "Alto Sax 2": plain}).data)
        options = Options(style="medium-swing")
        score = stages.read_score(path, options)
        plan, _ = stages.plan_score(score, options)
        file = folder / f"c{n}_plan.toml"
        stages.write_plan_file(score, plan, file, options)
        assert learn_habits(folder, options).charts == tuple(f"c{k}.musicxml" for k in range(n))
        text = file.read_text().split("\n")
        tops = [
            k
            for k, line in enumerate(text)
            if line.count("|") == 3 and "and |" in line and "| accent |" in line
        ]
        for k in tops:
            text[k] = text[k].replace("| accent |", "| tenuto |")
        file.write_text("\n".join(text))
    learned = learn_habits(folder, Options(style="medium-swing"))
    assert {p.habit.marks for p in learned.proposals} == {MARKS["tenuto"]}


def test_decisions_in_a_workbook_count_and_untouched_rows_do_not(tmp_path: Path) -> None:
    """The director changes every accent off the beat to a tenuto in the sheet Marks of four charts;
    a workbook in which nothing was typed says nothing."""
    folder = tmp_path / "mine"
    folder.mkdir()
    options = Options(style="medium-swing")
    for n in range(4):
        plain = random_line(n, _BARS)
        path = folder / f"c{n}.musicxml"
        path.write_bytes(document({"Alto Sax 1": plain, "Alto Sax 2": plain}).data)
        marked = stages.mark_score(stages.read_score(path, options), options)
        book = one_output.write_checklist(marked, folder / f"c{n}_rehearsal.xlsx", options)
        assert learn_habits(folder, options).charts == tuple(f"c{k}.musicxml" for k in range(n))
        workbook = openpyxl.load_workbook(book)
        sheet = workbook[tables.MARKS]
        columns = {cell.value: cell.column for cell in sheet[2]}
        for row in range(3, sheet.max_row + 1):
            beat = str(sheet.cell(row, columns["Beat"]).value)
            if sheet.cell(row, columns["Planned"]).value == "accent" and beat.endswith("and"):
                sheet.cell(row, columns["Change to"]).value = "tenuto"
        workbook.save(book)
    learned = learn_habits(folder, options)
    assert len(learned.charts) == 4
    assert {p.habit.marks for p in learned.proposals} == {MARKS["tenuto"]}
    assert all(p.times >= 8 for p in learned.proposals)


def test_a_few_decisions_in_a_workbook_invent_no_habit(tmp_path: Path) -> None:
    """In each of four charts three of many closing eighths get a dot for a rooftop accent: twelve
    changes, alike, and no habit, as the others were left."""
    folder = tmp_path / "mine"
    folder.mkdir()
    options = Options(style="medium-swing")
    for n in range(4):
        plain = random_line(n, _BARS, bars=24)
        path = folder / f"c{n}.musicxml"
        path.write_bytes(document({"Alto Sax 1": plain, "Alto Sax 2": plain}).data)
        marked = stages.mark_score(stages.read_score(path, options), options)
        book = one_output.write_checklist(marked, folder / f"c{n}_rehearsal.xlsx", options)
        workbook = openpyxl.load_workbook(book)
        sheet = workbook[tables.MARKS]
        columns = {cell.value: cell.column for cell in sheet[2]}
        hits = [
            row
            for row in range(3, sheet.max_row + 1)
            if sheet.cell(row, columns["Planned"]).value == "rooftop accent"
            and str(sheet.cell(row, columns["Beat"]).value).endswith("and")
        ]
        assert len(hits) >= 5
        for row in hits[:3]:
            sheet.cell(row, columns["Change to"]).value = "staccato"
        workbook.save(book)
    learned = learn_habits(folder, options)
    assert len(learned.charts) == 4
    assert learned.proposals == ()
