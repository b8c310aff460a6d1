"""A drawn line spaced anew without the engraver: only the white between signs gives way.

What stands at one place (heads with their stems, accidentals, dots, rests, bar lines) moves as it
is; what goes from place to place (staff lines, beams, slurs, hairpins) follows.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
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
    InkSpot,
    Line,
    Point,
    Polygon,
    Rectangle,
    System,
    Text,
    box_of,
)

_AROUND = 20.0  # white that belongs to a sign, on either side, hundredths of a millimetre
_MOST = 0.65  # of the white between signs may go; judgement


def narrowed(system: System, by: float) -> System | None:
    """The line narrower by so much, hundredths of a millimetre (wider where it is negative); None
    where there is too little white. Names before its staves stay as far from them."""
    left = min((x0 for _, x0, _ in system.bar_edges), default=0.0)
    whites = [(max(left, x0), x1) for x0, x1 in _whites_of(system) if left < x1]
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


def indented(system: System, by: float, room: float) -> System:
    """The line so much further to the right, and narrower where it would reach beyond its room; as
    it is where it has too little white for that. room: hundredths of a millimetre."""
    right = max((x1 for *_, x1 in system.bar_edges), default=0.0)
    narrow = narrowed(system, max(0.0, right + by - room))
    return system if narrow is None else replace(narrow, indent=by)


SAID, SUNG = 101.0, 55.0  # white between what is said under notes: a millimetre, and between words
_LETTERS = re.compile(r"\w")


def syllables_apart(system: System, white: float) -> System:
    """The line, as wide as it is, with so much white between the syllables under its staves; where
    there is too little of it they stay."""
    rows: dict[int, list[Box]] = defaultdict(list)
    for ink in system.ink:
        if (
            "syl" in ink.classes
            and isinstance(ink.shape, Text)
            and _LETTERS.search(ink.shape.words)
        ):
            rows[round(ink.shape.y)].append(ink.box)
    for row in rows.values():
        edges = sorted((left, right) for left, _, right, _ in row)
        needs = [(left, right - left + white) for left, right in edges[:-1]]
        system = apart(system, [*needs, (edges[-1][0], 0.0)]) or system
    return system


_BELONGS_RIGHT = frozenset({"accid", "clef"})  # what stands before the note that it is for
_BEFORE = frozenset({"notehead", "flag", "dots", "stem", "artic", "rest"})
_OFF = 20.0  # white between an accidental or a clef and the note before it; judgement


def unclashed(system: System) -> System:
    """The line, as wide as it is, with accidentals and clefs off the notes before them: the
    engraver does not count the parentheses of an accidental, nor the flag before a clef. What has
    too little white stays."""
    clashes = _clashes(system)
    whites = _whites_of(system) if clashes else []
    room = _MOST * sum(x1 - x0 for x0, x1 in whites)
    needed = sum(clashes.values())
    if not clashes or needed > room:
        return system
    share = 1 - _MOST * needed / room
    pieces = [(x0, x1, share * (x1 - x0)) for x0, x1 in whites]
    pieces += [(x, x + _STEP, by + _STEP) for x, by in clashes.items()]
    pieces.sort()
    stretches = [(x0, x1) for x0, x1, _ in pieces]
    return _spaced(system, _mapping(stretches, [width for *_, width in pieces]))


_STEP = 0.5  # in which a place jumps to the right


def _clashes(system: System) -> dict[float, float]:
    """Where the line must open, and by how much: after the note that an accidental or a clef
    touches, and after all that stands with it in any staff."""
    fixed = sorted((i for i in system.ink if _BEFORE & {*i.classes}), key=lambda i: i.box[0])
    lefts = [ink.box[0] for ink in fixed]
    found: dict[float, float] = {}
    for left, top, right, bottom in _before_notes(system).values():
        earlier = fixed[bisect_left(lefts, left - _WIDEST) : bisect_left(lefts, left)]
        ends = [
            other.box[2]
            for other in earlier
            if {"notehead", "flag"} & {*other.classes}
            and other.box[2] > left
            and other.box[1] < bottom
            and top < other.box[3]
        ]
        if ends:
            edge = _column_end(fixed[bisect_left(lefts, left - _WIDEST) :], max(ends))
            if edge < right:
                found[edge] = max(found.get(edge, 0.0), max(ends) + _OFF - left)
    return found


def _before_notes(system: System) -> dict[str, Box]:
    """The boxes of accidentals, with their parentheses, and of clefs."""
    found: dict[str, list[Ink]] = defaultdict(list)
    for n, ink in enumerate(system.ink):
        if _BELONGS_RIGHT & {*ink.classes}:
            found[ink.owner or str(n)].append(ink)
    return {name: box_of(inks) for name, inks in found.items()}


_WIDEST = 500.0  # no head, flag or rest is wider


def _column_end(ordered: Iterable[Ink], edge: float) -> float:
    """Where all ends that begins before an edge."""
    for ink in ordered:
        if ink.box[0] > edge:
            break
        edge = max(edge, ink.box[2])
    return edge


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
    ends = {name: box[2] for name, box in _before_notes(system).items()}

    def moved(ink: Ink) -> Ink:
        if ink.group:
            return ink.moved(0.0, shifts[ink.group])
        if _spans(ink):
            return _stretched(ink, place)
        before = bool(_BELONGS_RIGHT & {*ink.classes})
        x = ends.get(ink.owner, ink.box[2]) if before else ink.box[0]
        return ink.moved(0.0, place(x) - x)

    def spots(found: dict[str, InkSpot]) -> dict[str, InkSpot]:
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
