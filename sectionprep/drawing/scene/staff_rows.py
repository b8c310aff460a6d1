"""Several staves under each other, so far apart that what stands between them does not touch.

The engraver looks at the notes of neighbouring staves, and not at the dynamics of the one over the
notes of the next; and our chord symbols are larger than its own. So a line is read as rows from the
top: for each staff the words over it, its chord symbols, the staff, its dynamics, its syllables.
Each row goes down until it clears all rows over it, and those under it go with it. Nothing moves
up.

Coordinates and distances in hundredths of a millimetre.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from sectionprep.drawing.scene.ink import (
    Box,
    Curve,
    Ink,
    InkSpot,
    Line,
    Point,
    Polygon,
    Rectangle,
    System,
    box_of,
    extent,
)
from sectionprep.drawing.scene.nudging import IN_THE_WAY, READ, pieces_of

_WORDS, _CHORDS, _STAFF, _DYNAMICS, _SYLLABLES, _ROWS = range(6)  # of one staff, from the top
_OVER = frozenset({"tempo", "reh", "repeatMark", "voltaBracket"})
_THROUGH = frozenset({"barLine", "grpSym"})
_WHITE = 52.0  # between two signs that are read one by one, all around
_LEAST = 8.0  # between anything else; judgement
_NEAR = 400.0  # a slur begins or ends no further from its head; judgement
_BIN = 40.0  # how finely a line is looked at from left to right


class _Staves(NamedTuple):
    """Heights of the top lines of all staves, from the top, and how high a staff is."""

    tops: Sequence[float]
    high: float

    def over(self, y: float) -> int:
        """The last staff that begins over this height; the first, if none does."""
        return max(0, bisect_right(self.tops, y) - 1)

    def under(self, y: float) -> int:
        """The first staff that ends under this height; the last, if none does."""
        found = bisect_right(self.tops, y - self.high)
        return min(found, len(self.tops) - 1)

    def nearest(self, y: float) -> int:
        """The staff whose middle is nearest."""
        middle = y - self.high / 2
        return min(range(len(self.tops)), key=lambda n: abs(self.tops[n] - middle))

    def beside(self, y: float) -> int | None:
        """The row of words at this height: over or under the staff that is nearest; None on its
        lines."""
        home = self.nearest(y)
        if self.tops[home] <= y <= self.tops[home] + self.high:
            return None
        return _ROWS * home + (_WORDS if y < self.tops[home] else _DYNAMICS)


def rows_apart(system: System, chord_boxes: Mapping[str, Box]) -> System:
    """The line with its staves apart. chord_boxes: of its chord symbols, by id."""
    tops = sorted(system.staves)
    if not tops:
        return system
    staves = _Staves(tops, system.staff_bottom - tops[-1])
    rows = _rows_of(system.ink, staves)
    apart = _unpiled(system.ink, rows)
    system = system if apart == system.ink else replace(system, ink=apart)
    chords = {name: _ROWS * staves.under(system.chords[name].y) + _CHORDS for name in chord_boxes}
    standing = _standing(system.ink, rows)
    for name, row in chords.items():
        standing[row].append((chord_boxes[name], True))
    shifts = _shifts(standing, staves, _crossed(system.ink, rows, staves))
    return _moved(system, staves, rows, chords, shifts) if any(shifts) else system


def _unpiled(inks: Sequence[Ink], rows: Sequence[int | None]) -> tuple[Ink, ...]:
    """Words that lie on a dynamic of their row stand to the right of it ("p dolce"), and words of
    one row that lie on each other one under the other."""
    found, standing = list(inks), defaultdict[int, list[Box]](list)
    words: dict[tuple[int, str], list[int]] = defaultdict(list)
    dynamics: dict[int, list[Box]] = defaultdict(list)
    for n, (ink, row) in enumerate(zip(inks, rows, strict=True)):
        if row is not None and ink.group and "dir" in ink.classes:
            words[row, ink.group].append(n)
        elif row is not None and "dynam" in ink.classes:
            dynamics[row].append(ink.box)
    boxes = [(box_of(inks[n] for n in places), row, places) for (row, _), places in words.items()]
    for box, row, places in sorted(boxes, key=lambda one: one[0][1]):
        right = down = 0.0
        for one in sorted(dynamics[row]):
            if _near(one, _shifted(box, right, 0.0)):
                right = one[2] + _WHITE - box[0]
        for one in sorted(standing[row], key=lambda one: one[1]):
            if _near(one, _shifted(box, right, down)):
                down = one[3] + _WHITE - box[1]
        standing[row].append(_shifted(box, right, down))
        for n in places if right or down else ():
            found[n] = inks[n].moved(down, right)
    return tuple(found)


def _near(one: Box, other: Box) -> bool:
    """Whether there is too little white between them to read them one by one."""
    aside = one[0] < other[2] + _WHITE and other[0] < one[2] + _WHITE
    return aside and one[1] < other[3] + _WHITE and other[1] < one[3] + _WHITE


def _shifted(box: Box, right: float, down: float) -> Box:
    return box[0] + right, box[1] + down, box[2] + right, box[3] + down


def _rows_of(inks: Sequence[Ink], staves: _Staves) -> list[int | None]:
    """The row of each piece of ink; None for what goes through several."""
    homes = {top: n for n, top in enumerate(staves.tops)}
    heads = [
        (ink.box, home)
        for ink in inks
        if "notehead" in ink.classes and (home := homes.get(ink.staff or 0.0)) is not None
    ]
    around: dict[int, list[Box]] = defaultdict(list)  # what belongs to each staff
    for ink in inks:
        if ink.staff in homes and ink.classes[-1:] not in (("staff",), ("clef",)):
            around[homes[ink.staff]].append(ink.box)
    found: list[int | None] = []
    for ink in inks:
        middle = (ink.box[1] + ink.box[3]) / 2
        home = homes.get(ink.staff) if ink.staff is not None else None
        kind = ink.classes[-1] if ink.classes else ""
        if kind in _THROUGH or ink.classes == ("system",):
            found.append(None)
        elif "syl" in ink.classes:
            found.append(_ROWS * staves.over(middle) + _SYLLABLES)
        elif home is not None:
            found.append(_ROWS * home + _STAFF)
        elif _OVER.intersection(ink.classes):
            found.append(_ROWS * staves.under(middle) + _WORDS)
        elif "dir" in ink.classes and (row := staves.beside(middle)) is not None:
            found.append(row)
        elif kind in ("dynam", "hairpin"):
            found.append(_row_of_dynamic(ink.box, staves, around))
        elif kind in ("slur", "tie", "lv", "gliss") and heads:
            found.append(_ROWS * _of_nearest(heads, ink) + _STAFF)
        else:
            found.append(_ROWS * staves.nearest(middle) + _STAFF)
    _two_of_one_gap(inks, found, staves)
    return found


def _row_of_dynamic(box: Box, staves: _Staves, around: Mapping[int, Sequence[Box]]) -> int:
    """Under the staff over it; over the next one where it is nearer to what stands there, as one is
    that was placed above."""
    if box[1] < staves.tops[0]:
        return _WORDS
    home = staves.over(box[1])
    if home + 1 == len(staves.tops):
        return _ROWS * home + _DYNAMICS

    def beside(staff: int) -> list[Box]:
        return [one for one in around[staff] if one[0] < box[2] and box[0] < one[2]]

    floor = max([staves.tops[home] + staves.high, *(one[3] for one in beside(home))])
    ceiling = min([staves.tops[home + 1], *(one[1] for one in beside(home + 1))])
    if ceiling - box[3] < box[1] - floor:
        return _ROWS * (home + 1) + _WORDS
    return _ROWS * home + _DYNAMICS


def _two_of_one_gap(inks: Sequence[Ink], rows: list[int | None], staves: _Staves) -> None:
    """Of two dynamics under each other between two staves the upper one is the upper staff's, and
    the lower one over the lower staff, as those of singers are."""
    boxes: dict[tuple[int, str], list[int]] = defaultdict(list)
    for n, (ink, row) in enumerate(zip(inks, rows, strict=True)):
        if row is not None and row % _ROWS in (_DYNAMICS, _WORDS) and "dynam" in ink.classes:
            boxes[row, ink.owner].append(n)
    signs = [(row, box_of(inks[n] for n in places), places) for (row, _), places in boxes.items()]
    for row, box, places in signs:
        home, is_under = row // _ROWS, row % _ROWS == _DYNAMICS
        others = [
            one[1]
            for other, one, _ in signs
            if other == row and one[0] < box[2] and box[0] < one[2]
        ]
        if is_under and home + 1 < len(staves.tops) and min(others) < box[1]:
            moved = (home + 1) * _ROWS + _WORDS
        elif not is_under and home and max(others) > box[1]:
            moved = (home - 1) * _ROWS + _DYNAMICS
        else:
            continue
        for n in places:
            rows[n] = moved


def _of_nearest(heads: Sequence[tuple[Box, int]], ink: Ink) -> int:
    """The staff of the head at which a slur or a tie begins or ends."""
    left, top, right, bottom = ink.box

    def distance(head: Box) -> float:
        aside = min(abs(head[2] - left), abs(head[0] - right), abs(head[0] - left))
        return aside + min(abs(head[1] - bottom), abs(head[3] - top), abs(head[1] - top))

    beside = [
        (head, staff)
        for head, staff in heads
        if left - _NEAR < head[0] < left + _NEAR or right - _NEAR < head[0] < right + _NEAR
    ]
    return min(beside or heads, key=lambda one: distance(one[0]))[1]


def _standing(
    inks: Sequence[Ink], rows: Sequence[int | None]
) -> defaultdict[int, list[tuple[Box, bool]]]:
    """What stands in each row: boxes, and whether they are read one by one."""
    found: defaultdict[int, list[tuple[Box, bool]]] = defaultdict(list)
    for ink, row in zip(inks, rows, strict=True):
        if row is not None and IN_THE_WAY.intersection(ink.classes):
            read = bool(READ.intersection(ink.classes))
            found[row] += ((box, read) for box in pieces_of(ink))
    return found


def _crossed(inks: Iterable[Ink], rows: Iterable[int | None], staves: _Staves) -> set[int]:
    """Staves on whose lines notes stand that belong to another one: they keep their distance to
    it. Of two neighbours the lower is told."""
    found: set[int] = set()
    for ink, row in zip(inks, rows, strict=True):
        if ink.staff is None or row is None or not {"notehead", "beam"} & {*ink.classes}:
            continue
        home, middle = row // _ROWS, (ink.box[1] + ink.box[3]) / 2
        there = staves.nearest(middle)
        if there != home and staves.tops[there] <= middle <= staves.tops[there] + staves.high:
            found.update(range(min(home, there) + 1, max(home, there) + 1))
    return found


def _shifts(
    standing: Mapping[int, Sequence[tuple[Box, bool]]], staves: _Staves, crossed: set[int]
) -> list[float]:
    """How far each row goes down."""
    shifts: list[float] = []
    floors: tuple[dict[int, float], dict[int, float]] = ({}, {})  # of all signs, of those read
    down = 0.0
    for row in range(_ROWS * len(staves.tops)):
        signs = standing.get(row, ())
        kept = row // _ROWS in crossed and row % _ROWS <= _STAFF
        if not kept:
            down = max([down, *(_lack(box, read, floors) for box, read in signs)])
        for box, read in signs:
            for floor in floors if read else floors[:1]:
                for n in _bins(box, 0.0):
                    floor[n] = max(floor.get(n, -1e9), box[3] + down)
        shifts.append(down)
    return shifts


def _lack(box: Box, read: bool, floors: tuple[dict[int, float], dict[int, float]]) -> float:
    """How far a sign must go down to clear what stands over it. read: if it is read by itself."""
    everything, signs = floors
    lowest = max((everything.get(n, -1e9) for n in _bins(box, 0.0)), default=-1e9) + _LEAST
    if read:
        beside = max((signs.get(n, -1e9) for n in _bins(box, _WHITE)), default=-1e9)
        lowest = max(lowest, beside + _WHITE)
    return lowest - box[1]


def _bins(box: Box, aside: float) -> range:
    return range(int((box[0] - aside) // _BIN), int((box[2] + aside) // _BIN) + 1)


def _moved(
    system: System,
    staves: _Staves,
    rows: Sequence[int | None],
    chords: Mapping[str, int],
    shifts: Sequence[float],
) -> System:
    """The line with every row where it goes."""
    place = _placing(staves, shifts[_STAFF::_ROWS])
    inks = tuple(
        _stretched(ink, place) if row is None else ink.moved(shifts[row]) if shifts[row] else ink
        for ink, row in zip(system.ink, rows, strict=True)
    )
    heads = {
        ink.owner: shifts[row]
        for ink, row in zip(system.ink, rows, strict=True)
        if row is not None and ink.owner in system.heads
    }
    wedges = {
        name: shifts[_ROWS * staves.over(spot.y) + _SYLLABLES]
        for name, spot in system.wedges.items()
    }
    top, bottom = extent(inks)
    return replace(
        system,
        ink=inks,
        heads=_lowered(system.heads, heads),
        chords=_lowered(system.chords, {name: shifts[row] for name, row in chords.items()}),
        wedges=_lowered(system.wedges, wedges),
        staves=frozenset(place(top) for top in staves.tops),
        staff_top=place(system.staff_top),
        staff_bottom=place(system.staff_bottom),
        top=min(system.top, top),
        bottom=max(system.bottom + shifts[-1], bottom),
    )


def _lowered(spots: Mapping[str, InkSpot], by: Mapping[str, float]) -> dict[str, InkSpot]:
    return {name: spot._replace(y=spot.y + by.get(name, 0.0)) for name, spot in spots.items()}


def _placing(staves: _Staves, shifts: Sequence[float]) -> Callable[[float], float]:
    """Where a height comes to stand: with its staff, or between two in proportion."""
    known: list[tuple[float, float]] = []
    for top, shift in zip(staves.tops, shifts, strict=True):
        known += [(top, shift), (top + staves.high, shift)]

    def place(y: float) -> float:
        if y <= known[0][0]:
            return y + known[0][1]
        for (y0, a), (y1, b) in pairwise(known):
            if y <= y1:
                return y + (a + (b - a) * (y - y0) / (y1 - y0) if y1 > y0 else b)
        return y + known[-1][1]

    return place


def _stretched(ink: Ink, place: Callable[[float], float]) -> Ink:
    """A bar line or a bracket drawn on to where its ends come to stand."""
    x0, y0, x1, y1 = ink.box
    box = (x0, place(y0), x1, place(y1))
    match ink.shape:
        case Line() as line:
            return ink._replace(shape=line._replace(y0=place(line.y0), y1=place(line.y1)), box=box)
        case Polygon() as polygon:
            return ink._replace(
                shape=polygon._replace(points=_placed(polygon.points, place)), box=box
            )
        case Curve() as curve:
            segments = tuple((pen, _placed(points, place)) for pen, points in curve.segments)
            return ink._replace(shape=curve._replace(segments=segments), box=box)
        case Rectangle():
            return ink._replace(box=box)
    middle = (y0 + y1) / 2
    return ink.moved(place(middle) - middle)


def _placed(points: tuple[Point, ...], place: Callable[[float], float]) -> tuple[Point, ...]:
    return tuple((x, place(y)) for x, y in points)
