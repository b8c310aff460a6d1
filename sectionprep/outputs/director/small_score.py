"""The whole marked score, small, for the director's stand or bag.

Bars are engraved a few lines at a time (a whole score at once costs the engraver memory without
end) and each system is scaled so that all staves fit on the page.
"""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

from sectionprep.apart import Apart, borrowed
from sectionprep.drawing.engraver.excerpts import engrave_bars
from sectionprep.drawing.engraver.toolkit import EngravingFailed, get_ready
from sectionprep.drawing.paging.lines_and_pages import INDENT
from sectionprep.drawing.pdf.painter import MM, UNIT, Painter, new_canvas
from sectionprep.drawing.scene import chord_symbols
from sectionprep.drawing.scene.ink import System
from sectionprep.drawing.scene.jazz_marks import overlays_of
from sectionprep.drawing.scene.line_extras import Extra, chord_extra, jazz_extras
from sectionprep.drawing.scene.road_signs import beside_letters
from sectionprep.drawing.scene.skyline import raised_chords, set_apart
from sectionprep.drawing.scene.spacing import SUNG, indented, syllables_apart, unclashed
from sectionprep.drawing.scene.staff_rows import rows_apart
from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Chart
from sectionprep.music.roadmap import coda_bar
from sectionprep.musicxml.copies.excerpt import Pick, extract_excerpt
from sectionprep.musicxml.copies.rhythm_cues import RhythmCue, add_rhythm_cue
from sectionprep.musicxml.document import Document
from sectionprep.outputs.director.engraved import SECONDS, DirectorPages, take_drawing
from sectionprep.outputs.director.numbers import numbered
from sectionprep.outputs.director.staves import pick_staff
from sectionprep.outputs.parts.rhythm_choice import Caught, rhythm_cues
from sectionprep.outputs.sheet_look import sheet_look
from sectionprep.results import Score

if TYPE_CHECKING:
    from lxml import etree

_STAFF_MM = 4.0
# height that a staff takes with its neighbours' ledger lines and signs; judgement from drawn scores
_BAND_MM = 8.4
_LARGEST = 1.0  # scale up to which few staves grow: beyond it the score is small no more
_LEAST_MM = 3.0  # staff height down to which two lines go on one page; judgement
_TIGHTER = 0.92  # as much smaller may a page be drawn so that its last line still fits; judgement
_CHUNK = 24  # bars engraved at a time, at the most; pieces of a score are about equally long
_NUMBER = 260.0  # size of bar numbers, hundredths of a millimetre
_MARGIN = 10 * MM
_GAP, _WIDEST_GAP = 6 * MM, 24 * MM  # between two lines of music


