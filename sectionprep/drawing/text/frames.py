"""The frames around letters and words: one shape around one box. Hundredths of a millimetre, y
downwards."""

from __future__ import annotations

import math
from dataclasses import dataclass

Point = tuple[float, float]
Box = tuple[float, float, float, float]

LINE = 20.0  # width of the pen
#: of their height: wider words would make a square or a circle as high as a staff; judgement
_LONG = 1.6
_AIR = 45.0  # white between words and frame; judgement
_CORNERS = {"pentagon": 5, "hexagon": 6, "heptagon": 7, "octagon": 8, "nonagon": 9}


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame as an ink kind (rect, ellipse, polygon or polyline), its box, and its corners if it
    has any."""

    kind: str
    box: Box
    points: tuple[Point, ...] = ()


def frame(shape: str, words: Box) -> Frame:
    """The frame of this shape (a name of MusicXML 4.0) around words that take this box."""
    x0, y0, x1, y1 = words
    box = (x0 - _AIR, y0 - _AIR, x1 + _AIR, y1 + _AIR)
    if box[2] - box[0] > _LONG * (box[3] - box[1]):
        shape = {"square": "rectangle", "circle": "oval"}.get(shape, shape)
    if shape in ("square", "circle"):
        box = _as_wide_as_high(box)
    if shape in ("rectangle", "square"):
        return Frame("rect", box)
    if shape in ("oval", "circle"):
        return Frame("ellipse", _around(box, math.sqrt(2) if shape == "oval" else _CIRCLE))
    points = _corners(shape, box)
    xs, ys = [x for x, _ in points], [y for _, y in points]
    open_ended = shape in ("bracket", "inverted-bracket")
    return Frame(
        "polyline" if open_ended else "polygon", (min(xs), min(ys), max(xs), max(ys)), points
    )


_CIRCLE = (
    1.2  # a letter does not reach into the corners of its box, so a circle may cut them; judgement
)


def _as_wide_as_high(box: Box) -> Box:
    x0, y0, x1, y1 = box
    half = max(x1 - x0, y1 - y0) / 2
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    return x - half, y - half, x + half, y + half


def _around(box: Box, times: float) -> Box:
    """The box with its sides `times` as long, about its middle."""
    x0, y0, x1, y1 = box
    dx, dy = (times - 1) * (x1 - x0) / 2, (times - 1) * (y1 - y0) / 2
    return x0 - dx, y0 - dy, x1 + dx, y1 + dy


def _corners(shape: str, box: Box) -> tuple[Point, ...]:
    x0, y0, x1, y1 = box
    x, wide, high = (x0 + x1) / 2, x1 - x0, y1 - y0
    if shape == "bracket":  # open above, as an underline with ends
        return (x0, y0), (x0, y1), (x1, y1), (x1, y0)
    if shape == "inverted-bracket":
        return (x0, y1), (x0, y0), (x1, y0), (x1, y1)
    if shape == "triangle":  # the words stand on its base, half as high as it
        return (x, y1 - 2 * high), (x + wide, y1), (x - wide, y1)
    if shape == "diamond":
        y = (y0 + y1) / 2
        return (x, y - high), (x + wide, y), (x, y + high), (x - wide, y)
    return _polygon(box, _CORNERS[shape])


def _polygon(box: Box, corners: int) -> tuple[Point, ...]:
    """Corners on an ellipse, the first on top, large enough that its inner ellipse goes round the
    box."""
    x0, y0, x1, y1 = box
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    grow = _CIRCLE / math.cos(math.pi / corners)
    rx, ry = grow * max(x1 - x0, y1 - y0) / 2, grow * (y1 - y0) / 2
    turns = [2 * math.pi * n / corners for n in range(corners)]
    return tuple((x + rx * math.sin(turn), y - ry * math.cos(turn)) for turn in turns)
