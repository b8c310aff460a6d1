"""Puts systems on the pages of a PDF: glyphs as reusable forms, text in embedded fonts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable, Iterator
from contextlib import contextmanager
from functools import cache, lru_cache
from typing import Any

from sectionprep.drawing.scene.drawing import path_segments
from sectionprep.drawing.scene.ink import (
    Curve,
    Ellipse,
    Glyph,
    Ink,
    Line,
    Polygon,
    Rectangle,
    Segment,
    System,
    Text,
)
from sectionprep.drawing.scene.line_extras import Extra
from sectionprep.drawing.text import fonts

MM = 72 / 25.4
UNIT = MM / 100  # points per hundredth of a millimetre
_THINNEST = 8.0  # pen, hundredths of a millimetre: thinner lines vanish in print; judgement

_PALE = frozenset(
    {"artic", "slur", "hairpin", "breath", "dynam", "dir"}
)  # classes of signs that can be ours


def new_canvas(
    out: Any, width: float, height: float, *, title: str, author: str = "", subject: str = ""
) -> Any:
    """A PDF to draw on, pages `width` by `height` points. All its fonts are embedded, and the same
    drawing gives the same bytes."""
    fonts.register()
    canvas = _canvas_class()(
        out, pagesize=(width, height), invariant=1, pageCompression=1, initialFontName=fonts.TEXT
    )
    canvas.setTitle(title)
    canvas.setAuthor(author)
    canvas.setSubject(subject)
    canvas.setCreator("sectionprep")
    return canvas


@cache
def _canvas_class() -> Any:
    """The canvas of the PDF library, taking letters that its font lacks from other fonts."""
    from reportlab.pdfgen.canvas import Canvas

    class _Canvas(Canvas):  # type: ignore[misc]
        def drawString(self, x: float, y: float, text: str, *given: Any, **more: Any) -> None:
            name, size = self._fontname, self._fontsize
            for piece in fonts.pieces(text, name):
                if piece.font != self._fontname:
                    self.setFont(piece.font, size * piece.times)
                super().drawString(x, y + piece.rise * size, piece.text, *given, **more)
                x += fonts.width(piece.text, piece.font, size * piece.times)
            if self._fontname != name:
                self.setFont(name, size)

        def drawCentredString(self, x: float, y: float, text: str, *_: Any, **__: Any) -> None:
            self.drawString(x - fonts.width(text, self._fontname, self._fontsize) / 2, y, text)

        def drawRightString(self, x: float, y: float, text: str, *_: Any, **__: Any) -> None:
            self.drawString(x - fonts.width(text, self._fontname, self._fontsize), y, text)

    return _Canvas


class Painter:
    """Draws on one reportlab canvas. shade: grey value of ink by owner (0 black)."""

    def __init__(self, canvas: Any) -> None:
        fonts.register()
        self.canvas = canvas
        self.forms: dict[str, str] = {}

    def learn(self, glyphs: dict[str, str]) -> None:
        """Make forms of glyph outlines that were not seen before; names lose the per-load
        suffix."""
        for name, outline in glyphs.items():
            code = name.split("-")[0]
            if code in self.forms:
                continue
            form = f"glyph{code}"
            self.canvas.beginForm(form, -4000, -4000, 8000, 8000)
            path = self.canvas.beginPath()
            _trace(path, _segments(outline))
            self.canvas.drawPath(path, stroke=0, fill=1)
            self.canvas.endForm()
            self.forms[code] = form

    def system(
        self, system: System, x: float, y: float, pale: Container[str] = (), scale: float = 1.0
    ) -> None:
        """Draw a system so that its top staff line lies `y` points above the page's foot, from `x`
        points. pale: ids of notes whose articulations, and of other signs that, are drawn in grey.
        """
        c = self.canvas
        # by width: lines are half of a page, and drawn as one path
        straight: dict[float, list[str]] = defaultdict(list)
        with self.at(system, x, y, scale):
            c.setLineCap(0)
            for ink in system.ink:
                if pale and ink.owner in pale and _PALE.intersection(ink.classes):
                    c.setFillGray(0.55)
                    c.setStrokeGray(0.55)
                    self.ink(ink)
                    c.setFillGray(0)
                    c.setStrokeGray(0)
                elif isinstance(ink.shape, Line):
                    straight[ink.shape.stroke].append(_line(ink.shape))
                else:
                    self.ink(ink)
            for stroke, lines in straight.items():
                c.addLiteral(f"{max(stroke, _THINNEST):g} w n {' '.join(lines)} S")

    @contextmanager
    def at(self, system: System, x: float, y: float, scale: float = 1.0) -> Iterator[None]:
        """Draw in the coordinates of a system whose top staff line lies `y` points above the page's
        foot. scale: drawn larger than it was engraved."""
        c = self.canvas
        c.saveState()
        c.translate(x, y)
        c.scale(UNIT * scale, -UNIT * scale)
        c.translate(system.indent, -system.staff_top)
        yield
        c.restoreState()

    def extras(self, added: Iterable[Extra]) -> None:
        """Draw what is added to a line, in its coordinates (`at`)."""
        for extra in added:
            extra.paint(self)

    def glyph(self, code: str) -> None:
        """Draw a music glyph at the origin of the current coordinates (y upwards), 1000 units an
        em."""
        form = self.forms.get(code)
        if form is not None:
            self.canvas.doForm(form)
        else:
            self.canvas.setFont(fonts.MUSIC, 1000)
            self.canvas.drawString(0, 0, chr(int(code, 16)))

    def ink(self, ink: Ink) -> None:
        """Draw one shape in the current coordinates. Glyphs and straight lines go to the page as
        they are, without the canvas keeping books on each."""
        match ink.shape:
            case Glyph(code, x, y, size):
                if form := self.forms.get(code):
                    self.canvas.addLiteral(f"q {size:g} 0 0 {-size:g} {x:g} {y:g} cm")
                    self.canvas.doForm(form)
                    self.canvas.addLiteral("Q")
            case Line() as line:
                self.canvas.addLiteral(f"{max(line.stroke, _THINNEST):g} w n {_line(line)} S")
            case Text(x, y, runs):
                for run in runs:
                    x += self.text(x, y, run.text, run.font, run.size)
            case Rectangle(stroke, fill):
                x0, y0, x1, y1 = ink.box
                self._pen(stroke)
                self.canvas.rect(x0, y0, x1 - x0, y1 - y0, stroke=int(bool(stroke)), fill=int(fill))
            case Ellipse(stroke, fill):
                self._pen(stroke)
                self.canvas.ellipse(*ink.box, stroke=int(bool(stroke)), fill=int(fill))
            case Curve(segments, stroke, fill):
                self._shape(segments, stroke, fill)
            case Polygon(points, closed, stroke, fill):
                lines = [("lineTo", (point,)) for point in points[1:]]
                end = "closePath" if closed else "endPath"
                self._shape([("moveTo", points[:1]), *lines, (end, ())], stroke, fill)

    def _pen(self, stroke: float) -> None:
        self.canvas.setLineWidth(max(stroke, _THINNEST))

    def _shape(self, segments: Iterable[Segment], stroke: float, fill: bool) -> None:
        path = self.canvas.beginPath()
        _trace(path, segments)
        self.canvas.setLineWidth(max(stroke, 1))
        self.canvas.drawPath(path, stroke=int(bool(stroke)), fill=int(fill))

    def text(self, x: float, y: float, text: str, font: str, size: float) -> float:
        """Draw text upright in the flipped coordinates; returns its width."""
        c = self.canvas
        c.saveState()
        c.translate(x, y)
        c.scale(1, -1)
        c.setFont(font, size)
        c.drawString(0, 0, text)
        c.restoreState()
        return fonts.width(text, font, size)


_segments = lru_cache(512)(path_segments)  # of glyphs: every part draws the same few


def _line(line: Line) -> str:
    return f"{line.x0:g} {line.y0:g} m {line.x1:g} {line.y1:g} l"


def _trace(path: Any, segments: Iterable[Segment]) -> None:
    """Draw what a pen does on a path of the canvas."""
    pen = _pen_class()(path)
    for step, points in segments:
        getattr(pen, step)(*points)


@cache
def _pen_class() -> Any:
    """A font library's pen that draws on a path of the PDF library."""
    from fontTools.pens.basePen import BasePen

    class _Pen(BasePen):  # type: ignore[misc]
        def __init__(self, path: Any) -> None:
            super().__init__()
            self._moveTo = lambda point: path.moveTo(*point)
            self._lineTo = lambda point: path.lineTo(*point)
            self._curveToOne = lambda a, b, end: path.curveTo(*a, *b, *end)
            self._closePath = path.close

    return _Pen
