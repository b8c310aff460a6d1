"""The director's pages: whose study pages they are, what stands on them, and how many there are."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pypdfium2
import pytest

from sectionprep import preparing
from sectionprep.errors import BadArgument
from sectionprep.music.naming import find_players
from sectionprep.outputs.director.pages import study_pdf
from sectionprep.results import Marked, Options


def _pages(pdf: bytes | Path) -> list[str]:
    return [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf)]


def _of(marked: Marked, name: str) -> str:
    who = find_players(marked.again.chart.parts, name)
    pages = _pages(study_pdf(marked, who, paper="letter", footer="").pdf)
    return re.sub(r"[ \xa0]+", " ", "\n".join(pages))


# -- one section leader's pages --------------------------------------------------------------------


def test_a_section_or_a_part_is_found_by_what_people_call_it(demo_marked: Marked) -> None:
    parts = demo_marked.again.chart.parts
    saxes = find_players(parts, "saxes")
    assert saxes.name == "saxes"
    assert saxes.parts == (0, 1, 2, 3, 4)
    assert saxes == find_players(parts, "Sax section") == find_players(parts, " SAXES ")
    assert find_players(parts, "Alto Sax 2").parts == (1,)
    assert find_players(parts, "Trombone 1") != find_players(parts, "trombones")


@pytest.mark.parametrize(
    ("said", "meant"),
    [("trumpits", "trumpets"), ("Alto Sachs 2", "Alto Sax 2"), ("rythm", "rhythm")],
)
def test_a_near_miss_is_answered_with_what_was_meant(
    demo_marked: Marked, said: str, meant: str
) -> None:
    with pytest.raises(BadArgument) as failed:
        find_players(demo_marked.again.chart.parts, said)
    assert f"Did you mean {meant}?" in str(failed.value.remedy)
    assert "Sections: saxes, trumpets, trombones, rhythm." in str(failed.value.remedy)


def test_words_for_a_part_that_is_not_there_do_not_mean_its_section(demo_marked: Marked) -> None:
    """ "Alto Sax 9" names a saxophone, but nobody asked for five."""
    with pytest.raises(BadArgument):
        find_players(demo_marked.again.chart.parts, "Alto Sax 9")


def test_a_section_leader_gets_the_passages_of_the_section_alone(demo_marked: Marked) -> None:
    words = _of(demo_marked, "trombones")
    mine = set(find_players(demo_marked.again.chart.parts, "trombones").parts)
    passages = demo_marked.score.together.passages
    theirs = [p for p in passages if mine & {*p.parts, *(g.part for g in p.guests)}]
    assert 0 < len(theirs) < len(passages)
    for passage in passages:
        assert (f"{passage.id} {passage.scope}, {passage.texture}" in words) == (passage in theirs)


def test_the_lead_stands_above_the_section_that_follows_it(demo_marked: Marked) -> None:
    """A passage of the brass, on the trombones' pages: their staves and the lead trumpet's."""
    words = _of(demo_marked, "trombones")
    assert "Trumpet 1 (lead)" in words
    assert "Trumpet 2" not in [line.strip() for line in words.splitlines()]


def test_who_never_moves_with_others_is_told_so(demo_marked: Marked) -> None:
    assert "moves together with nobody" in _of(demo_marked, "Drums")


def test_prepare_writes_them_beside_the_directors_pages(
    demo_marked: Marked, tmp_path: Path
) -> None:
    source = demo_marked.score.document.path
    wish = Options(study_for=("saxes", "Sax section", "Alto Sax 1"))
    done = preparing.prepare(source, tmp_path / "out", wish)
    names = sorted(path.name for path in done.files if "_study_" in path.name)
    assert names == [
        "late_tram_home_study_Alto_Sax_1.pdf",
        "late_tram_home_study_saxes.pdf",
    ]
    with pytest.raises(BadArgument):
        preparing.prepare(source, tmp_path / "none", replace(wish, study_for=("tubas",)))
    assert not (tmp_path / "none").exists()
