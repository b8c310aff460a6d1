"""One player's part as pages of a PDF."""

from __future__ import annotations

import os
from dataclasses import replace
from typing import Any

from sectionprep.drawing.engraver.part import Engraving
from sectionprep.drawing.engraver.toolkit import EngravingFailed
from sectionprep.drawing.pdf.painter import MM, UNIT, Painter, new_canvas
from sectionprep.garbage import collector_at_rest
from sectionprep.outputs.parts import page_heads
from sectionprep.outputs.parts.laying_out import LaidOut, laid_out, scale_of
from sectionprep.outputs.parts.page_heads import PageFrame, frame_of
from sectionprep.outputs.parts.part_job import PartJob, SheetReport
from sectionprep.outputs.parts.proof_pages import paint_proof_pages
from sectionprep.outputs.sheet_look import sheet_look


@collector_at_rest()
def draw_part(job: PartJob) -> SheetReport:
    """Engrave a part and write its PDF to job.out."""
    frame = frame_of(job.style.paper)
    canvas = new_canvas(
        str(job.out),
        frame.width,
        frame.height,
        title=f"{job.title} - {job.name}",
        author=job.composer,
        subject=job.footer,
    )
    try:
        report = paint_part(canvas, job)
    except EngravingFailed as error:  # one part that cannot be drawn keeps nobody else from theirs
        return SheetReport(
            name=job.name,
            path=job.out,
            pages=0,
            staves=(),
            turns=(),
            bars_per_line=(),
            failed=str(error),
        )
    canvas.save()
    return report


def paint_part(canvas: Any, job: PartJob) -> SheetReport:
    """Engrave a part onto a canvas, starting on a fresh page and ending each page."""
    frame = frame_of(job.style.paper)
    painter = Painter(canvas)
    sheet = laid_out(job)
    job = replace(job, remarks=sheet.remarks)
    engraving, broken = sheet.engraving, sheet.fit.pages
    painter.learn(engraving.glyphs)
    starts, turns = broken.starts, [turn.behind(broken.cover) for turn in broken.turns]
    ends = [*starts[1:], len(sheet.fit.lines)]
    pages = len(starts)
    if broken.cover:
        page_heads.cover(canvas, frame, job, pages + 1)
    for number, (first, last) in enumerate(zip(starts, ends, strict=True), start=1):
        page_heads.header(canvas, frame, job, number, broken.cover)
        shown = number + broken.cover
        here = [turn for turn in turns if turn.page == shown]
        said = any(e.kind == "syllable" for line in sheet.extras[first:last] for e in line)
        page_heads.footer(canvas, frame, job, shown, pages + broken.cover, here, said)
        if number == 1:
            page_heads.warning(canvas, frame, job, [d.bar for d in engraving.proved.differences])
            page_heads.foot_of_first_page(canvas, frame, job)
        _place(painter, frame, job, sheet, range(first, last), number == 1, number == pages)
        canvas.showPage()
    if job.proof is not None:
        pages += paint_proof_pages(
            canvas,
            job.name,
            job.proof.added,
            left=frame.side,
            right=frame.width - frame.side,
            top=frame.height - frame.top,
            bottom=frame.bottom,
        )
    per_line = tuple(b - a + 1 for a, b in engraving.lines)
    return SheetReport(
        name=job.name,
        path=job.out,
        pages=pages + broken.cover,
        cover=broken.cover,
        staves=tuple(b - a for a, b in zip(starts, ends, strict=True)),
        staff=job.style.staff * sheet.fit.share,
        turns=tuple(turns),
        bars_per_line=per_line,
        remarks=job.remarks,
        heads=engraving.proved.expected,
        proved=engraving.proved.heads,
        pitches=engraving.proved.pitches,
        accidentals=engraving.proved.accidentals,
        differences=engraving.proved.differences,
        process=os.getpid(),
    )


def _place(
    painter: Painter,
    frame: PageFrame,
    job: PartJob,
    sheet: LaidOut,
    lines: range,
    is_first: bool,
    is_last: bool,
) -> None:
    """Paint some lines of a part onto one page."""
    engraving, heights = sheet.engraving, [line.height for line in sheet.fit.lines]
    most = sheet_look().page.gap_most * MM
    used = sum(heights[n] for n in lines)
    spare = (frame.room(is_first) - used) / max(len(lines) - 1, 1)
    gap = min(max(spare, sheet.fit.gap), most) if not is_last or spare < most else most * 0.8
    proof = job.proof
    pale = (
        {*proof.notes, *(name for name, key in engraving.signs.items() if key in proof.signs)}
        if proof is not None
        else ()
    )
    y = frame.height - frame.top - (frame.head_first if is_first else frame.head_later)
    for n in lines:
        system = engraving.systems[n]
        scale = scale_of(job) * system.scale * sheet.fit.share
        unit = UNIT * scale
        ink = (system.bottom - system.top) * unit
        slack = max(0.0, heights[n] - ink) / 2
        staff_y = y - slack - (system.staff_top - system.top) * unit
        painter.system(system, frame.side, staff_y, pale, scale)
        if job.changed.intersection(_numbers_on(job, engraving, n)):
            _margin_bar(painter, frame, staff_y, (system.staff_bottom - system.staff_top) * unit)
        with painter.at(system, frame.side, staff_y, scale):
            for extra in sheet.extras[n]:
                extra.paint(painter)
        y -= heights[n] + gap


def _numbers_on(job: PartJob, engraving: Engraving, line: int) -> set[str]:
    """Printed numbers of the bars of a line, those inside long rests among them."""
    first, last = engraving.lines[line]
    bars = engraving.bars[first : last + 1]
    return {number for bar in bars for number in job.numbers[bar.index : bar.index + bar.bars]}


_MARGIN_BAR = 2.5  # points wide
_FROM_STAFF = 9.0  # points between it and the line


def _margin_bar(painter: Painter, frame: PageFrame, top: float, height: float) -> None:
    """Beside a line with something new. top: of its staff, points above the foot of the page."""
    x = frame.side - _FROM_STAFF
    painter.canvas.rect(x, top - height, _MARGIN_BAR, height, stroke=0, fill=1)
