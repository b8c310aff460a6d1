"""The director's pages: a one-page summary with the chart map, and a study page for each
passage."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

from sectionprep.apart import Apart, borrowed
from sectionprep.drawing.engraver.engraver import engrave_bars, get_ready
from sectionprep.drawing.pdf.painter import MM, Painter, new_canvas
from sectionprep.drawing.text import fonts
from sectionprep.music.naming import Players
from sectionprep.outputs.director.engraved import SECONDS, DirectorPages
from sectionprep.outputs.director.pen import Pen
from sectionprep.outputs.director.study import Study, hit_studies, study_excerpt, study_of
from sectionprep.outputs.director.study_page import write_study
from sectionprep.outputs.director.summary import write_summary
from sectionprep.outputs.sheet_look import sheet_look
from sectionprep.results import Marked


def director_pdf(
    marked: Marked,
    *,
    paper: str,
    footer: str,
    pitch: str = "sounding",
    apart: Apart | None = None,
) -> DirectorPages:
    """Summary and study pages of the marked chart as a PDF. pitch: of the study pages, "sounding"
    or "written" (as the players read). apart: processes for the engraver, if there are some."""
    chart, together, plan = marked.again.chart, marked.score.together, marked.plan
    short, long = sorted(side * MM for side in sheet_look().paper[paper])
    out = io.BytesIO()
    canvas = new_canvas(out, long, short, title=f"{chart.title} - director")
    write_summary(canvas, long, short, chart, together, plan, marked.after, footer)
    canvas.setPageSize((short, long))
    pen = Pen(canvas, short, long, footer)
    studies, left_out = studies_of(marked, pitch)
    not_drawn = _write_studies(pen, marked, studies, left_out, apart)
    if studies:
        pen.end()
    canvas.save()
    return DirectorPages(out.getvalue(), not_drawn)


def study_pdf(
    marked: Marked,
    who: Players,
    *,
    paper: str,
    footer: str,
    pitch: str = "sounding",
    apart: Apart | None = None,
) -> DirectorPages:
    """The study pages of one section leader, or of one player: the passages in which they play,
    their own staves and the lead's. apart: as of `director_pdf`."""
    chart = marked.again.chart
    short, long = sorted(side * MM for side in sheet_look().paper[paper])
    out = io.BytesIO()
    canvas = new_canvas(out, short, long, title=f"{chart.title} - study pages for {who.name}")
    pen = Pen(canvas, short, long, footer)
    pen.text(f"{chart.title}: study pages for {who.name}", 16, fonts.BOLD)
    pen.space(4)
    studies, left_out = studies_of(marked, pitch, frozenset(who.parts))
    if not studies:
        pen.text(f"In this chart {who.name} moves together with nobody for long.", 10)
    not_drawn = _write_studies(pen, marked, studies, left_out, apart)
    pen.end()
    canvas.save()
    return DirectorPages(out.getvalue(), not_drawn)


def studies_of(
    marked: Marked, pitch: str, only: frozenset[int] = frozenset()
) -> tuple[list[Study], int]:
    """What is shown of each passage, then of the hits; and how many of these are not. only: of
    those in which these parts play, if any are named."""
    hits, left_out = hit_studies(marked, pitch, only)
    passages = [
        study_of(marked, passage, planned, pitch, only)
        for passage in marked.score.together.passages
        if (planned := marked.plan.of(passage.id)) is not None
        and (not only or only & {*passage.parts, *(guest.part for guest in passage.guests)})
    ]
    return [*passages, *hits], left_out


def _write_studies(
    pen: Pen, marked: Marked, studies: Sequence[Study], left_out: int, apart: Apart | None
) -> tuple[str, ...]:
    """All of them, one under the other. Returns why music is missing, if it is."""
    painter, not_drawn, told = Painter(pen.canvas), list[str](), set[str]()
    get_ready()
    excerpts = (study_excerpt(marked, study, pen.inner / MM) for study in studies)
    with borrowed(apart) as engravers:
        drawings = engravers.each(engrave_bars, excerpts, SECONDS)
        for study, drawing in zip(studies, drawings, strict=True):
            not_drawn += write_study(pen, painter, marked, study, drawing, told)
    if left_out:
        pen.text(f"{left_out} more hits are in the workbook, sheet Marks.", 8.5, fonts.ITALIC)
    return tuple(not_drawn)


def write_map(pdf: Path, out: Path, scale: float = 2.0) -> None:
    """The first page of the director's pages (summary and map) as a picture."""
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    document[0].render(scale=scale, grayscale=True).to_pil().save(
        out, format="PNG", compress_level=3
    )
    document.close()
