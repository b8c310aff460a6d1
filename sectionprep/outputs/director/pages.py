"""The director's pages: a one-page summary with the chart map, and a study page for each
passage."""

from __future__ import annotations

import io
from pathlib import Path

from sectionprep.apart import Apart
from sectionprep.drawing.engraver.engraver import engrave_passage, get_ready
from sectionprep.drawing.pdf.painter import MM, Painter, new_canvas
from sectionprep.outputs.director.engraved import SECONDS, DirectorPages
from sectionprep.outputs.director.pen import MARGIN, Pen
from sectionprep.outputs.director.study import study_excerpt, study_of, write_study
from sectionprep.outputs.director.summary import write_summary
from sectionprep.results import Marked
from sectionprep.settings import load_toml


def director_pdf(
    marked: Marked, *, paper: str, footer: str, pitch: str = "sounding"
) -> DirectorPages:
    """Summary and study pages of the marked chart as a PDF. pitch: of the study pages, "sounding"
    or "written" (as the players read)."""
    chart, together, plan = marked.again.chart, marked.score.together, marked.plan
    short, long = sorted(side * MM for side in load_toml("templates/sheets.toml")["paper"][paper])
    out = io.BytesIO()
    canvas = new_canvas(out, long, short, title=f"{chart.title} - director")
    write_summary(canvas, long, short, chart, together, plan, marked.after, footer)
    canvas.setPageSize((short, long))
    pen, painter = Pen(canvas, short, long, footer), Painter(canvas)
    get_ready()
    studies = [
        study_of(marked, passage, planned, pitch)
        for passage in together.passages
        if (planned := plan.of(passage.id)) is not None
    ]
    excerpts = (study_excerpt(marked, study, (short - 2 * MARGIN) / MM) for study in studies)
    not_drawn: list[str] = []
    with Apart() as apart:
        drawings = apart.each(engrave_passage, excerpts, SECONDS)
        for study, drawing in zip(studies, drawings, strict=True):
            not_drawn += write_study(pen, painter, marked, study, drawing)
    if studies:
        pen.end()
    canvas.save()
    return DirectorPages(out.getvalue(), tuple(not_drawn))


def write_map(pdf: Path, out: Path, scale: float = 2.0) -> None:
    """The first page of the director's pages (summary and map) as a picture."""
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    document[0].render(scale=scale, grayscale=True).to_pil().save(
        out, format="PNG", compress_level=3
    )
    document.close()
