"""Articulations stand outside the ties and beams of their notes and off the heads of others, where
the engraver draws one through the other."""

from __future__ import annotations

from sectionprep.drawing.scene.ink import Box, Curve, Ink
from sectionprep.drawing.scene.nudging import pieces_of

_CLEAR = 30.0  # white between a tie or a beam and an articulation
_INSIDE = 15.0  # by which boxes may overlap
_BODIES = frozenset({"beam", "flag", "notehead"})
_ROUNDS = 3  # one body may stand over another


def clear_ties(inks: list[Ink]) -> None:
    """Move articulations that a tie crosses away from their note, in place in the list."""
    ties = [ink for ink in inks if "tie" in ink.classes and isinstance(ink.shape, Curve)]
    if not ties:
        return
    for n, ink in enumerate(inks):
        if "artic" not in ink.classes:
            continue
        for tie in ties:
            crossed = _crossed(tie, ink.box)
            if crossed is not None:
                top, bottom = crossed
                above = (tie.box[1] + tie.box[3]) / 2 >= _ends(tie) - 1e-6
                down = bottom + _CLEAR - ink.box[1] if above else top - _CLEAR - ink.box[3]
                inks[n] = ink.moved(down)
                break


def clear_bodies(inks: list[Ink]) -> None:
    """Move articulations that stand on a beam, a flag or another note's head away from their own
    note until they are clear, in place in the list: the engraver sets them over a stem that they
    are wider than, and between two players' notes on a staff."""
    bodies = [ink for ink in inks if _BODIES.intersection(ink.classes[-2:])]
    heads = {ink.owner: ink.box for ink in inks if "notehead" in ink.classes and ink.owner}
    for n, ink in enumerate(inks):
        if "artic" not in ink.classes:
            continue
        for _ in range(_ROUNDS):
            found = next(filter(None, (_met(ink, inks[n].box, body) for body in bodies)), None)
            if found is None:
                break
            high, low = found
            own = heads.get(ink.owner, (0.0, high, 0.0, low))
            top, bottom = inks[n].box[1], inks[n].box[3]
            up = ink.box[1] + ink.box[3] < own[1] + own[3]
            inks[n] = inks[n].moved(high - _CLEAR - bottom if up else low + _CLEAR - top)


def _met(mark: Ink, box: Box, body: Ink) -> tuple[float, float] | None:
    """Highest and lowest of a body where a mark with this box stands on it; None where it does
    not, and for the mark's own head."""
    left, top, right, bottom = box
    x0, y0, x1, y1 = body.box
    if right - _INSIDE < x0 or x1 < left + _INSIDE:
        return None
    if bottom - _INSIDE < y0 or y1 < top + _INSIDE:
        return None
    if "notehead" in body.classes and body.owner == mark.owner:
        return None
    here = [b for b in pieces_of(body) if b[0] < right and left < b[2]]
    high, low = min((b[1] for b in here), default=y1), max((b[3] for b in here), default=y0)
    return (high, low) if high < bottom - _INSIDE and top + _INSIDE < low else None


def _ends(tie: Ink) -> float:
    """Height of a tie's ends: an arc that lies under them bends down."""
    assert isinstance(tie.shape, Curve)
    points = [p for _, found in tie.shape.segments for p in found]
    return points[0][1]


def _crossed(tie: Ink, box: Box) -> tuple[float, float] | None:
    """Highest and lowest of a tie where it passes through a box; None where it does not."""
    x0, y0, x1, y1 = tie.box
    if box[2] <= x0 or x1 <= box[0] or x1 - x0 <= 0:
        return None
    ends = _ends(tie)
    bulge = (y0 if abs(ends - y1) < abs(ends - y0) else y1) - ends
    heights = []
    for x in (box[0], (box[0] + box[2]) / 2, box[2]):
        share = min(1.0, max(0.0, (x - x0) / (x1 - x0)))
        heights.append(ends + bulge * 4 * share * (1 - share))
    top, bottom = min(heights), max(heights)
    inside = min(_INSIDE, (box[3] - box[1]) / 2)  # a tenuto is thin
    if bottom < box[1] + inside or box[3] - inside < top:
        return None
    return top, bottom
