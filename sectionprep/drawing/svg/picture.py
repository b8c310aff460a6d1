"""Drawn lines of music as SVG for the page: one picture a line, a place to touch at every note,
weights, and signs that tell what is proposed, decided and printed without any colour.

Coordinates: hundredths of a millimetre, y downwards, as of ink. Attributes only, no styles: the
page's content security policy allows none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from sectionprep.drawing.scene.ink import (
    Box,
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
from sectionprep.drawing.text.lettering import TextRun

_THINNEST = 11.0  # pen, hundredths of a millimetre: thinner lines vanish on screens; seen
_MARGIN = 120.0  # white around a line
_AROUND = 45.0  # from a mark to its frame
_SIGN = 70.0  # half the height of a sign under a weight
_WEDGE, _HALF = 360.0, 75.0  # height of a weight of 1, half its width
FACES = {fonts.TEXT: "t", fonts.BOLD: "b", fonts.ITALIC: "i", fonts.MUSIC: "m"}


@dataclass(frozen=True, slots=True, kw_only=True)
class AskableNote:
    """A note that can be asked. number: in its passage; bar: index; says: what a screen reader
    tells; weight: 0..1; state: "printed", "proposed", "decided", "left" or ""; codes: glyphs
    (hexadecimal) of the marks that are not printed."""

    number: int
    bar: int
    says: str
    weight: float
    state: str
    codes: frozenset[str] = frozenset()


def outlines(glyphs: Mapping[str, str]) -> str:
    """The outlines of music signs, once for all lines of a page. glyphs: path data by name, whose
    first piece is the sign's code."""
    paths = {name.partition("-")[0]: data for name, data in glyphs.items()}
    drawn = "".join(f'<path id="g{code}" d="{escape(d)}"/>' for code, d in sorted(paths.items()))
    return (
        f'<svg class="outlines" width="0" height="0" aria-hidden="true"><defs>{drawn}</defs></svg>'
    )


def picture(
    system: System,
    spots: Mapping[str, AskableNote],
    *,
    wide: float,
    bars: Sequence[int] = (),
    extras: Sequence[Extra] = (),
    label: str = "",
) -> str:
    """One line as SVG. spots: the notes that can be asked, by note id; wide: of the widest line of
    the passage; bars: indices of its bars, where they can be chosen."""
    here = {name: spots[name] for name in system.heads if name in spots}
    base = _weights_base(system, here)
    low = base + 2.6 * _SIGN if here else system.bottom
    highest = min([system.top, *(extra.box[1] for extra in extras)])
    top, bottom = highest - _MARGIN, max(low, system.bottom) + _MARGIN
    body = [
        *_bars(system, bars, base),
        *(_ink(ink) for ink in system.ink),
        *(_extra(extra) for extra in extras),
        *_signs(system, here, base),
    ]
    box = f"{-_MARGIN:.0f} {top:.0f} {wide + 2 * _MARGIN:.0f} {bottom - top:.0f}"
    return (
        f'<svg class="line" viewBox="{box}" role="group" aria-label="{escape(label)}">'
        f"{''.join(body)}</svg>"
    )


def _bars(system: System, bars: Sequence[int], base: float) -> Iterable[str]:
    """A place for each bar, behind all else."""
    edges = {name: (left, right) for name, left, right in reversed(system.bar_edges)}
    for bar, name in zip(bars, system.measures, strict=False):
        left, right = edges.get(name, (0.0, 0.0))
        yield (
            f'<rect class="bar" data-bar="{bar}" x="{left:.0f}" y="{system.top - 40:.0f}" '
            f'width="{right - left:.0f}" height="{base + 2.4 * _SIGN - system.top:.0f}"/>'
        )


def _weights_base(system: System, here: Mapping[str, AskableNote]) -> float:
    places = [system.wedges[name].y for name in here if name in system.wedges]
    return max(places, default=system.bottom + _WEDGE)


