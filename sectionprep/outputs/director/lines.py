"""Lines of music on the director's pages: staves apart, with falls and bar numbers, and painted."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import islice
from typing import NamedTuple

from sectionprep.drawing.paging.lines_and_pages import INDENT
from sectionprep.drawing.pdf.painter import UNIT, Painter
from sectionprep.drawing.scene.ink import System
from sectionprep.drawing.scene.jazz_marks import overlays_of
from sectionprep.drawing.scene.line_extras import Extra, jazz_extras
from sectionprep.drawing.scene.road_signs import beside_letters
from sectionprep.drawing.scene.skyline import set_apart
from sectionprep.drawing.scene.spacing import SAID, indented, syllables_apart, unclashed
from sectionprep.drawing.scene.staff_rows import rows_apart
from sectionprep.music.chart import Chart
from sectionprep.music.roadmap import coda_bar
from sectionprep.outputs.director.numbers import numbered
from sectionprep.outputs.director.pen import MARGIN, Pen

_NUMBER = 260.0  # size of bar numbers, hundredths of a millimetre
_GAP_SIGN = "// "  # before the number of a bar that does not follow the one printed before it


class MusicLine(NamedTuple):
    """A line of music, and what we add to it. wide: how far it and its neighbours reach."""

    system: System
    extras: list[Extra]
    wide: float

    def share(self, pen: Pen) -> float:
        """How much smaller it is drawn, with its neighbours: what is wider than the page is made to
        fit it."""
        return pen.share(self.wide * UNIT)

    def tall(self, pen: Pen) -> float:
        """Points that it takes."""
        return (self.system.bottom - self.system.top) * UNIT * self.share(pen)


def music_lines(
    chart: Chart, parts: Iterable[int], bars: Sequence[int], systems: Sequence[System], staff: float
) -> Iterator[MusicLine]:
    """The lines of an excerpt with what we add to them: falls and their like, bar numbers at the
    left and wherever bars are left out. parts, bars: indices; staff: millimetres."""
    overlays = {name: m for p in parts for name, m in overlays_of(chart.parts[p]).items()}
    wide = max((x for system in systems for *_, x in system.bar_edges), default=0.0)
    coda, begin = coda_bar(chart), iter(bars)
    for system, numbers in zip(systems, bar_numbers(chart, bars, systems), strict=True):
        first = [*islice(begin, len(system.measures))][:1]
        line = indented(system, INDENT, wide) if coda and [coda] == first else system
        roomy = rows_apart(beside_letters(syllables_apart(unclashed(line), SAID)), {})
        jazz = jazz_extras(roomy, overlays, staff / 7.5)
        raised, written = numbered(roomy, numbers, _NUMBER)
        added = [*jazz, *written]
        yield MusicLine(set_apart(raised, [extra.box for extra in added]), added, wide)


def bar_numbers(
    chart: Chart, shown_bars: Sequence[int], systems: Sequence[System]
) -> Iterator[list[tuple[float, str]]]:
    """For each line where a number begins, and what it says. shown_bars: indices."""
    bars, before = iter(shown_bars), shown_bars[0] - 1
    for system in systems:
        left = {name: x for name, x, _ in reversed(system.bar_edges)}
        numbers = []
        shown = islice(bars, len(system.measures))
        for n, (name, bar) in enumerate(zip(system.measures, shown, strict=False)):
            sign = _GAP_SIGN if bar != before + 1 else ""
            if (n == 0 or sign) and name in left:
                numbers.append((left[name], sign + chart.bars[bar].number))
            before = bar
        yield numbers


def paint_line(
    pen: Pen, painter: Painter, line: MusicLine, also: Callable[[], None] = lambda: None
) -> None:
    """Paint a line where the pen stands, and go on under it. also: paints more, with the painter at
    the line."""
    system, share = line.system, line.share(pen)
    pen.canvas.saveState()
    pen.canvas.translate(MARGIN, pen.y)
    pen.canvas.scale(share, share)
    staff_y = -(system.staff_top - system.top) * UNIT
    painter.system(system, 0, staff_y)
    with painter.at(system, 0, staff_y):
        also()
        painter.extras(line.extras)
    pen.canvas.restoreState()
    pen.space(line.tall(pen))
