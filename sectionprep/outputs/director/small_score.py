"""The whole marked score, small, for the director's stand or bag.

Bars are engraved a few lines at a time (a whole score at once costs the engraver memory without
end) and each system is scaled so that all staves fit on the page.
"""

from __future__ import annotations

import io
from collections import Counter
from concurrent.futures import Future
from dataclasses import replace
from typing import Any

from sectionprep.apart import Apart
from sectionprep.drawing.engraver.engraver import EngravingFailed, engrave_bars, get_ready
from sectionprep.drawing.pdf.painter import MM, UNIT, Painter, new_canvas
from sectionprep.drawing.scene import chord_symbols
from sectionprep.drawing.scene.ink import System
from sectionprep.drawing.scene.jazz_marks import overlays_of
from sectionprep.drawing.scene.line_extras import jazz_extras
from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Chart
from sectionprep.musicxml.copies.excerpt import Pick, extract_excerpt
from sectionprep.musicxml.document import Document
from sectionprep.outputs.director.engraved import SECONDS, DirectorPages, take_drawing
from sectionprep.outputs.director.staves import pick_staff
from sectionprep.results import Score
from sectionprep.settings import load_toml

_STAFF_MM = 4.0
# height that a staff takes with its neighbours' ledger lines and signs; judgement from drawn scores
_BAND_MM = 8.8
_LARGEST = 1.3  # scale up to which few staves grow: beyond it the score is small no more
_CHUNK = 16  # bars engraved at a time, at the least: whole lines of four
_MARGIN = 10 * MM
_GAP = 6 * MM


def small_score_pdf(
    score: Score, *, paper: str, footer: str, pitch: str = "written"
) -> DirectorPages:
    """All parts in score order as a PDF. pitch: "written" as the players read, or "sounding"."""
    document, chart = score.document, score.chart
    width, height = (side * MM for side in load_toml("templates/sheets.toml")["paper"][paper])
    out = io.BytesIO()
    canvas = new_canvas(out, width, height, title=f"{chart.title} - score", author=chart.composer)
    pages = _Pages(canvas, chart, width, height, footer, pitch)
    missing = pages.paint(document)
    pages.end()
    canvas.save()
    return DirectorPages(out.getvalue(), tuple(missing))


def _chunks(chart: Chart) -> list[tuple[int, int]]:
    """(first, last) bars to engrave at a time. Where some parts change their key and others do not
    (a doubling, say) a new one begins: inside one, the engraver would give the new key to every
    staff."""
    keyed = [part for part in chart.parts if part.keys]
    moved = Counter(chart.bar_at(tick).index for part in keyed for tick, _ in part.keys)
    changes = {bar for bar, parts in moved.items() if parts < len(keyed)}
    starts = [0]
    for bar in range(1, len(chart.bars)):
        if bar - starts[-1] >= _CHUNK or bar in changes:
            starts.append(bar)
    return [
        (first, after - 1)
        for first, after in zip(starts, [*starts[1:], len(chart.bars)], strict=True)
    ]