def small_score_pdf(
    score: Score,
    *,
    paper: str,
    footer: str,
    pitch: str = "written",
    caught: Sequence[Caught] = (),
    apart: Apart | None = None,
) -> DirectorPages:
    """All parts in score order as a PDF. pitch: "written" as the players read, or "sounding";
    caught: what the horns hit, to be shown over the slashes of the rhythm section; apart: processes
    for the engraver, if there are some."""
    document, chart = score.document, score.chart
    width, height = (side * MM for side in sheet_look().paper[paper])
    out = io.BytesIO()
    canvas = new_canvas(out, width, height, title=f"{chart.title} - score", author=chart.composer)
    pages = _Pages(canvas, chart, width, height, footer, pitch)
    pages.over_slashes = {
        (part.index, cue.bar): replace(cue, words="")  # who plays stands over it
        for part in chart.parts
        for cue in rhythm_cues(chart, part, caught)
    }
    missing = pages.paint(document, apart)
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
    edges = [0, *sorted(changes - {0}), len(chart.bars)]
    starts: list[int] = []
    for first, after in pairwise(edges):
        pieces = -(-(after - first) // _CHUNK)
        starts += [first + n * (after - first) // pieces for n in range(pieces)]
    return [
        (first, after - 1)
        for first, after in zip(starts, [*starts[1:], len(chart.bars)], strict=True)
    ]


def _scale(staves: int, room: float) -> float:
    """How much smaller than the usual staff: so that two lines of music stand on a page where that
    leaves the staves readable, else one. room: points."""
    tall = staves * _BAND_MM * MM
    two = (room - _GAP) / (2 * tall)
    return min(_LARGEST, two if two * _STAFF_MM >= _LEAST_MM else room / tall)


def _chords(system: System, size: float) -> dict[str, Extra]:
    """The chord symbols of a line, by id. size: of the staff, as a share of the usual one."""
    raised = zip(
        system.chords.items(), raised_chords(system, chord_symbols.SIZE * size), strict=True
    )
    return {
        name: chord_extra(
            spot.x, spot.y - up * size, system.chord_texts[name], chord_symbols.SIZE * size
        )
        for (name, spot), up in raised
    }


class _Line(NamedTuple):
    """A line of the score that waits for its page."""

    system: System
    extras: list[Extra]

    @property
    def tall(self) -> float:
        """Its height in points at the full size."""
        return (self.system.bottom - self.system.top) * UNIT


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
        self.over_slashes: dict[tuple[int, int], RhythmCue] = {}
        self.y = self._head()
        self.coda = coda_bar(chart)
        self.waiting: list[_Line] = []
        self.scale = 1.0

    def paint(self, document: Document, apart: Apart | None) -> list[str]:
        """All pages. Returns why bars are missing, if some are."""
        staves = sum(max(part.staves, 1) for part in self.chart.parts)
        room = self.height - 2 * _MARGIN - 22
        self.scale = _scale(staves, room)
        width_mm = (self.width - 2 * _MARGIN) / MM / self.scale
        chunks = _chunks(self.chart)
        excerpts = (
            (
                extract_excerpt(
                    document,
                    self._picks(*bars),
                    *bars,
                    road_map=True,
                    finish=partial(self._put_cue, document),
                ),
                width_mm,
                _STAFF_MM,
                "score",
            )
            for bars in chunks
        )
        get_ready()
        with borrowed(apart) as engravers:
            drawings = engravers.each(engrave_bars, excerpts, SECONDS)
            return [
                missing
                for (first, last), drawing in zip(chunks, drawings, strict=True)
                for missing in self._bars(first, last, drawing)
            ]

    def _put_cue(self, document: Document, part: int, bar: int, measure: etree._Element) -> None:
        """What the horns hit, over the slashes of a bar; in each part under an id of its own."""
        cue = self.over_slashes.get((part, bar))
        if cue is None:
            return
        own = len(measure)
        add_rhythm_cue(measure, document, cue)
        for note in list(measure)[own:]:
            if note.get("id"):
                note.set("id", f"{note.get('id')}-{part}")

    def _bars(self, first: int, last: int, drawing: Future[str]) -> list[str]:
        """Some lines of the score."""
        numbers = self.chart.bars[first].number, self.chart.bars[last].number
        try:
            systems, glyphs = take_drawing(drawing, f"score, bars {numbers[0]} to {numbers[1]}")
        except EngravingFailed as error:
            self._paint_waiting()
            self._sorry(str(error))
            return [str(error)]
        self.painter.learn(glyphs)
        for system in systems:
            if first and first == self.coda:
                system = indented(system, INDENT, self._room)
            self._take(self._line(system, self.chart.bars[min(first, last)].number))
            first += len(system.measures)
        return []

    def end(self) -> None:
        """End the last page."""
        self._paint_waiting()
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

    def _line(self, system: System, number: str) -> _Line:
        size = _STAFF_MM / 7.5
        loose = beside_letters(syllables_apart(unclashed(system), SUNG))
        roomy = rows_apart(loose, {name: one.box for name, one in _chords(loose, size).items()})
        jazz = jazz_extras(roomy, self.overlays, size)
        left = roomy.bar_edges[0][1] if roomy.bar_edges else 0.0
        raised, numbers = numbered(roomy, [(left, number)], _NUMBER)
        added = [*jazz, *numbers, *_chords(roomy, size).values()]
        return _Line(set_apart(raised, [extra.box for extra in added]), added)

    def _take(self, line: _Line) -> None:
        """A line goes on the page with those before it, if that is at most a little too full."""
        if self.waiting and self._share([*self.waiting, line]) < _TIGHTER:
            self._paint_waiting()
            self._turn()
        self.waiting.append(line)

    def _share(self, lines: Sequence[_Line]) -> float:
        """By how much lines have to be smaller to fit on what is left of the page."""
        room = self.y - _MARGIN - 8 - (len(lines) - 1) * _GAP / 2
        return room / sum(line.tall * self.scale for line in lines)

    def _narrow(self, line: _Line) -> float:
        """By how much a line has to be smaller to end at the margin: one bar may be too full."""
        right = max((right for _, _, right in line.system.bar_edges), default=0.0)
        return min(1.0, self._room / max(1.0, right + line.system.indent))

    @property
    def _room(self) -> float:
        """Width of a line, in its own measure."""
        return (self.width - 2 * _MARGIN) / (UNIT * self.scale)

    def _paint_waiting(self) -> None:
        """The lines that wait, spread over the page."""
        if not self.waiting:
            return
        scale = self.scale * min(1.0, self._share(self.waiting))
        left = self.y - _MARGIN - 8 - sum(line.tall * scale for line in self.waiting)
        gap = min(_WIDEST_GAP, left / max(1, len(self.waiting) - 1))
        for line in self.waiting:
            self._paint(line, min(scale, self.scale * self._narrow(line)))
            self.y -= line.tall * scale + gap
        self.waiting = []

    def _paint(self, line: _Line, scale: float) -> None:
        system = line.system
        self.canvas.saveState()
        self.canvas.translate(_MARGIN, self.y)
        self.canvas.scale(scale, scale)
        staff_y = -(system.staff_top - system.top) * UNIT
        self.painter.system(system, 0, staff_y)
        with self.painter.at(system, 0, staff_y):
            self.painter.extras(line.extras)
        self.canvas.restoreState()

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
