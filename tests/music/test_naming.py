"""One label for each part, and one way to find a part by what it is called."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from build import part_xml, score_xml
from hypothesis import given
from hypothesis import strategies as st

from sectionprep import one_output, stages
from sectionprep.checks.versions import compare_versions
from sectionprep.errors import BadArgument
from sectionprep.music.chart import Chart
from sectionprep.music.naming import clean_name, find_part, unique_labels
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.sheets import file_names
from sectionprep.results import Options, Score

TUNE = "r/8 D4/8 F4/8 A4/8> C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4"


def _score(listed: str, count: int, text: str = TUNE) -> bytes:
    """Parts P1, P2 ... that all play the same, under a part list of any shape."""
    bodies = "".join(f'<part id="P{n}">{part_xml(text)}</part>' for n in range(1, count + 1))
    text = f"<score-partwise><part-list>{listed}</part-list>{bodies}</score-partwise>"
    return text.encode()


def _named(*names: str | None) -> str:
    return "".join(
        f'<score-part id="P{n}">'
        + ("" if name is None else f"<part-name>{name}</part-name>")
        + "</score-part>"
        for n, name in enumerate(names, start=1)
    )


def _chart(listed: str, count: int) -> Chart:
    return read_chart(parse_document(Path("x.musicxml"), _score(listed, count)))


@pytest.mark.parametrize(
    ("names", "labels"),
    [
        (["Trumpet", "Trumpet"], ["Trumpet", "Trumpet (2)"]),
        (["Trumpet", "Trumpet", "Trumpet (2)"], ["Trumpet", "Trumpet (3)", "Trumpet (2)"]),
        (["Trumpet (2)", "Trumpet", "Trumpet"], ["Trumpet (2)", "Trumpet", "Trumpet (3)"]),
        (["Flute", "flute", "FLUTE"], ["Flute", "flute (2)", "FLUTE (3)"]),
        (["", "Flute", ""], ["Part 1", "Flute", "Part 3"]),
        (["Part 2", ""], ["Part 2", "Part 2 (2)"]),
    ],
)
def test_labels_are_unique_and_near_the_names(names: list[str], labels: list[str]) -> None:
    assert unique_labels(names, [""] * len(names)) == labels


NAMES = st.lists(
    st.tuples(
        st.one_of(
            st.sampled_from(["", "Trumpet", "trumpet", "Trumpet (2)", "1", "Part 2"]), st.text()
        ),
        st.sampled_from(["", "Horns", "Choir 1"]),
    ),
    max_size=8,
)


@given(NAMES)
def test_labels_are_unique_and_can_be_printed_whatever_the_names(
    parts: list[tuple[str, str]],
) -> None:
    labels = unique_labels([clean_name(name) for name, _ in parts], [group for _, group in parts])
    assert len({label.casefold() for label in labels}) == len(parts) == len(labels)
    assert all(label and label.isprintable() and "\n" not in label for label in labels)


def test_groups_help_where_a_name_does_not_say_enough() -> None:
    groups = ["Horns", "Horns", "Choir 1", "Choir 2", ""]
    assert unique_labels(["1", "2nd", "Soprano", "Soprano", "4"], groups) == [
        "Horns 1",
        "Horns 2nd",
        "Choir 1 Soprano",
        "Choir 2 Soprano",
        "4",
    ]


def test_a_number_in_a_group_of_horns_is_a_horn() -> None:
    group = "<part-group type='start' number='1'><group-name>Horns</group-name></part-group>"
    chart = _chart(group + _named("1", "2") + "<part-group type='stop' number='1'/>", 2)
    assert chart.labels == ("Horns 1", "Horns 2")
    assert [(p.chair.instrument.key, p.chair.number) for p in chart.parts] == [
        ("horn", 1),
        ("horn", 2),
    ]


def test_a_closed_group_names_nobody() -> None:
    listed = (
        "<part-group type='start' number='1'><group-name>Horns</group-name></part-group>"
        + _named("1")
        + "<part-group type='stop' number='1'/>"
        + "<score-part id='P2'><part-name>2</part-name></score-part>"
    )
    assert _chart(listed, 2).labels == ("Horns 1", "2")


def test_names_that_are_missing_are_numbers_not_ids() -> None:
    listed = "".join(
        f"<score-part id='P{n}'>{name}</score-part>"
        for n, name in ((1, "<part-name/>"), (2, "<part-name> </part-name>"))
    )
    assert _chart(listed, 2).labels == ("Part 1", "Part 2")


@pytest.fixture
def same_names(tmp_path: Path) -> Path:
    path = tmp_path / "same.musicxml"
    path.write_bytes(
        _score(_named("Trumpet", "Trumpet", "Trumpet", None), 4).replace(b"<accent/>", b"", 2)
    )
    return path


def test_an_unedited_plan_of_a_chart_with_equal_names_fits(
    same_names: Path, tmp_path: Path
) -> None:
    options = Options(roster=_roster(tmp_path, '[[lead]]\nof = "bar 1"\npart = "trumpet (3)"\n'))
    score = stages.read_score(same_names, options)
    plan, _ = stages.plan_score(score, options)
    written = stages.write_plan_file(score, plan, tmp_path / "plan.toml", options)
    assert 'lead = "Trumpet (3)"' in written.read_text()
    again, unfit = stages.plan_score(score, Options(plan=written, roster=options.roster))
    assert unfit == ()
    assert again.passages == plan.passages


def _roster(folder: Path, text: str) -> Path:
    path = folder / "roster.toml"
    path.write_text(text)
    return path


def test_equal_names_are_compared_each_with_its_own(same_names: Path) -> None:
    old = stages.read_score(same_names, Options()).chart
    assert compare_versions(old, old) == ()
    changed = parse_document(
        same_names, same_names.read_bytes().replace(b"<accent/>", b"<staccato/>", 1)
    )
    assert [c.part for c in compare_versions(old, read_chart(changed))] == ["Trumpet (3)"]


def test_every_sheet_and_every_row_has_its_own_name(same_names: Path, tmp_path: Path) -> None:
    from openpyxl import load_workbook

    options = Options()
    marked = stages.mark_score(stages.read_score(same_names, options), options)
    chart = marked.score.chart
    assert file_names(chart) == ["01_Trumpet", "02_Trumpet_2", "03_Trumpet_3", "04_Part_4"]
    book = load_workbook(one_output.write_checklist(marked, tmp_path / "w.xlsx", options))
    listed = {cell.value for row in book["Parts"].iter_rows() for cell in row}
    assert set(chart.labels) <= listed


def test_the_roster_calls_a_part_by_any_of_its_names(tmp_path: Path) -> None:
    path = tmp_path / "c.musicxml"
    path.write_bytes(score_xml({"Alto Sax 1": part_xml(TUNE), "Reed 2": part_xml(TUNE)}))
    roster = _roster(
        tmp_path,
        '[[seat]]\npart = "alto  sax 1"\nplayer = "Kim"\n'
        '[[seat]]\npart = "REED 2"\ninstrument = "alto-sax"\n'
        '[[seat]]\npart = "Reed 3"\n',
    )
    score = stages.read_score(path, Options(roster=roster))
    seat = score.roster.seat("Alto Sax 1")
    assert seat is not None
    assert seat.player == "Kim"
    assert score.chart.parts[1].chair.says == "Alto 2"
    assert [r.what for r in score.chart.remarks if r.where == "roster"] == [
        "a seat for Reed 3: there is no part 'Reed 3'"
    ]


@pytest.mark.parametrize("words", ["Alto Sax 1", "alto sax 1", " Alto  Sax 1 ", "Alto 1"])
def test_one_way_to_find_a_part(words: str, demo_score: Score) -> None:
    assert find_part(demo_score.chart.parts, words).label == "Alto Sax 1"


def test_a_part_that_cannot_be_found_is_said_with_what_there_is(demo_score: Score) -> None:
    with pytest.raises(BadArgument, match=r"there is no part 'Kazoo'\. Parts: Alto Sax 1, "):
        find_part(demo_score.chart.parts, "Kazoo")
    with pytest.raises(BadArgument, match="there is no part ''"):
        find_part(demo_score.chart.parts, "")


def test_a_name_of_two_parts_is_asked_back() -> None:
    chart = _chart(
        "<part-group type='start' number='1'><group-name>Choir 1</group-name></part-group>"
        + _named("Flute")
        + "<part-group type='stop' number='1'/>"
        "<part-group type='start' number='1'><group-name>Choir 2</group-name></part-group>"
        "<score-part id='P2'><part-name>Flute</part-name></score-part>",
        2,
    )
    with pytest.raises(BadArgument, match="'flute' may be Choir 1 Flute or Choir 2 Flute"):
        find_part(chart.parts, "flute")


def _sheet(score: Score, folder: Path, words: str) -> object:
    quiet = one_output.no_progress
    return one_output.write_sheets(score, folder, Options(), [words], quiet)[0].name


def _line(score: Score, _folder: Path, words: str) -> object:
    plan = stages.plan_part(score, words, None, Options())
    return score.chart.parts[plan.passages[0].part].label


def _sound(score: Score, folder: Path, words: str) -> object:
    from sectionprep.outputs.audition import Wish

    one_output.audition(score.document.path, folder, Options(), Wish(passages=("P1",), part=words))
    return "Alto Sax 1" if (folder / "P1_section_without_me.mid").exists() else "?"


@pytest.mark.parametrize("command", [_sheet, _line, _sound])
def test_every_command_finds_a_part_by_its_chair(
    command: Callable[[Score, Path, str], object],
    demo_score: Score,
    tmp_path: Path,
) -> None:
    assert command(demo_score, tmp_path / "out", "Alto 1") == "Alto Sax 1"
    with pytest.raises(BadArgument, match="there is no part 'Kazoo'"):
        command(demo_score, tmp_path / "no", "Kazoo")
