"""The director's first page: the chart as a map, its passages, and what is left to settle."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sectionprep.checks import Finding
from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Chart
from sectionprep.music.roadmap import say_order
from sectionprep.music.timing import say_beat
from sectionprep.outputs.director.chart_map import ChartMap, chart_map
from sectionprep.outputs.director.pen import MARGIN, Pen
from sectionprep.passages import Together
from sectionprep.passages.players import lead_label
from sectionprep.phrasing import Plan


def write_summary(
    canvas: Any,
    width: float,
    height: float,
    chart: Chart,
    together: Together,
    plan: Plan,
    after: Sequence[Finding],
    footer: str,
) -> None:
    page = Pen(canvas, width, height, footer)
    page.text(chart.title, 18, fonts.BOLD)
    tempo = f", {chart.tempo:g} beats per minute" if chart.tempo else ""
    page.text(
        f"{len(chart.parts)} parts, {len(chart.bars)} bars{tempo}, phrased as {plan.style}. "
        f"Played: {say_order(chart)}."
    )
    page.space(6)
    _draw_map(page, chart_map(chart, together), together, chart)
    page.space(8)
    page.text("Passages", 11, fonts.BOLD)
    _passage_list(page, chart, together)
    errors = [f for f in after if f.severity != "note"][:5]
    if errors and page.y > MARGIN + 40:
        page.space(4)
        page.text("Left for you", 11, fonts.BOLD)
        for f in errors:
            page.text(f"{chart.place(f.tick)}, {chart.parts[f.part].label}: {f.message}", 8.5)
    page.end()


def _passage_list(page: Pen, chart: Chart, together: Together) -> None:
    """Two columns of one line a passage."""
    size, step = 8.0, 10.0
    top = page.y
    most = max(1, int((top - MARGIN) / step) - 1)
    rows = min(-(-len(together.passages) // 2), most)
    for n, p in enumerate(together.passages[: 2 * rows]):
        column, row = divmod(n, rows)
        start, end = chart.place(p.start), chart.end_place(p.end)
        until = end.bar if end.is_end else f"{end.bar}.{say_beat(end.beat)}"
        words = (
            f"{p.id}   {start.bar}.{say_beat(start.beat)} - {until}   {p.scope}, {p.texture}, lead "
            f"{lead_label(chart, p)}" + (f", as {p.returns}" if p.returns else "")
        )
        page.canvas.setFont(fonts.TEXT, size)
        page.canvas.drawString(
            MARGIN + column * page.inner / 2, top - step * (row + 1), fonts.printable(words)[:95]
        )
    page.y = top - step * rows - 4
    if len(together.passages) > 2 * rows:
        page.canvas.setFont(fonts.ITALIC, size)
        page.canvas.drawString(
            MARGIN, page.y - 6, f"and {len(together.passages) - 2 * rows} more, in the workbook"
        )


def _draw_map(page: Pen, drawn: ChartMap, together: Together, chart: Chart) -> None:
    canvas = page.canvas
    label = 78.0
    cell = (page.inner - label) / max(len(drawn.bars), 1)
    height = min(13.0, (page.height * 0.52) / max(len(drawn.rows), 1))
    left, y = MARGIN + label, page.y
    y -= 9
    canvas.setFont(fonts.BOLD, 8)
    for n, bar in enumerate(drawn.bars):
        if bar.letter:
            canvas.drawString(left + n * cell, y, fonts.printable(bar.letter, fonts.BOLD)[:8])
    y -= 8
    canvas.setFont(fonts.TEXT, 6)
    every = max(4, -(-len(drawn.bars) // 28))
    for n, bar in enumerate(drawn.bars):
        if n % every == 1 or len(drawn.bars) < 12:
            canvas.drawString(left + n * cell, y, bar.number)
    y -= 3
    top = y
    for name, kinds in drawn.rows:
        y -= height
        canvas.setFont(fonts.TEXT, min(8.0, height - 1))
        canvas.drawString(MARGIN, y + height * 0.25, fonts.printable(name)[:20])
        for n, kind in enumerate(kinds):
            _cell(canvas, left + n * cell, y, cell, height, kind)
    canvas.setLineWidth(0.4)
    for n, bar in enumerate(drawn.bars):
        if bar.letter:
            canvas.line(left + n * cell, top, left + n * cell, y)
    _number_passages(canvas, left, top, cell, height, together, chart)
    page.y = y - 6
    _legend(page)


def _number_passages(
    canvas: Any,
    left: float,
    top: float,
    cell: float,
    height: float,
    together: Together,
    chart: Chart,
) -> None:
    """The passage's number stands in a white box where it begins, on its lead's row, where there is
    room for it."""
    taken: dict[int, float] = {}
    for p in together.passages:
        first = chart.place(p.start).index
        x, y = left + first * cell, top - (p.lead + 1) * height
        width = fonts.width(p.id, fonts.BOLD, 6.5) + 2
        if x < taken.get(p.lead, 0.0):
            continue
        taken[p.lead] = x + width
        canvas.setFillGray(1)
        canvas.rect(x + 0.5, y + height / 2 - 3.6, width, 7.2, stroke=0, fill=1)
        canvas.setFillGray(0)
        canvas.setFont(fonts.BOLD, 6.5)
        canvas.drawString(x + 1.5, y + height / 2 - 2.3, p.id)


def _cell(canvas: Any, x: float, y: float, width: float, height: float, kind: str) -> None:
    """Texture by pattern as well as by tone: solid, half tone, slanted lines, dots, a thin line."""
    y, height = y + 0.7, height - 1.4
    if kind == "unison":
        canvas.setFillGray(0.15)
        canvas.rect(x, y, width, height, stroke=0, fill=1)
    elif kind == "octaves":
        canvas.setFillGray(0.15)
        canvas.rect(x, y, width, height * 0.38, stroke=0, fill=1)
        canvas.rect(x, y + height * 0.62, width, height * 0.38, stroke=0, fill=1)
    elif kind == "soli":
        canvas.setLineWidth(0.7)
        steps = max(1, round(width / 2.6))
        for k in range(steps):
            canvas.line(x + k * width / steps, y, x + (k + 1) * width / steps, y + height)
    elif kind == "rhythm":
        canvas.setFillGray(0.3)
        for k in range(max(1, round(width / 4))):
            canvas.circle(
                x + (k + 0.5) * 4 * width / max(width, 4), y + height / 2, 0.8, stroke=0, fill=1
            )
    elif kind == "alone":
        canvas.setLineWidth(0.5)
        canvas.line(x, y + height / 2, x + width, y + height / 2)
    canvas.setFillGray(0)


def _legend(page: Pen) -> None:
    x = MARGIN + 78.0
    page.y -= 9
    for kind, words in (
        ("unison", "unison"),
        ("octaves", "octaves"),
        ("soli", "soli"),
        ("rhythm", "same rhythm on held notes"),
        ("alone", "own line"),
    ):
        _cell(page.canvas, x, page.y - 2, 16, 10, kind)
        page.canvas.setFont(fonts.TEXT, 7.5)
        page.canvas.drawString(x + 19, page.y, words)
        x += 30 + fonts.width(words, fonts.TEXT, 7.5)
    page.y -= 4
