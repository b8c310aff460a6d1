"""The map as it is drawn: the road map, who plays what, how loud each section is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Chart
from sectionprep.outputs.director.chart_map import ChartMap, chart_map
from sectionprep.outputs.director.map_facts import (
    SCALE,
    PartBars,
    RoadSign,
    loudness,
    road_map,
    sections,
    solos,
    tired_lips,
)
from sectionprep.outputs.director.pen import MARGIN, Pen
from sectionprep.passages import Together

_LABEL = 78.0  # points for the names at the left
_LEAST_CELL = 4.0  # width of a bar in points: narrower ones cannot be told apart; judgement
_LEAST_ROW, _ROW = 6.5, 11.5  # height of a part's row in points; judgement
_LANE = 8.0  # of the road map
_ROAD, _BETWEEN = 50.0, 14.0  # of the road map, letters and numbers; between two windows
_LEGEND = 32.0  # of the key to the map, with the white around it
_LOUD = 13.0  # height of a section's line of loudness
_SEGNO, _CODA = "\ue047", "\ue048"  # SMuFL


def draw_maps(page: Pen, chart: Chart, together: Together, lists: float) -> None:
    """The map, over as many windows and pages as it takes for bars and rows to stay readable.
    lists: points that stand under it, for which rows become lower where one page can hold all."""
    drawn = chart_map(chart, together)
    most = max(1, int((page.inner - _LABEL) / _LEAST_CELL))
    pages = -(-len(drawn.bars) // most)
    step = -(-len(drawn.bars) // pages)
    loud = [(name, loudness(chart, members)) for name, members in sections(chart)]
    loud = [(name, levels) for name, levels in loud if any(n is not None for n in levels)]
    signs, solo, lips = road_map(chart), solos(chart, together), tired_lips(chart)
    below = _LOUD * len(loud) + 60
    whole = _LOUD * len(loud) + _LEGEND + lists
    if pages == 1 and page.room - _ROAD - whole >= len(drawn.rows) * _LEAST_ROW:
        below = max(below, whole)
    most = max(1, int((page.height - 2 * MARGIN - 110 - below) / _LEAST_ROW))
    rows = -(-len(drawn.rows) // -(-len(drawn.rows) // most))
    for first in range(0, len(drawn.bars), step):
        last = min(first + step, len(drawn.bars)) - 1
        for top in range(0, len(drawn.rows), rows):
            fresh = first == top == 0
            if not fresh and page.room < _ROAD + rows * _ROW + below:
                page.turn()
                fresh = True
            page.space(0.0 if fresh else _BETWEEN)
            part_map = _Map(
                page, drawn, chart, first, last, range(len(drawn.rows))[top : top + rows]
            )
            part_map.road(signs)
            part_map.rows(below)
            part_map.passages(together)
            part_map.solos(solo)
            if fresh:
                _legend(page)
            page.space(5)
            part_map.loudness(loud, lips)


class _Map:
    """A window of the map: bars first to last, some rows."""

    def __init__(
        self, page: Pen, drawn: ChartMap, chart: Chart, first: int, last: int, shown: range
    ) -> None:
        self.page, self.drawn, self.chart = page, drawn, chart
        self.first, self.last, self.shown = first, last, shown
        self.canvas: Any = page.canvas
        self.cell = (page.inner - _LABEL) / (last - first + 1)
        self.left = MARGIN + _LABEL
        self.top = self.height = 0.0

    def x(self, bar: int) -> float:
        """Where a bar begins."""
        return self.left + (bar - self.first) * self.cell

    def road(self, signs: Sequence[RoadSign]) -> None:
        """Repeats, endings, signs and jumps, in lanes in which nothing overlaps."""
        canvas, y = self.canvas, self.page.y
        ends = [0.0, 0.0]
        used = 0
        for sign in signs:
            if not self.first <= sign.bar <= self.last:
                continue
            text, begins, stops = self._extent(sign)
            usual = 0 if sign.kind in ("ending", "words") else 1
            free = (n for n in range(usual, len(ends)) if ends[n] < begins)
            lane = next(free, len(ends))
            ends[lane : lane + 1] = [stops + (0 if sign.kind.startswith("repeat") else 2)]
            used = max(used, lane + 1)
            base = y - (lane + 1) * _LANE
            if sign.kind == "ending":
                canvas.setLineWidth(0.5)
                top = base + _LANE - 1.5
                canvas.line(begins, top, max(stops, self.x(min(sign.last, self.last) + 1) - 1), top)
                canvas.line(begins, top, begins, base)
            if sign.kind.startswith("repeat"):
                self._repeat(sign, base)
            music = sign.kind in ("segno", "coda")
            canvas.setFont(fonts.MUSIC if music else fonts.ITALIC, 9 if music else 6.5)
            indent = 2.0 if sign.kind == "ending" else 0.0
            canvas.drawString(begins + indent, base + (3.0 if music else 1.0), text)
        self.page.y = y - used * _LANE - 2

    def _extent(self, sign: RoadSign) -> tuple[str, float, float]:
        """What a sign says, and from where to where it goes."""
        if sign.kind in ("segno", "coda"):
            return _SEGNO if sign.kind == "segno" else _CODA, self.x(sign.bar), self.x(sign.bar) + 8
        wide = fonts.width(sign.text, fonts.ITALIC, 6.5)
        if sign.kind == "ending":
            begins = self.x(sign.bar) + 0.5
            return sign.text, begins, max(begins + wide + 3, self.x(min(sign.last, self.last) + 1))
        if sign.kind == "repeat-start":
            return "", self.x(sign.bar) + 0.1, self.x(sign.bar) + 5
        end = self.x(sign.bar + 1)
        if sign.kind == "repeat-end":
            return sign.text, end - wide - 6, end
        begins = max(self.left, end - wide)
        return sign.text, begins, begins + wide

    def _repeat(self, sign: RoadSign, base: float) -> None:
        """A repeat sign: thick line, thin line, two dots, towards what is repeated."""
        canvas, start = self.canvas, sign.kind == "repeat-start"
        x, way = (self.x(sign.bar), 1) if start else (self.x(sign.bar + 1), -1)
        for away, width in ((0.6, 1.4), (2.4, 0.4)):
            canvas.setLineWidth(width)
            canvas.line(x + way * away, base, x + way * away, base + _LANE - 1)
        for high in (0.38, 0.66):
            canvas.circle(x + way * 4.1, base + high * (_LANE - 1), 0.55, stroke=0, fill=1)

    def rows(self, below: float) -> None:
        """Letters and numbers, then a row for each part. below: points to leave under them."""
        canvas, page = self.canvas, self.page
        bars = self.drawn.bars[self.first : self.last + 1]
        y = page.y - 9
        canvas.setFont(fonts.BOLD, 8)
        free = self.left
        for n, bar in enumerate(bars):
            letter = fonts.printable(bar.letter, fonts.BOLD)[:12]
            x = self.left + n * self.cell
            if letter and x >= free:
                canvas.drawString(x, y, letter)
                free = x + fonts.width(letter, fonts.BOLD, 8) + 2
        y -= 8
        canvas.setFont(fonts.TEXT, 6)
        every = max(4, -(-len(bars) // 28))
        for n, bar in enumerate(bars):
            if n % every == 1 or len(bars) < 12:
                canvas.drawString(self.left + n * self.cell, y, bar.number)
        self.top = y - 3
        room = self.top - MARGIN - below
        self.height = max(_LEAST_ROW, min(_ROW, room / len(self.shown)))
        y = self.top
        for row in self.shown:
            name, kinds = self.drawn.rows[row]
            y -= self.height
            size = min(8.0, self.height - 0.5)
            canvas.setFont(fonts.TEXT, size)
            canvas.drawString(MARGIN, y + self.height * 0.25, _fitted(name, size, _LABEL - 4))
            for n, kind in enumerate(kinds[self.first : self.last + 1]):
                _cell(canvas, self.left + n * self.cell, y, self.cell, self.height, kind)
        canvas.setLineWidth(0.4)
        for n, bar in enumerate(bars):
            if bar.letter:
                canvas.line(self.left + n * self.cell, self.top, self.left + n * self.cell, y)
        page.y = y - 6

    def passages(self, together: Together) -> None:
        """A passage's number stands in a white box where it begins, on its lead's row, where there
        is room for it."""
        taken: dict[int, float] = {}
        for p in together.passages:
            first = self.chart.place(p.start).index
            if p.lead not in self.shown or not self.first <= first <= self.last:
                continue
            x = self.x(first)
            if x >= taken.get(p.lead, 0.0):
                taken[p.lead] = self._boxed(p.id, x, p.lead)

    def solos(self, found: Sequence[PartBars]) -> None:
        """A thick line through the bars of a solo, and the word where it begins."""
        for solo in found:
            if solo.part not in self.shown or solo.last < self.first or solo.first > self.last:
                continue
            y = self._middle(solo.part)
            begins, ends = max(solo.first, self.first), min(solo.last, self.last)
            self.canvas.setLineWidth(2.2)
            self.canvas.line(self.x(begins), y, self.x(ends + 1), y)
            self._boxed("solo", self.x(begins), solo.part)

    def _middle(self, part: int) -> float:
        return self.top - (part - self.shown.start + 0.5) * self.height

    def _boxed(self, text: str, x: float, part: int) -> float:
        """Words on a part's row; where they end."""
        canvas, y = self.canvas, self._middle(part)
        wide = fonts.width(text, fonts.BOLD, 6.5) + 2
        x = min(x, self.x(self.last + 1) - wide)
        canvas.setFillGray(1)
        canvas.rect(x + 0.5, y - 3.2, wide, 6.4, stroke=0, fill=1)
        canvas.setFillGray(0)
        canvas.setFont(fonts.BOLD, 6.5)
        canvas.drawString(x + 1.5, y - 2.3, text)
        return x + wide

    def loudness(
        self, loud: Sequence[tuple[str, Sequence[int | None]]], lips: Sequence[PartBars]
    ) -> None:
        """A quiet line for each section, with the dynamic where it changes; a heavy one under it
        where its first player has no bar of rest for long."""
        canvas, page = self.canvas, self.page
        for name, levels in loud:
            page.y -= _LOUD
            canvas.setFont(fonts.TEXT, 7)
            canvas.drawString(MARGIN, page.y + 2, f"{name}, loudness")
            before: int | None = None
            free = 0.0
            for bar in range(self.first, self.last + 1):
                level = levels[bar]
                if level is not None:
                    x, y = self.x(bar), page.y + 2.5 + (_LOUD - 5) * level / (len(SCALE) - 1)
                    canvas.setStrokeGray(0.45)
                    canvas.setLineWidth(1.0)
                    canvas.line(x, y, x + self.cell, y)
                    canvas.setStrokeGray(0)
                    if level != before and x >= free:
                        canvas.setFont(fonts.ITALIC, 6)
                        canvas.drawString(x + 0.5, y + 1.2, SCALE[level])
                        free = x + 10
                before = level
            for lip in lips:
                self._lip(lip, name)
        page.y -= 4

    def _lip(self, lip: PartBars, section: str) -> None:
        part = self.chart.parts[lip.part]
        begins, ends = max(lip.first, self.first), min(lip.last, self.last)
        if part.chair.section == section and begins <= ends:
            self.canvas.setLineWidth(1.8)
            self.canvas.line(self.x(begins), self.page.y, self.x(ends + 1) - 1, self.page.y)


def _fitted(name: str, size: float, room: float) -> str:
    """A name as far as it fits."""
    name = fonts.printable(name)
    while len(name) > 1 and fonts.width(name, fonts.TEXT, size) > room:
        name = name[:-1].rstrip()
    return name


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
    for width, gray, words in (
        (2.2, 0.0, "solo"),
        (1.0, 0.45, "how loud, as printed"),
        (1.8, 0.0, "brass lead without a bar of rest"),
    ):
        page.canvas.setLineWidth(width)
        page.canvas.setStrokeGray(gray)
        page.canvas.line(x, page.y + 2.5, x + 16, page.y + 2.5)
        page.canvas.setStrokeGray(0)
        page.canvas.setFont(fonts.TEXT, 7.5)
        page.canvas.drawString(x + 19, page.y, words)
        x += 30 + fonts.width(words, fonts.TEXT, 7.5)
    page.y -= 4
