"""The last look at a line: a word, a dynamic or a tuplet's number that still touches something, or
nearly does, steps aside by as little as clears it.

Coordinates and distances in hundredths of a millimetre. What is read sign by sign wants half a
millimetre of white around it, all else only not to be touched: judgement of readers.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from sectionprep.drawing.scene.ink import Box, Curve, Glyph, Ink, Point, Polygon, Text, box_of

_WORDS = frozenset({"dir", "tempo", "reh", "repeatMark"})
READ = _WORDS | {"dynam", "syl", "fermata"}
_MOVES = _WORDS | {"dynam", "tupletNum", "hairpin", "breath"}
IN_THE_WAY = READ | {
    "tupletNum",
    "artic",
    "breath",
    "voltaBracket",
    "notehead",
    "accid",
    "stem",
    "flag",
    "beam",
    "rest",
    "mRest",
    "multiRest",
    "slur",
    "tie",
    "lv",
    "clef",
    "gliss",
    "meterSig",
    "keyAccid",
    "fb",
    "hairpin",
}
_APART = 52.0  # white that signs want which are read one by one
_ONE_ROW = 5.0  # dynamics whose feet differ by less are read as one sign ("sf p")
_LETTING = 10.0  # by which a sign may reach into the box of another
_OFF_LINES = (
    10.0  # white to a slur or a tie, whose pieces are as thin as its line: one touches soon
)
_THIN = frozenset({"slur", "tie", "lv"})
#: how far a sign may step to each side, and up or down, in steps; judgement: a staff space or two
_STEPS_ASIDE = (0.0, 40.0, 80.0, 120.0)
_STEPS_DOWN = (0.0, 20.0, 40.0, 60.0, 80.0, 120.0, 160.0, 200.0, 300.0, 400.0, 500.0, 600.0)
_STEPS = sorted(
    (
        (down * up, right * left)
        for right in _STEPS_ASIDE
        for left in (1, -1)
        for down in _STEPS_DOWN
        for up in (1, -1)
    ),
    key=lambda step: abs(step[0]) + 1.5 * abs(step[1]),  # a place in time matters more than height
)
_PIECES = 12  # of a slur
_WITH_TAILS = re.compile(r"[gjpqyQ,;()\[\]]")


def step_aside(
    inks: list[Ink],
    fixed: Sequence[Box] = (),
    staves: Iterable[Box] = (),
    edge: float = float("inf"),
) -> None:
    """Move what may move away from what it touches, in place in the list. fixed: boxes that are in
    the way besides the ink, such as chord symbols; staves: boxes of the staves, which only the
    frame of a letter may reach into; edge: where the line ends."""
    within = [_grown(staff, -_APART - _LETTING) for staff in staves]
    for name, places in _movers(inks).items():
        letter = "reh" in inks[places[0]].classes
        others = [*fixed, *(() if letter else within)]
        around = box_of(inks[n] for n in places)
        near = _grown(around, _APART)
        beside = [
            n
            for n, ink in enumerate(inks)
            if _meet(ink.box, near) and n not in places and IN_THE_WAY.intersection(ink.classes)
        ]
        if not beside and not any(_meet(box, near) for box in others):
            continue
        own = [box for n in places for box in pieces_of(inks[n])]
        if not _touched(own, inks[places[0]], _hindrances(inks, beside, name, near), others):
            continue
        _take_nearest_free(inks, places, name, own, others, edge)


def _movers(inks: Sequence[Ink]) -> dict[str, list[int]]:
    """Places in the ink of everything that may step aside, by the sign that it is part of."""
    found: dict[str, list[int]] = defaultdict(list)
    for n, ink in enumerate(inks):
        if _MOVES.intersection(ink.classes):
            found[_sign_of(ink) or f"ink {n}"].append(n)
    return found


def _sign_of(ink: Ink) -> str:
    return ink.group or (f"{ink.classes[-1]} {ink.owner}" if ink.owner else "")


def _take_nearest_free(
    inks: list[Ink],
    places: Sequence[int],
    name: str,
    own: Sequence[Box],
    fixed: Sequence[Box],
    edge: float,
) -> None:
    """Move a sign to the nearest place where it touches nothing; it stays where there is none."""
    one = inks[places[0]]
    reach = _grown(box_of(inks[n] for n in places), _STEPS_DOWN[-1] + _APART)
    beside = [
        n
        for n, ink in enumerate(inks)
        if _meet(ink.box, reach) and n not in places and IN_THE_WAY.intersection(ink.classes)
    ]
    hindrances = list(_hindrances(inks, beside, name, reach))
    upright = "hairpin" in one.classes  # where it begins and ends says when
    for down, right in _STEPS:
        if upright and right:
            continue
        there = [(a + right, b + down, c + right, d + down) for a, b, c, d in own]
        if any(c > edge or a < 0 for a, _, c, _ in there):
            continue
        if not _touched(there, one, hindrances, fixed):
            for n in places:
                inks[n] = inks[n].moved(down, right)
            return


def _hindrances(
    inks: Sequence[Ink], beside: Iterable[int], name: str, near: Box
) -> Iterator[tuple[Box, Ink]]:
    """The boxes, small along slanted ink, of what stands near a sign."""
    for n in beside:
        ink = inks[n]
        if _sign_of(ink) != name:
            yield from ((box, ink) for box in pieces_of(ink) if _meet(box, near))


def _touched(
    own: Sequence[Box], one: Ink, hindrances: Iterable[tuple[Box, Ink]], fixed: Iterable[Box]
) -> bool:
    """True where a sign with these boxes touches something. one: ink of the sign."""
    read = bool(READ.intersection(one.classes))
    if any(_meet(_grown(box, _APART if read else 0.0), other) for box in own for other in fixed):
        return True
    for other, ink in hindrances:
        apart = -_LETTING
        if read and READ.intersection(ink.classes):
            apart = _APART
        elif read and _THIN.intersection(ink.classes):
            apart = _OFF_LINES
        if "voltaBracket" in ink.classes or (ink.classes[-1] == "beam" and not read):
            continue
        for box in own:
            if _meet(_grown(box, apart), other) and not _one_row(one, box, ink, other):
                return True
    return False


def _one_row(one: Ink, box: Box, ink: Ink, other: Box) -> bool:
    """True for two dynamics side by side that are read as one ("sf p"); two alike are not one: "p"
    beside "p" is not "pp"."""
    both = "dynam" in one.classes and "dynam" in ink.classes and not _alike(one, ink)
    return both and abs(box[3] - other[3]) < _ONE_ROW and not _meet(box, other)


def _alike(one: Ink, other: Ink) -> bool:
    """Whether two pieces of ink are the same sign of different places in the music."""
    a, b = one.shape, other.shape
    both = isinstance(a, Glyph) and isinstance(b, Glyph) and a.code == b.code
    return both and one.owner != other.owner


def _grown(box: Box, by: float) -> Box:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def _meet(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _ink_box(ink: Ink) -> Box:
    """The box of the ink itself: letters without tails end on their line."""
    if isinstance(ink.shape, Text) and not _WITH_TAILS.search(ink.shape.words):
        return ink.box[0], ink.box[1], ink.box[2], ink.shape.y
    return ink.box


def pieces_of(ink: Ink) -> Iterator[Box]:
    """The box of some ink; boxes along it where it is bent or slanted."""
    shape = ink.shape
    if isinstance(shape, Curve):
        points = [p for _, found in shape.segments for p in found]
        outer = points[: len(points) // 2 + 1] if len(points) >= 4 else points
        yield from _around(_bent(outer) if len(outer) == 4 else outer)
    elif isinstance(shape, Polygon) and shape.points and ink.box[2] - ink.box[0] > 200:
        yield from _around(_straight(shape.points, top=True), _straight(shape.points, top=False))
    else:
        yield _ink_box(ink)


def _around(line: Sequence[Point], other: Sequence[Point] = ()) -> Iterator[Box]:
    """Boxes from point to point of a line, or of two that run along each other."""
    for (a, b), (c, d) in zip(pairwise(line), pairwise(other or line), strict=True):
        heights = (a[1], b[1], c[1], d[1])
        yield min(a[0], b[0]), min(heights), max(a[0], b[0]), max(heights)


def _bent(points: Sequence[Point]) -> list[Point]:
    """Points along a curve that is given by its ends and two handles."""
    found = []
    for n in range(_PIECES + 1):
        t = n / _PIECES
        shares = ((1 - t) ** 3, 3 * (1 - t) ** 2 * t, 3 * (1 - t) * t * t, t**3)
        found.append(
            (
                sum(s * p[0] for s, p in zip(shares, points, strict=True)),
                sum(s * p[1] for s, p in zip(shares, points, strict=True)),
            )
        )
    return found


def _straight(points: Sequence[Point], *, top: bool) -> list[Point]:
    """Points along the upper or the lower edge of something slanted."""
    x0, x1 = min(x for x, _ in points), max(x for x, _ in points)
    choose = min if top else max
    left = choose(y for x, y in points if x <= x0 + 1)
    right = choose(y for x, y in points if x >= x1 - 1)
    shares = [n / _PIECES for n in range(_PIECES + 1)]
    return [(x0 + s * (x1 - x0), left + s * (right - left)) for s in shares]
