"""Jazz marks that the engraver leaves out, drawn by us at the note head.

Shapes follow what the words mean (MusicXML 4.0: scoop and plop lead into the note from below and
above, doit and falloff leave it upwards and downwards); the curves are our own.
"""

from __future__ import annotations

from typing import Any

from sectionprep.drawing.scene.ink import Box, Spot, System

DRAWN = frozenset(
    {"scoop", "plop", "doit", "falloff", "smear", "brass-bend", "flip", "shake", "lift", "rip"}
)
_WIDTH = 24.0  # pen width, hundredths of a millimetre


def draw(painter: Any, system: System, head: Spot, mark: str) -> None:
    """Draw one mark at a note head, in the drawing's coordinates (y downwards)."""
    c = painter.canvas
    c.saveState()
    c.setLineCap(1)
    c.setLineWidth(_WIDTH)
    path = c.beginPath()
    if mark in _BESIDE:
        _beside(path, head, mark)
    else:
        _above(path, system, head, mark)
    c.drawPath(path, stroke=1, fill=0)
    c.restoreState()


# Marks beside the head: the box they take, from the head's left or right edge and its middle (dx0,
# dy0, dx1, dy1).
_BESIDE = {
    "falloff": ("right", (0, 0, 290, 330)),
    "doit": ("right", (0, -330, 290, 0)),
    "lift": ("right", (0, -260, 150, 0)),
    "scoop": ("left", (-230, 10, 0, 210)),
    "plop": ("left", (-230, -250, 0, 0)),
    "rip": ("left", (-330, 10, 0, 420)),
}
_ABOVE = {
    "shake": (-20, -110, 430, 110),
    "flip": (90, -140, 330, 90),
    "smear": (-60, -100, 290, 80),
    "brass-bend": (-30, -60, 260, 60),
}


def box(system: System, head: Spot, mark: str) -> Box:
    """The room a mark takes."""
    if mark in _BESIDE:
        side, (x0, y0, x1, y1) = _BESIDE[mark]
        x = head.x + head.width + 45 if side == "right" else head.x - 40
        return x + x0, head.y + y0, x + x1, head.y + y1
    x0, y0, x1, y1 = _ABOVE[mark]
    y = _height_above(system, head)
    return head.x + x0, y + y0, head.x + x1, y + y1


def _beside(path: Any, head: Spot, mark: str) -> None:
    left, right, y = head.x - 40, head.x + head.width + 45, head.y
    if mark == "falloff":
        path.moveTo(right, y + 15)
        path.curveTo(right + 150, y + 10, right + 250, y + 110, right + 290, y + 330)
    elif mark == "doit":
        path.moveTo(right, y - 15)
        path.curveTo(right + 150, y - 10, right + 250, y - 110, right + 290, y - 330)
    elif mark == "lift":
        path.moveTo(right, y - 15)
        path.lineTo(right + 150, y - 260)
    elif mark == "scoop":
        path.moveTo(left - 230, y + 210)
        path.curveTo(left - 200, y + 60, left - 120, y + 10, left, y + 10)
    elif mark == "plop":
        path.moveTo(left - 230, y - 250)
        path.curveTo(left - 220, y - 80, left - 120, y - 15, left, y - 10)
    else:  # rip: a rough climb, three small waves
        path.moveTo(left - 330, y + 420)
        for n in range(3):
            x0, y0 = left - 330 + n * 110, y + 420 - n * 137
            path.curveTo(x0 + 75, y0 - 10, x0 + 35, y0 - 127, x0 + 110, y0 - 137)


def _height_above(system: System, head: Spot) -> float:
    """Above the staff and clear of everything that stands over the note there."""
    over = [
        ink.box[1]
        for ink in system.ink
        if ink.box[0] < head.x + 300 and ink.box[2] > head.x - 60 and ink.box[3] < head.y
    ]
    return min([head.y, system.staff_top, *over]) - 180


def _above(path: Any, system: System, head: Spot, mark: str) -> None:
    y = _height_above(system, head)
    x = head.x
    w = max(head.width, 230)
    if mark == "shake":
        path.moveTo(x - 20, y)
        for n in range(5):
            middle = x - 20 + (n + 0.5) * 90
            path.curveTo(
                middle - 15,
                y - 110 * (-1) ** n,
                middle + 15,
                y - 110 * (-1) ** n,
                x - 20 + (n + 1) * 90,
                y,
            )
    elif mark == "flip":
        path.moveTo(x + w * 0.4, y + 60)
        path.curveTo(x + w * 0.6, y - 140, x + w * 1.2, y - 140, x + w * 1.4, y + 90)
    elif mark == "smear":
        path.moveTo(x - 60, y + 60)
        path.curveTo(x + w * 0.2, y - 160, x + w * 0.5, y + 140, x + w + 60, y - 60)
    else:  # brass-bend: down and back, a shallow bowl
        path.moveTo(x - 30, y - 60)
        path.curveTo(x + w * 0.2, y + 90, x + w * 0.8, y + 90, x + w + 30, y - 60)