class _Pages:
    """Systems one under the other, page after page."""

    def __init__(
        self, canvas: Any, chart: Chart, width: float, height: float, footer: str, pitch: str
    ) -> None:
        self.canvas, self.chart, self.footer, self.pitch = canvas, chart, footer, pitch
        self.width, self.height = width, height
        self.painter = Painter(canvas)
        self.overlays = {
            name: marks for part in chart.parts for name, marks in overlays_of(part).items()
        }
        self.page = 1
        self.y = self._head()

    def paint(self, document: Document) -> list[str]:
        """All pages. Returns why bars are missing, if some are."""
        staves = sum(max(part.staves, 1) for part in self.chart.parts)
        room = self.height - 2 * _MARGIN - 22
        scale = min(_LARGEST, room / (staves * _BAND_MM * MM))
        width_mm = (self.width - 2 * _MARGIN) / MM / scale
        chunks = _chunks(self.chart)
        excerpts = (
            (
                extract_excerpt(document, self._picks(*bars), *bars, road_map=True),
                width_mm,
                _STAFF_MM,
                "score",
            )
            for bars in chunks
        )
        get_ready()
        with Apart() as apart:
            drawings = apart.each(engrave_bars, excerpts, SECONDS)
            return [
                missing
                for (first, last), drawing in zip(chunks, drawings, strict=True)
                for missing in self._bars(first, last, drawing, scale, room)
            ]

    def _bars(
        self, first: int, last: int, drawing: Future[str], scale: float, room: float
    ) -> list[str]:
        """Some lines of the score."""
        numbers = self.chart.bars[first].number, self.chart.bars[last].number
        try:
            systems, glyphs = take_drawing(drawing, f"score, bars {numbers[0]} to {numbers[1]}")
        except EngravingFailed as error:
            self._sorry(str(error))
            return [str(error)]
        self.painter.learn(glyphs)
        for system in systems:
            system.top = min(system.top, system.staff_top - 480)  # room for the bar number
            self._place(system, scale, room, self.chart.bars[min(first, last)].number)
            first += len(system.measures)
        return []

    def end(self) -> None:
        """End the last page."""
        self._foot()
        self.canvas.showPage()

    def _picks(self, first: int, last: int) -> list[Pick]:
        """All parts as they stand in these bars; full names only at the very beginning."""
        start, end = self.chart.bars[first].start, self.chart.bars[last].end
        picks = [
            pick_staff(
                self.chart,
                part.index,
                self.pitch,
                start,
                end,
                label=part.label[:24],
                group=part.chair.section if part.chair.sure else "",
            )
            for part in self.chart.parts
        ]
        return [replace(pick, label=pick.abbreviation) for pick in picks] if first else picks

    def _place(self, system: System, scale: float, room: float, number: str) -> None:
        jazz = jazz_extras(system, self.overlays, _STAFF_MM / 7.5)
        tall = (system.bottom - system.top) * UNIT * scale
        if tall > room:
            scale, tall = scale * room / tall, room
        if tall > self.y - _MARGIN - 8 and self.y < self.height - _MARGIN - 60:
            self._turn()
        self.canvas.saveState()
        self.canvas.translate(_MARGIN, self.y)
        self.canvas.scale(scale, scale)
        staff_y = -(system.staff_top - system.top) * UNIT
        self.painter.system(system, 0, staff_y)
        with self.painter.at(system, 0, staff_y):
            for extra in jazz:
                extra.paint(self.painter)
            for name, spot in system.chords.items():
                chord_symbols.draw(
                    self.painter,
                    spot.x,
                    spot.y,
                    system.chord_texts[name],
                    chord_symbols.SIZE * _STAFF_MM / 7.5,
                )
            left = system.bar_edges[0][1] if system.bar_edges else 0.0
            self.painter.text(left, system.staff_top - 260, number, fonts.ITALIC, 260)
        self.canvas.restoreState()
        self.y -= tall + _GAP

    def _turn(self) -> None:
        self._foot()
        self.canvas.showPage()
        self.page += 1
        self.y = self._head()

    def _head(self) -> float:
        top = self.height - _MARGIN
        if self.page == 1:
            self.canvas.setFont(fonts.BOLD, 14)
            self.canvas.drawString(_MARGIN, top - 11, fonts.printable(self.chart.title, fonts.BOLD))
            self.canvas.setFont(fonts.TEXT, 8)
            words = (
                "score, as the players read" if self.pitch == "written" else "score, sounding pitch"
            )
            self.canvas.drawRightString(self.width - _MARGIN, top - 9, words)
            return top - 22
        self.canvas.setFont(fonts.ITALIC, 8)
        self.canvas.drawString(_MARGIN, top - 6, fonts.printable(self.chart.title, fonts.ITALIC))
        self.canvas.drawRightString(self.width - _MARGIN, top - 6, str(self.page))
        return top - 14

    def _foot(self) -> None:
        self.canvas.setFont(fonts.TEXT, 6.5)
        self.canvas.drawString(_MARGIN, _MARGIN - 8, fonts.printable(self.footer))

    def _sorry(self, words: str) -> None:
        self.y -= 12
        self.canvas.setFont(fonts.ITALIC, 9)
        self.canvas.drawString(_MARGIN, self.y, fonts.printable(words, fonts.ITALIC))
