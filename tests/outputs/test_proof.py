"""The proof page tells a player all that we wrote into a part, of every kind. Breaks when a kind of
change is left off the page."""

from __future__ import annotations

import io

import pypdfium2
import pytest
from build import part_xml, score_xml
from reportlab.pdfgen.canvas import Canvas

from sectionprep import stages
from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Chart
from sectionprep.outputs.parts.proof_pages import paint_proof_pages, proof_of
from sectionprep.results import Marked, Options


def _sign(content: str) -> str:
    return f'<direction placement="below"><direction-type>{content}</direction-type></direction>'


@pytest.fixture(scope="module")
def marked(tmp_path_factory: pytest.TempPathFactory) -> Marked:
    """The lead has an accent, a slur, a dynamic, a hairpin and a held note; Alto 2 has none of
    it."""
    path = tmp_path_factory.mktemp("proof") / "a.musicxml"
    line = "C5/8> D5/8( E5/8 G5/8) F5/8 E5/8 D5/8 C5/8 E5/2~ E5/8 r/8 r/4"
    signs = {
        0: _sign("<dynamics><mf/></dynamics>"),
        4: _sign('<wedge type="crescendo"/>'),
        8: _sign('<wedge type="stop"/>'),
    }
    bare = line.translate(str.maketrans("", "", ">()"))
    path.write_bytes(
        score_xml({"Alto Sax 1": part_xml(line, signs=signs), "Alto Sax 2": part_xml(bare)})
    )
    return stages.mark_score(stages.read_score(path, Options()), Options())


def _chart(marked: Marked) -> Chart:
    return marked.again.chart


def test_every_kind_of_change_is_listed_where_it_stands(marked: Marked) -> None:
    listed = {(row.where, row.what) for row in proof_of(_chart(marked), marked.marking, 1).added}
    assert {
        ("bar 1 beat 1", "accent"),
        ("bar 1 beat 1and", "slur to bar 1 beat 2and"),
        ("bar 1 beat 1", "mf"),
        ("bar 1 beat 3", "crescendo to the end of bar 1"),
        ("bar 2 beat 3", "off 3"),
    } <= listed


def test_no_change_is_left_out_and_nothing_is_listed_that_was_not_written(
    marked: Marked,
) -> None:
    for part in (0, 1):
        written = [c for c in marked.marking.changes if c.part == part and c.applied]
        proof = proof_of(_chart(marked), marked.marking, part)
        assert len(proof.added) == len(set(written))
        assert {row.why for row in proof.added} == {c.why for c in written}
    assert {c.kind for c in marked.marking.changes if c.part == 1 and c.applied} == {
        "marks",
        "slur",
        "dynamic",
        "hairpin",
        "cut-off",
    }


def test_what_is_ours_prints_lighter_whatever_it_is(marked: Marked) -> None:
    """One sign of every kind is named for the engraver."""
    proof = proof_of(_chart(marked), marked.marking, 1)
    assert {name for name, *_ in proof.signs} == {"slur", "breath", "dynam", "hairpin", "dir"}
    assert len(proof.notes) == sum(
        c.kind == "marks" and c.part == 1 for c in marked.marking.written
    )


def _painted(name: str, marked: Marked | None) -> tuple[int, str]:
    out = io.BytesIO()
    fonts.register()
    canvas = Canvas(out)
    added = proof_of(_chart(marked), marked.marking, 1).added if marked else ()
    pages = paint_proof_pages(
        canvas, name, added, left=40, right=570, top=750, bottom=660 if marked else 40
    )
    canvas.save()
    pdf = pypdfium2.PdfDocument(out.getvalue())
    assert len(pdf) == pages
    return pages, "\n".join(page.get_textpage().get_text_range() for page in pdf)


def test_the_page_shows_all_of_it_over_as_many_pages_as_it_takes(marked: Marked) -> None:
    pages, words = _painted("Alto Sax 2", marked)
    assert pages > 1
    assert "(continued)" in words
    for what in (
        "accent",
        "slur to bar 1 beat 2and",
        "mf",
        "crescendo to the end of bar 1",
        "off 3",
    ):
        assert what in words


def test_a_part_without_changes_says_so() -> None:
    pages, words = _painted("Alto Sax 1", None)
    assert pages == 1
    assert "Nothing was added to this part." in words
