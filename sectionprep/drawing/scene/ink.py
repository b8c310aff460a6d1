"""A drawn line of music as values: what is on it, where, and to which sign it belongs.

Coordinates: hundredths of a millimetre, y downwards. Ink is never changed after it is made: what
moves is made anew.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from sectionprep.drawing.text.lettering import TextRun

Box = tuple[float, float, float, float]
Point = tuple[float, float]
#: a pen's stroke: moveTo, lineTo, curveTo, qCurveTo, closePath or endPath, and its points
Segment = tuple[str, tuple[Point, ...]]


class Glyph(NamedTuple):
    """A music sign: its code in the font (hexadecimal), where, and its size (1 as in the font)."""

    code: str
    x: float
    y: float
    size: float

    def moved(self, down: float, right: float) -> Glyph:
        """The same elsewhere."""
        return self._replace(x=self.x + right, y=self.y + down)


class Line(NamedTuple):
    """A straight line and the width of its pen."""

    x0: float
    y0: float
    x1: float
    y1: float
    stroke: float

    def moved(self, down: float, right: float) -> Line:
        """The same elsewhere."""
        return Line(
            self.x0 + right, self.y0 + down, self.x1 + right, self.y1 + down, stroke=self.stroke
        )


class Text(NamedTuple):
    """Runs of letters from the point where their baseline begins."""

    x: float
    y: float
    runs: tuple[TextRun, ...]

    def moved(self, down: float, right: float) -> Text:
        """The same elsewhere."""
        return Text(self.x + right, self.y + down, self.runs)

    @property
    def words(self) -> str:
        """What it says."""
        return "".join(run.text for run in self.runs)


class Curve(NamedTuple):
    """Curves. stroke: width of the pen, 0 for none."""

    segments: tuple[Segment, ...]
    stroke: float
    fill: bool

    def moved(self, down: float, right: float) -> Curve:
        """The same elsewhere."""
        segments = tuple((pen, _moved(points, down, right)) for pen, points in self.segments)
        return self._replace(segments=segments)


class Polygon(NamedTuple):
    """Corners joined by straight lines, back to the first where it is closed."""

    points: tuple[Point, ...]
    closed: bool
    stroke: float
    fill: bool

    def moved(self, down: float, right: float) -> Polygon:
        """The same elsewhere."""
        return self._replace(points=_moved(self.points, down, right))


class Rectangle(NamedTuple):
    """As large as the box of its ink."""

    stroke: float
    fill: bool

    def moved(self, down: float, right: float) -> Rectangle:
        """The same: its place is the box."""
        return self


class Ellipse(NamedTuple):
    """As large as the box of its ink."""

    stroke: float
    fill: bool

    def moved(self, down: float, right: float) -> Ellipse:
        """The same: its place is the box."""
        return self


Shape = Glyph | Line | Text | Curve | Polygon | Rectangle | Ellipse


class Ink(NamedTuple):
    """One shape, its box, and what it is part of. classes: what the engraver calls the sign and all
    that it lies in, from the outside; owner: id of the note or sign; group: of what moves
    together; staff: height at which the engraver drew the top line of the staff that it lies in."""

    shape: Shape
    box: Box
    classes: tuple[str, ...] = ()
    owner: str = ""
    group: str = ""
    staff: float | None = None

    def moved(self, down: float, right: float = 0.0) -> Ink:
        """The same elsewhere."""
        x0, y0, x1, y1 = self.box
        box = (x0 + right, y0 + down, x1 + right, y1 + down)
        return self._replace(shape=self.shape.moved(down, right), box=box)


def _moved(points: tuple[Point, ...], down: float, right: float) -> tuple[Point, ...]:
    return tuple((x + right, y + down) for x, y in points)


class InkSpot(NamedTuple):
    """Where a note head or another named thing stands; width: of a head."""

    x: float
    y: float
    width: float = 0.0


@dataclass(slots=True)
class System:
    """One line of music. heads, chords, wedges: where they stand, by id; chord_texts: what chord
    symbols say; measures: ids of its bars; bar_edges: (bar, left, right) of every staff; staves:
    height of the top line of every staff; top, bottom: extent of all that is drawn; staff_top,
    staff_bottom: outermost staff lines; scale: how much smaller than the others it is drawn;
    indent: how far right of the margin it begins, in its own measure.

    Only its extent grows after it is made (`hold`): for what is drawn over it.
    """

    ink: tuple[Ink, ...] = ()
    heads: dict[str, InkSpot] = field(default_factory=dict)
    chords: dict[str, InkSpot] = field(default_factory=dict)
    wedges: dict[str, InkSpot] = field(default_factory=dict)
    chord_texts: dict[str, str] = field(default_factory=dict)
    measures: tuple[str, ...] = ()
    bar_edges: tuple[tuple[str, float, float], ...] = ()
    staves: frozenset[float] = frozenset()
    top: float = 0.0
    bottom: float = 0.0
    staff_top: float = 0.0
    staff_bottom: float = 0.0
    scale: float = 1.0
    indent: float = 0.0

    def hold(self, boxes: Iterable[Box]) -> None:
        """Make room above and below for what is drawn over the line."""
        for box in boxes:
            self.top = min(self.top, box[1])
            self.bottom = max(self.bottom, box[3])


def extent(ink: Iterable[Ink]) -> tuple[float, float]:
    """Top and bottom of all ink; 0 and 0 where there is none."""
    boxes = [i.box for i in ink]
    return min((b[1] for b in boxes), default=0.0), max((b[3] for b in boxes), default=0.0)


def box_of(inks: Iterable[Ink]) -> Box:
    """The box around some ink; there must be some."""
    left, top, right, bottom = zip(*(ink.box for ink in inks), strict=True)
    return min(left), min(top), max(right), max(bottom)