def _signs(system: System, here: Mapping[str, AskableNote], base: float) -> Iterable[str]:
    """Weights under the notes, frames around marks that are not printed, and a place to touch."""
    for name, spot in here.items():
        head = system.heads[name]
        x = head.x + head.width / 2
        tall = _WEDGE * max(0.06, spot.weight - 0.1)
        framed = [
            ink.box
            for ink in system.ink
            if ink.owner == name
            and spot.codes
            and isinstance(ink.shape, Glyph)
            and ink.shape.code in spot.codes
        ]
        yield (
            f'<g class="note" id="note{spot.number}" data-n="{spot.number}" '
            f'data-bar="{spot.bar}" role="button" tabindex="-1" aria-label="{escape(spot.says)}">'
            f'<rect class="touch" x="{x - 190:.0f}" y="{system.top - 40:.0f}" width="380" '
            f'height="{base + 2.4 * _SIGN - system.top:.0f}" rx="60"/>'
            f'<path class="weight" d="M{x - _HALF:.0f} {base:.0f}h{2 * _HALF:.0f}L{x:.0f} '
            f'{base - tall:.0f}z"/>{_state(x, base + 1.5 * _SIGN, spot.state)}'
            f"{''.join(_frame(box, spot.state) for box in framed)}</g>"
        )


def _state(x: float, y: float, state: str) -> str:
    if state == "proposed":
        return f'<circle class="proposed" cx="{x:.0f}" cy="{y:.0f}" r="{_SIGN - 12:.0f}"/>'
    if state == "decided":
        r = _SIGN - 6
        return f'<path class="decided" d="M{x - r:.0f} {y - r:.0f}h{2 * r}v{2 * r}h{-2 * r}z"/>'
    if state == "left":
        return (
            f'<path class="left" d="M{x - _SIGN:.0f} {y - 20:.0f}h{2 * _SIGN:.0f}'
            f'M{x - _SIGN:.0f} {y + 20:.0f}h{2 * _SIGN:.0f}"/>'
        )
    return ""


def _frame(box: Box, state: str) -> str:
    x0, y0, x1, y1 = box
    return (
        f'<rect class="frame {"ours" if state == "proposed" else "yours"}" '
        f'x="{x0 - _AROUND:.0f}" y="{y0 - _AROUND:.0f}" rx="40" '
        f'width="{x1 - x0 + 2 * _AROUND:.0f}" height="{y1 - y0 + 2 * _AROUND:.0f}"/>'
    )


def _ink(ink: Ink) -> str:
    match ink.shape:
        case Glyph(code, x, y, size):
            placed = f"translate({x:g} {y:g}) scale({size:g} {-size:g})"
            return f'<use href="#g{code}" transform="{placed}"/>'
        case Line(x0, y0, x1, y1, stroke):
            return f'<path class="s" d="M{x0:g} {y0:g}L{x1:g} {y1:g}" {_pen(stroke)}/>'
        case Text(x, y, runs):
            return "".join(_words(x, y, runs))
        case Curve(segments, stroke, fill):
            return f'<path d="{_data(segments)}" {_filled(stroke, fill)}/>'
        case Polygon(points, closed, stroke, fill):
            corners = " ".join(f"{x:g},{y:g}" for x, y in points)
            kind = "polygon" if closed else "polyline"
            return f'<{kind} points="{corners}" {_filled(stroke, fill)}/>'
        case Rectangle(stroke, fill):
            x0, y0, x1, y1 = ink.box
            return (
                f'<rect x="{x0:g}" y="{y0:g}" width="{x1 - x0:g}" height="{y1 - y0:g}" '
                f"{_filled(stroke, fill)}/>"
            )
        case Ellipse(stroke, fill):
            x0, y0, x1, y1 = ink.box
            return (
                f'<ellipse cx="{(x0 + x1) / 2:g}" cy="{(y0 + y1) / 2:g}" rx="{(x1 - x0) / 2:g}" '
                f'ry="{(y1 - y0) / 2:g}" {_filled(stroke, fill)}/>'
            )


