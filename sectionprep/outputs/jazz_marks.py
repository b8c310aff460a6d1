"""Jazz marks that the engraver leaves out, drawn by us at the note head.

Shapes follow what the words mean (MusicXML 4.0: scoop and plop lead into the note from below and above, doit
and falloff leave it upwards and downwards); the curves are our own.
"""

from __future__ import annotations

from typing import Any

from sectionprep.outputs.svg import Spot, System

DRAWN = frozenset({"scoop", "plop", "doit", "falloff", "smear", "brass-bend", "flip", "shake"})
_WIDTH = 24.0  # pen width, hundredths of a millimetre


def draw(painter: Any, system: System, head: Spot, mark: str) -> None:
    """Draw one mark at a note head, in the drawing's coordinates (y downwards)."""
    c = painter.canvas
    c.saveState()
    c.setLineCap(1)
    c.setLineWidth(_WIDTH)
    left, right, y = head.x - 40, head.x + head.width + 45, head.y
    path = c.beginPath()
    if mark == "falloff":
        path.moveTo(right, y + 15)
        path.curveTo(right + 150, y + 10, right + 250, y + 110, right + 290, y + 330)
    elif mark == "doit":
        path.moveTo(right, y - 15)
        path.curveTo(right + 150, y - 10, right + 250, y - 110, right + 290, y - 330)
    elif mark == "scoop":
        path.moveTo(left - 230, y + 210)
        path.curveTo(left - 200, y + 60, left - 120, y + 10, left, y + 10)
    elif mark == "plop":
        path.moveTo(left - 230, y - 250)
        path.curveTo(left - 220, y - 80, left - 120, y - 15, left, y - 10)
    else:
        _above(path, system, head, mark)
    c.drawPath(path, stroke=1, fill=0)
    c.restoreState()


def _above(path: Any, system: System, head: Spot, mark: str) -> None:
    y = min(head.y, system.staff_top) - 240
    x = head.x
    w = max(head.width, 230)
    if mark == "shake":
        path.moveTo(x - 20, y)
        for n in range(5):
            middle = x - 20 + (n + 0.5) * 90
            path.curveTo(middle - 15, y - 110 * (-1) ** n, middle + 15, y - 110 * (-1) ** n, x - 20 + (n + 1) * 90, y)
    elif mark == "flip":
        path.moveTo(x + w * 0.4, y + 60)
        path.curveTo(x + w * 0.6, y - 140, x + w * 1.2, y - 140, x + w * 1.4, y + 90)
    elif mark == "smear":
        path.moveTo(x - 60, y + 60)
        path.curveTo(x + w * 0.2, y - 160, x + w * 0.5, y + 140, x + w + 60, y - 60)
    else:  # brass-bend: down and back, a shallow bowl
        path.moveTo(x - 30, y - 60)
        path.curveTo(x + w * 0.2, y + 90, x + w * 0.8, y + 90, x + w + 30, y - 60)
