"""The director's pages: a one-page summary with the chart map, and a study page for each
passage."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import NamedTuple

from sectionprep.apart import Apart, borrowed
from sectionprep.drawing.engraver.excerpts import engrave_bars
from sectionprep.drawing.engraver.toolkit import get_ready
from sectionprep.drawing.pdf.painter import MM, Painter, new_canvas
from sectionprep.drawing.text import fonts
from sectionprep.music.naming import Players
from sectionprep.outputs.director.engraved import SECONDS, DirectorPages
from sectionprep.outputs.director.pen import Pen
from sectionprep.outputs.director.study import Study, hit_studies, study_excerpt, study_of
from sectionprep.outputs.director.study_page import write_study
from sectionprep.outputs.director.summary import write_summary
from sectionprep.outputs.names import safe_name
from sectionprep.outputs.sheet_look import sheet_look
from sectionprep.results import Marked


def director_pdf(
    marked: Marked, shown: Shown, *, paper: str, footer: str, apart: Apart | None = None
) -> DirectorPages:
    """Summary and study pages of the marked chart as a PDF. shown: on the study pages; apart:
    processes for the engraver, if there are some."""
    chart, together, plan = marked.again.chart, marked.score.together, marked.plan
    short, long = sorted(side * MM for side in sheet_look().paper[paper])
    out = io.BytesIO()
    canvas = new_canvas(out, long, short, title=f"{chart.title} - director")
    write_summary(canvas, long, short, chart, together, plan, marked.after, footer)
    canvas.setPageSize((short, long))
    pen = Pen(canvas, short, long, footer)
    not_drawn = _write_studies(pen, marked, shown, apart)
    if shown.studies:
        pen.end()
    canvas.save()
    return DirectorPages(out.getvalue(), not_drawn)


def study_pdf(
    marked: Marked,
    who: Players,
    shown: Shown,
    *,
    paper: str,
    footer: str,
    apart: Apart | None = None,
) -> DirectorPages:
    """The study pages of one section leader, or of one player: the passages in which they play,
    their own staves and the lead's. shown: what these are; apart: as of `director_pdf`."""
    chart = marked.again.chart
    short, long = sorted(side * MM for side in sheet_look().paper[paper])
    out = io.BytesIO()
    canvas = new_canvas(out, short, long, title=f"{chart.title} - study pages for {who.name}")
    pen = Pen(canvas, short, long, footer)
    pen.text(f"{chart.title}: study pages for {who.name}", 16, fonts.BOLD)
    pen.space(4)
    if not shown.studies:
        pen.text(f"In this chart {who.name} moves together with nobody for long.", 10)
    not_drawn = _write_studies(pen, marked, shown, apart)
    pen.end()
    canvas.save()
    return DirectorPages(out.getvalue(), not_drawn)


class Shown(NamedTuple):
    """What is shown of each passage, then of the hits, and how many of these are not. Nothing more
    is needed of the trees of the marked chart."""

    studies: list[Study]
    left_out: int


def studies_of(
    marked: Marked, pitch: str = "sounding", only: frozenset[int] = frozenset()
) -> Shown:
    """What study pages show. pitch: "sounding" or "written" (as the players read); only: passages
    and hits in which these parts play, if any are named."""
    hits, left_out = hit_studies(marked, pitch, only)
    passages = [
        study_of(marked, passage, planned, pitch, only)
        for passage in marked.score.together.passages
        if (planned := marked.plan.of(passage.id)) is not None
        and (not only or only & {*passage.parts, *(guest.part for guest in passage.guests)})
    ]
    return Shown([*passages, *hits], left_out)


def shown_studies(
    marked: Marked, pitch: str, own: Iterable[Players]
) -> dict[Players | None, Shown]:
    """What is shown on the director's study pages (None), and on those of each who has his own."""
    return {None: studies_of(marked, pitch)} | {
        who: studies_of(marked, pitch, frozenset(who.parts)) for who in own
    }


def write_pages(
    marked: Marked,
    shown: Mapping[Players | None, Shown],
    place: Path,
    paper: str,
    footer: str,
    apart: Apart | None,
) -> tuple[str, ...]:
    """The director's pages, the map as a picture, and the study pages of each who has his own.
    place: folder and stem of their names. Returns why music is missing in them."""
    pdf = place.with_name(f"{place.name}_director.pdf")
    not_drawn: tuple[str, ...] = ()
    for who, studies in shown.items():
        if who is None:
            pages = director_pdf(marked, studies, paper=paper, footer=footer, apart=apart)
            pdf.write_bytes(pages.pdf)
            write_map(pdf, place.with_name(f"{place.name}_map.png"))
        else:
            pages = study_pdf(marked, who, studies, paper=paper, footer=footer, apart=apart)
            name = f"{place.name}_study_{safe_name(who.name)}.pdf"
            place.with_name(name).write_bytes(pages.pdf)
        not_drawn += pages.not_drawn
    return not_drawn


def _write_studies(pen: Pen, marked: Marked, shown: Shown, apart: Apart | None) -> tuple[str, ...]:
    """All of them, one under the other. Returns why music is missing, if it is."""
    painter, not_drawn, told = Painter(pen.canvas), list[str](), set[str]()
    get_ready()
    excerpts = (study_excerpt(study, pen.inner / MM) for study in shown.studies)
    with borrowed(apart) as engravers:
        drawings = engravers.each(engrave_bars, excerpts, SECONDS)
        for study, drawing in zip(shown.studies, drawings, strict=True):
            not_drawn += write_study(pen, painter, marked, study, drawing, told)
    if shown.left_out:
        pen.text(f"{shown.left_out} more hits are in the workbook, sheet Marks.", 8.5, fonts.ITALIC)
    return tuple(not_drawn)


def write_map(pdf: Path, out: Path, scale: float = 2.0) -> None:
    """The first page of the director's pages (summary and map) as a picture."""
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    document[0].render(scale=scale, grayscale=True).to_pil().save(
        out, format="PNG", compress_level=3
    )
    document.close()