def _words(x: float, y: float, runs: Iterable[TextRun]) -> Iterable[str]:
    for run in runs:
        for piece in fonts.pieces(run.text, run.font):
            size = run.size * piece.times
            face = FACES.get(piece.font, FACES[fonts.TEXT])
            yield (
                f'<text class="{face}" x="{x:g}" y="{y - piece.rise * run.size:g}" '
                f'font-size="{size:g}" xml:space="preserve">{escape(piece.text)}</text>'
            )
            x += fonts.width(piece.text, piece.font, size)


def _pen(stroke: float) -> str:
    return f'stroke-width="{max(stroke, _THINNEST):g}"'


def _filled(stroke: float, fill: bool) -> str:
    filled = "" if fill else 'fill="none" '
    return filled + (f'class="s" {_pen(stroke)}' if stroke else "")


_STEPS = {"moveTo": "M", "lineTo": "L", "curveTo": "C", "qCurveTo": "Q", "closePath": "Z"}


def _data(segments: Iterable[Segment]) -> str:
    return "".join(
        _STEPS.get(step, "") + " ".join(f"{x:g} {y:g}" for x, y in points)
        for step, points in segments
    )


def _extra(extra: Extra) -> str:
    painter = _Pen()
    extra.paint(painter)
    return "".join(painter.made)


class _Pen:
    """What draws jazz marks, handed to them in the place of a page: it keeps what is drawn as
    SVG."""

    def __init__(self) -> None:
        self.canvas = self
        self.made: list[str] = []
        self._pen = 24.0
        self._open: list[int] = []  # groups to be closed, by state

    def text(self, x: float, y: float, text: str, font: str, size: float) -> float:
        self.made.extend(_words(x, y, [TextRun(text, font, size)]))
        return fonts.width(text, font, size)

    def saveState(self) -> None:
        self._open.append(0)

    def restoreState(self) -> None:
        self.made.append("</g>" * self._open.pop())

    def _group(self, transform: str) -> None:
        self.made.append(f'<g transform="{transform}">')
        self._open[-1] += 1

    def translate(self, x: float, y: float) -> None:
        self._group(f"translate({x:g} {y:g})")

    def scale(self, x: float, y: float) -> None:
        self._group(f"scale({x:g} {y:g})")

    def setLineCap(self, _cap: int) -> None:
        """Ends of lines are round by the page's style."""

    def setLineWidth(self, width: float) -> None:
        self._pen = width

    def glyph(self, code: str) -> None:
        sign = chr(int(code, 16))
        self.made.append(f'<text class="m" transform="scale(1 -1)" font-size="1000">{sign}</text>')

    def circle(self, x: float, y: float, r: float, stroke: int, fill: int) -> None:
        filled = "" if fill else 'fill="none" '
        self.made.append(
            f'<circle class="s" {filled}{_pen(self._pen)} cx="{x:g}" cy="{y:g}" r="{r:g}"/>'
        )

    def line(self, x0: float, y0: float, x1: float, y1: float) -> None:
        self.made.append(f'<path class="s" {_pen(self._pen)} d="M{x0:g} {y0:g}L{x1:g} {y1:g}"/>')

    def beginPath(self) -> _Way:
        return _Way()

    def drawPath(self, way: _Way, stroke: int, fill: int) -> None:
        filled = "" if fill else 'fill="none" '
        self.made.append(f'<path class="s" {filled}{_pen(self._pen)} d="{"".join(way.steps)}"/>')


class _Way:
    """The path of a pen."""

    def __init__(self) -> None:
        self.steps: list[str] = []

    def moveTo(self, x: float, y: float) -> None:
        self.steps.append(f"M{x:g} {y:g}")

    def lineTo(self, x: float, y: float) -> None:
        self.steps.append(f"L{x:g} {y:g}")

    def curveTo(self, *xy: float) -> None:
        self.steps.append("C" + " ".join(f"{n:g}" for n in xy))
