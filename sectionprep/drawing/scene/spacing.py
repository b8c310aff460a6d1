"""A drawn line spaced anew without the engraver: only the white between signs gives way.

What stands at one place (heads with their stems, accidentals, dots, rests, bar lines) moves as it
is; what goes from place to place (staff lines, beams, slurs, hairpins) follows.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from itertools import pairwise

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
    """The line narrower by so much, hundredths of a millimetre (wider where it is negative); None
    where there is too little white."""
    whites = _whites_of(system)
    white = sum(x1 - x0 for x0, x1 in whites)
    if by > _MOST * white or not white:
        return None
    share = 1 - by / white
    return _spaced(system, _mapping(whites, [share * (x1 - x0) for x0, x1 in whites]))


def apart(system: System, needs: Sequence[tuple[float, float]]) -> System | None:
    """The line, as wide as it is, with its places so far apart as what stands under them needs.
    needs: places in order, and for each how far the next must be, 0 where it does not matter. None
    where there is too little white for it."""
    whites = _whites_of(system)
    edges = [0.0, *(x for x, _ in needs), max((x1 for *_, x1 in system.bar_edges), default=0.0)]
    least = [0.0, *(need for _, need in needs)]
    stretches = []  # white between neighbouring places, how much it lacks, how much it can give
    for (x0, x1), need in zip(pairwise(edges), least, strict=True):
        white = sum(max(0.0, min(b, x1) - max(a, x0)) for a, b in whites)
        spare = x1 - x0 - need
        stretches.append((white, max(0.0, -spare), max(0.0, min(spare, _MOST * white))))
    lacking = sum(lacks for _, lacks, _ in stretches)
    giving = sum(gives for *_, gives in stretches)
    if lacking > giving or any(lacks and not white for white, lacks, _ in stretches):
        return None
    if not lacking:
        return system
    pieces, widths = [], []
    for (x0, x1), (white, lacks, gives) in zip(pairwise(edges), stretches, strict=True):
        factor = 1 + (lacks - gives * lacking / giving) / white if white else 1.0
        for a, b in whites:
            left, right = max(a, x0), min(b, x1)
            if left < right:
                pieces.append((left, right))
                widths.append(factor * (right - left))
    return _spaced(system, _mapping(pieces, widths))


def _whites_of(system: System) -> list[tuple[float, float]]:
    end = max((x1 for _, _, x1 in system.bar_edges), default=0.0)
    return list(_whites((ink.box for ink in system.ink if _fixed(ink)), end))


def _mapping(
    whites: Sequence[tuple[float, float]], widths: Sequence[float]
) -> Callable[[float], float]:
    """Where each place comes to stand when the stretches of white, in order, get these widths."""
    starts, ends, factors, shifts = [0.0], [0.0], [1.0], [0.0]
    for (x0, x1), width in zip(whites, widths, strict=True):
        before = shifts[-1] + (factors[-1] - 1) * (ends[-1] - starts[-1])
        starts.append(x0)
        ends.append(x1)
        factors.append(width / (x1 - x0))
        shifts.append(before)

    def place(x: float) -> float:
        n = max(0, bisect_right(starts, x) - 1)
        return x + shifts[n] + (factors[n] - 1) * (min(x, ends[n]) - starts[n])

    return place


def _spaced(system: System, place: Callable[[float], float]) -> System:
    """The line with every place where it comes to stand."""
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
