"""Instructions for the band that only one part has are found, and copied where the director asks
(common practice, no source: whoever cannot read that a solo is open comes in too early)."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest
from build import part_xml, score_xml

from sectionprep import stages
from sectionprep.errors import UnusableSettings
from sectionprep.marking import mark_chart
from sectionprep.music.instructions import one_sided
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.editing.splices import apply_splices, splices_for
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.workbook import read_typed, tables, to_copy, write_workbook
from sectionprep.outputs.workbook.rehearsal_plan import plan_rehearsal
from sectionprep.outputs.workbook.rows import build_book
from sectionprep.passages import find_passages
from sectionprep.phrasing import plan_passages
from sectionprep.phrasing.plan_file import read_plan, write_plan
from sectionprep.results import Marked, Options

_BACK = '<barline location="right"><repeat direction="backward"/></barline>'


def _words(said: str) -> str:
    return f"<direction><direction-type><words>{said}</words></direction-type></direction>"


def _band(said: str, others: str = "") -> bytes:
    """Four parts; the words stand in bar 2 of the tenor, who rests there; the altos play alike, the
    drums something else."""
    tune, rest = "C5/4 D5/4 E5/4 F5/4 " * 4, "C5/4 D5/4 E5/4 F5/4 r/1 r/1 r/1"
    parts = {
        "Alto Sax 1": part_xml(tune, signs={4: others} if others else None),
        "Alto Sax 2": part_xml(tune),
        "Tenor Sax 1": part_xml(rest, signs={4: _words(said)}),
        "Drums": part_xml("C5/2 C5/2 " * 4),
    }
    return score_xml(parts).replace(b"</measure></part>", f"{_BACK}</measure></part>".encode())


def _found(said: str, others: str = "") -> list[tuple[int, ...]]:
    c = read_chart(parse_document(Path("x"), _band(said, others)))
    return [found.missing for found in one_sided(c)]


@pytest.mark.parametrize(
    "said", ["Solo - open", "Open solo", "vamp till cue", "play 4x", "on cue", "repeat ad lib."]
)
def test_what_concerns_the_form_concerns_everybody(said: str) -> None:
    assert _found(said) == [(0, 1, 3)]


@pytest.mark.parametrize("said", ["last time only", "2nd x only", "3rd time"])
def test_turns_over_a_rest_concern_the_horns_that_play(said: str) -> None:
    assert _found(said) == [(0, 1)]


@pytest.mark.parametrize("said", ["open", "cup mute", "solo", "soli", "on Q", "first ending"])
def test_other_words_are_for_who_has_them(said: str) -> None:
    assert _found(said) == []


def test_who_has_words_of_the_kind_is_not_told_again() -> None:
    assert _found("Solo - open", _words("Tenor 1: Solo - open")) == [(1, 3)]


def test_turns_over_notes_concern_who_plays_them_too() -> None:
    tune = "C5/4 D5/4 E5/4 F5/4 "
    parts = {
        "Alto Sax 1": part_xml(tune * 2, signs={0: _words("2nd x only")}),
        "Alto Sax 2": part_xml(tune * 2),
        "Tenor Sax 1": part_xml("C5/1 D5/1"),
    }
    c = read_chart(parse_document(Path("x"), score_xml(parts)))
    assert [found.missing for found in one_sided(c)] == [(1,)]


def test_the_demo_says_it_in_one_part_of_seventeen(demo_marked: Marked) -> None:
    findings = [f for f in demo_marked.after if f.check == "one-sided"]
    assert [(f.part, "16 other parts" in f.message) for f in findings] == [(2, True)]


def test_with_the_directors_word_it_is_copied_once(tmp_path: Path) -> None:
    """Uncommented in the plan file: the same words stand in every part, who solos is named, and a
    second run has nothing left to do."""
    d = parse_document(Path("x.musicxml"), _band("Solo - open"))
    c = read_chart(d)
    together = find_passages(c)
    plan = plan_passages(c, together)
    path = tmp_path / "plan.toml"
    path.write_text(write_plan(c, plan).replace("  # ", "  "))
    copied = read_plan(path).copied
    assert copied == ("2 | Solo - open",)
    assert read_plan_without(tmp_path, write_plan(c, plan)) == ()
    marking = mark_chart(c, together, plan, copied=copied)
    written = [change for change in marking.changes if change.kind == "words"]
    assert [(change.part, change.now) for change in written] == [
        (part, "Tenor 1: Solo - open") for part in (0, 1, 3)
    ]
    data = apply_splices(d.data, splices_for(d, marking.edits, marking.dropped))
    again = read_chart(parse_document(Path("x.musicxml"), data))
    assert one_sided(again) == ()
    place = [s for s in again.parts[3].directions if s.kind == "words"]
    assert [(s.value, again.place(s.onset).bar) for s in place] == [("Tenor 1: Solo - open", "2")]


def read_plan_without(folder: Path, text: str) -> tuple[str, ...]:
    """What a plan file as written asks to be copied."""
    path = folder / "as_written.toml"
    path.write_text(text)
    return read_plan(path).copied


def test_a_copy_that_is_no_line_is_named(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text('[house]\ncopy = ["Solo - open"]\n')
    with pytest.raises(UnusableSettings, match="is no line such as"):
        read_plan(path)


def test_the_workbook_can_ask_for_it(demo_path: Path, demo_marked: Marked, tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    path.write_bytes(write_workbook(build_book(demo_marked, plan_rehearsal(demo_marked, 45))))
    workbook = openpyxl.load_workbook(path)
    sheet = workbook[tables.AGREEMENT]
    heads = {cell.value: cell.column for cell in sheet[2]}
    rows = {sheet.cell(n, heads[tables.KEY]).value: n for n in range(3, sheet.max_row + 1)}
    (row,) = (n for key, n in rows.items() if str(key).startswith("one-sided"))
    sheet.cell(row, heads["Status"]).value = tables.COPY
    workbook.save(path)
    assert to_copy(read_typed(path), path) == ("35 | Tenor Sax 1",)
    options = Options(decisions=path)
    marked = stages.mark_score(stages.read_score(demo_path, options), options)
    copied = [c.part for c in marked.marking.changes if c.kind == "words" and c.applied]
    assert copied == [n for n in range(17) if n != 2]
    other = next(n for key, n in rows.items() if not str(key).startswith("one-sided"))
    sheet.cell(other, heads["Status"]).value = tables.COPY
    workbook.save(path)
    with pytest.raises(UnusableSettings, match="nothing to copy"):
        to_copy(read_typed(path), path)
