"""Dynamics, hairpins and words under a staff keep clear of each other: the engraver sets each by
itself.

Dynamics of one moment stand side by side and read as one ("sf p"); those of two moments move apart;
a hairpin ends before the dynamic it leads to and begins behind the one it comes from.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise

from sectionprep.drawing.scene.ink import Box, Ink, Line, Polygon, System, box_of

CLEAR = 60.0  # white between two signs
_TOGETHER = 15.0  # white inside a sign of two dynamics
_FARTHEST = 320.0  # how far a dynamic may move from its note; judgement: two staff spaces
_ONE_ROW = 450.0  # heights that differ by less belong to one row
_SHORTEST = 250.0  # a hairpin that would be shorter stays as it is


def clear_under(inks: list[Ink], system: System) -> None:
    """Move dynamics apart and trim hairpins, in place in the list."""
    rows = _dynamics(inks, system)
    for before, after in pairwise(rows):
        _part(inks, before, after)
        _sink(inks, before, after)
    if rows:
        _trim_hairpins(inks, rows)


def _dynamics(inks: list[Ink], system: System) -> list[list[int]]:
    """Places in the ink of each dynamic under the staff, from the left."""
    found: dict[str, list[int]] = defaultdict(list)
    for n, ink in enumerate(inks):
        if "dynam" in ink.classes and ink.owner and ink.box[1] > system.staff_top:
            found[ink.owner].append(n)
    return sorted(found.values(), key=lambda sign: box_of(inks[n] for n in sign)[0])


def _part(inks: list[Ink], before: list[int], after: list[int]) -> None:
    """Move two neighbours that touch."""
    a, b = box_of(inks[n] for n in before), box_of(inks[n] for n in after)
    if abs(a[3] - b[3]) > _ONE_ROW or b[0] - a[2] >= CLEAR:
        return
    at_once = b[0] - a[0] < 0.6 * (a[2] - a[0])
    lacking = (_TOGETHER if at_once else CLEAR) - (b[0] - a[2])
    if lacking > 2 * _FARTHEST:
        return
    _shift(inks, before, 0.0, 0.0 if at_once else -lacking / 2)
    _shift(inks, after, a[3] - b[3] if at_once else 0.0, lacking if at_once else lacking / 2)


def _sink(inks: list[Ink], before: list[int], after: list[int]) -> None:
    """Of two that stand under each other, move the lower one down where they nearly touch."""
    upper, lower = sorted((before, after), key=lambda sign: box_of(inks[n] for n in sign)[3])
    a, b = box_of(inks[n] for n in upper), box_of(inks[n] for n in lower)
    if a[0] < b[2] + CLEAR and b[0] < a[2] + CLEAR and b[3] - a[3] > 0 and b[1] - a[3] < CLEAR:
        _shift(inks, lower, a[3] + CLEAR - b[1], 0.0)


def _shift(inks: list[Ink], sign: list[int], down: float, right: float) -> None:
    for n in sign:
        inks[n] = inks[n].moved(down, right)


def _trim_hairpins(inks: list[Ink], rows: list[list[int]]) -> None:
    """Let hairpins end before, and begin behind, the dynamics at their ends."""
    boxes = [box_of(inks[n] for n in sign) for sign in rows]
    for n, ink in enumerate(inks):
        if "hairpin" not in ink.classes:
            continue
        left, top, right, bottom = ink.box
        for box in boxes:
            if (
                box[1] < bottom
                and top < box[3]
                and box[0] < right + CLEAR
                and left < box[2] + CLEAR
            ):
                middle = (box[0] + box[2]) / 2
                if middle > (left + right) / 2:
                    right = min(right, box[0] - CLEAR)
                else:
                    left = max(left, box[2] + CLEAR)
        if right - left >= _SHORTEST and (left, right) != (ink.box[0], ink.box[2]):
            inks[n] = _between(ink, left, right)


def _between(ink: Ink, left: float, right: float) -> Ink:
    """A hairpin as long as from here to there."""
    x0, y0, x1, y1 = ink.box
    share = (right - left) / (x1 - x0)

    def place(x: float) -> float:
        return left + share * (x - x0)

    box: Box = (left, y0, right, y1)
    if isinstance(ink.shape, Polygon):
        points = tuple((place(x), y) for x, y in ink.shape.points)
        return ink._replace(shape=ink.shape._replace(points=points), box=box)
    if isinstance(ink.shape, Line):
        shape = ink.shape._replace(x0=place(ink.shape.x0), x1=place(ink.shape.x1))
        return ink._replace(shape=shape, box=box)
    return ink
