"""Jazz marks that the engraver leaves out, drawn by us at the note head.

Shapes follow what the words mean (MusicXML 4.0: scoop and plop lead into the note from below and
above, doit and falloff leave it upwards and downwards); the curves are our own.
"""

from __future__ import annotations

from typing import Any

from sectionprep.drawing.scene.ink import Box, InkSpot, System
from sectionprep.music.chart import Part
from sectionprep.musicxml.copies.part import note_id

DRAWN = frozenset(
    {"scoop", "plop", "doit", "falloff", "smear", "brass-bend", "flip", "shake", "lift", "rip"}
)
_WIDTH = 24.0  # pen width, hundredths of a millimetre
_STAFF = 750.0  # height of the usual staff
_REACH = 900.0  # how far above its staff a note can have something of its own


def overlays_of(part: Part) -> dict[str, tuple[str, ...]]:
    """The marks that are drawn here, of every note of a part, by the id it is drawn under."""
    return {
        note_id(note.address): tuple(sorted(note.marks & DRAWN))
        for note in part.notes
        if note.marks & DRAWN
    }


def draw(painter: Any, system: System, head: InkSpot, mark: str, size: float = 1.0) -> None:
    """Draw one mark at a note head, in the drawing's coordinates (y downwards). size: of the staff,
    as a share of the usual one."""
    c = painter.canvas
    c.saveState()
    c.translate(head.x, head.y if mark in _BESIDE else _height_above(system, head, size))
    c.scale(size, size)
    c.setLineCap(1)
    c.setLineWidth(_WIDTH)
    path = c.beginPath()
    if mark in _BESIDE:
        _beside(path, head.width / size, mark)
    else:
        _above(path, max(head.width / size, 230), mark)
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


def box(system: System, head: InkSpot, mark: str, size: float = 1.0) -> Box:
    """The room a mark takes."""
    if mark in _BESIDE:
        side, (x0, y0, x1, y1) = _BESIDE[mark]
        x = head.x + (head.width + 45 * size if side == "right" else -40 * size)
        y = head.y
    else:
        x0, y0, x1, y1 = _ABOVE[mark]
        x, y = head.x, _height_above(system, head, size)
    return x + size * x0, y + size * y0, x + size * x1, y + size * y1


def _beside(path: Any, width: float, mark: str) -> None:
    """With the head's left edge and middle at the origin."""
    left, right = -40.0, width + 45
    if mark == "falloff":
        path.moveTo(right, 15)
        path.curveTo(right + 150, 10, right + 250, 110, right + 290, 330)
    elif mark == "doit":
        path.moveTo(right, -15)
        path.curveTo(right + 150, -10, right + 250, -110, right + 290, -330)
    elif mark == "lift":
        path.moveTo(right, -15)
        path.lineTo(right + 150, -260)
    elif mark == "scoop":
        path.moveTo(left - 230, 210)
        path.curveTo(left - 200, 60, left - 120, 10, left, 10)
    elif mark == "plop":
        path.moveTo(left - 230, -250)
        path.curveTo(left - 220, -80, left - 120, -15, left, -10)
    else:  # rip: a rough climb, three small waves
        path.moveTo(left - 330, 420)
        for n in range(3):
            x0, y0 = left - 330 + n * 110, 420 - n * 137
            path.curveTo(x0 + 75, y0 - 10, x0 + 35, y0 - 127, x0 + 110, y0 - 137)


def _height_above(system: System, head: InkSpot, size: float) -> float:
    """Above the note's own staff and clear of everything that stands over the note there."""
    staff = min(
        system.staves,
        key=lambda top: max(top - head.y, head.y - top - _STAFF * size, 0.0),
        default=system.staff_top,
    )
    top = min(head.y, staff)
    over = [
        ink.box[1]
        for ink in system.ink
        if ink.box[0] < head.x + 300 * size
        and ink.box[2] > head.x - 60 * size
        and top - _REACH * size < ink.box[1]
        and ink.box[3] < head.y
    ]
    return min([top, *over]) - 180 * size


def _above(path: Any, width: float, mark: str) -> None:
    """With the head's left edge and the mark's own middle at the origin."""
    if mark == "shake":
        path.moveTo(-20, 0)
        for n in range(5):
            middle, swing = -20 + (n + 0.5) * 90, -110 * (-1) ** n
            path.curveTo(middle - 15, swing, middle + 15, swing, -20 + (n + 1) * 90, 0)
    elif mark == "flip":
        path.moveTo(width * 0.4, 60)
        path.curveTo(width * 0.6, -140, width * 1.2, -140, width * 1.4, 90)
    elif mark == "smear":
        path.moveTo(-60, 60)
        path.curveTo(width * 0.2, -160, width * 0.5, 140, width + 60, -60)
    else:  # brass-bend: down and back, a shallow bowl
        path.moveTo(-30, -60)
        path.curveTo(width * 0.2, 90, width * 0.8, 90, width + 30, -60)
