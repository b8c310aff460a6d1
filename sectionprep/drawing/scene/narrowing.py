"""A drawn line made narrower without the engraver: only the white between signs gives way.

What stands at one place (heads with their stems, accidentals, dots, rests, bar lines) moves as it
is; what goes from place to place (staff lines, beams, slurs, hairpins) follows.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import replace

from sectionprep.drawing.scene.ink import (
    Box,
    Curve,
    Ellipse,
    Glyph,
    Ink,
    Line,
    Point,
    Polygon,
    Rectangle,
    Spot,
    System,
    box_of,
)

_AROUND = 20.0  # white that belongs to a sign, on either side, hundredths of a millimetre
_MOST = 0.65  # of the white between signs may go; judgement


def narrowed(system: System, by: float) -> System | None:
    """The line narrower by so much, hundredths of a millimetre; None where there is too little
    white."""
    place = _places(system, by)
    if place is None:
        return None
    together: dict[str, list[Ink]] = defaultdict(list)
    for ink in system.ink:
        if ink.group:
            together[ink.group].append(ink)
    shifts = {name: place(left := box_of(inks)[0]) - left for name, inks in together.items()}

    def moved(ink: Ink) -> Ink:
        if ink.group:
            return ink.moved(0.0, shifts[ink.group])
        return _stretched(ink, place) if _spans(ink) else ink.moved(0.0, place(x := ink.box[0]) - x)

    def spots(found: dict[str, Spot]) -> dict[str, Spot]:
        return {name: spot._replace(x=place(spot.x)) for name, spot in found.items()}

    return replace(
        system,
        ink=tuple(moved(ink) for ink in system.ink),
        heads=spots(system.heads),
        chords=spots(system.chords),
        wedges=spots(system.wedges),
        bar_edges=tuple((bar, place(x0), place(x1)) for bar, x0, x1 in system.bar_edges),
    )


def _places(system: System, by: float) -> Callable[[float], float] | None:
    """Where each place of the line comes to stand."""
    end = max((x1 for _, _, x1 in system.bar_edges), default=0.0)
    whites = list(_whites((ink.box for ink in system.ink if _fixed(ink)), end))
    white = sum(x1 - x0 for x0, x1 in whites)
    if by > _MOST * white:
        return None
    share = by / white
    starts, gone = [0.0], [0.0]
    ends = [0.0]
    for x0, x1 in whites:
        starts.append(x0)
        ends.append(x1)
        gone.append(gone[-1] + share * (x1 - x0))

    def place(x: float) -> float:
        n = bisect_right(starts, x) - 1
        if n <= 0:
            return x
        inside = min(x, ends[n]) - starts[n]
        return x - gone[n - 1] - share * inside

    return place


def _whites(boxes: Iterable[Box], end: float) -> Iterable[tuple[float, float]]:
    """The stretches of a line on which no sign stands."""
    at = 0.0
    for left, _, right, _ in sorted(boxes):
        if left - _AROUND > at:
            yield at, min(left - _AROUND, end)
        at = max(at, right + _AROUND)
        if at >= end:
            return
    if at < end:
        yield at, end


def _fixed(ink: Ink) -> bool:
    """True for what may not be stretched."""
    if ink.group:
        return False
    shape = ink.shape
    upright = isinstance(shape, Line) and abs(shape.x1 - shape.x0) < 1
    return upright or isinstance(shape, Glyph | Ellipse)


def _spans(ink: Ink) -> bool:
    """True for what goes from one place to another."""
    return isinstance(ink.shape, Line | Curve | Polygon | Rectangle)


def _stretched(ink: Ink, place: Callable[[float], float]) -> Ink:
    x0, y0, x1, y1 = ink.box
    box = (place(x0), y0, place(x1), y1)
    match ink.shape:
        case Line() as line:
            return ink._replace(shape=line._replace(x0=place(line.x0), x1=place(line.x1)), box=box)
        case Polygon() as polygon:
            points = _placed(polygon.points, place)
            return ink._replace(shape=polygon._replace(points=points), box=box)
        case Curve() as curve:
            segments = tuple((pen, _placed(points, place)) for pen, points in curve.segments)
            return ink._replace(shape=curve._replace(segments=segments), box=box)
    return ink._replace(box=box)


def _placed(points: tuple[Point, ...], place: Callable[[float], float]) -> tuple[Point, ...]:
    return tuple((place(x), y) for x, y in points)
