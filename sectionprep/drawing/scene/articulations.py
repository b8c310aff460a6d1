"""Articulations stand outside the ties and beams of their notes, where the engraver draws one
through the other."""

from __future__ import annotations

from sectionprep.drawing.scene.ink import Box, Curve, Ink
from sectionprep.drawing.scene.nudging import pieces_of

_CLEAR = 30.0  # white between a tie or a beam and an articulation
_INSIDE = 15.0  # by which boxes may overlap


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


def clear_beams(inks: list[Ink]) -> None:
    """Move articulations that stand on a slanted beam away from it, in place in the list: the
    engraver sets them over the stem, and they are wider than it."""
    beams = [ink for ink in inks if ink.classes and ink.classes[-1] == "beam"]
    for n, ink in enumerate(inks):
        if "artic" not in ink.classes:
            continue
        left, top, right, bottom = ink.box
        for beam in beams:
            x0, y0, x1, y1 = beam.box
            if right <= x0 or x1 <= left or bottom < y0 + _INSIDE or y1 - _INSIDE < top:
                continue
            here = [b for b in pieces_of(beam) if b[0] < right and left < b[2]]
            high = min((b[1] for b in here), default=y1)
            low = max((b[3] for b in here), default=y0)
            if bottom < high + _INSIDE or low - _INSIDE < top:
                continue
            up = top + bottom < high + low
            inks[n] = ink.moved(high - _CLEAR - bottom if up else low + _CLEAR - top)
            break


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
    if bottom < box[1] + _INSIDE or box[3] - _INSIDE < top:
        return None
    return top, bottom
