"""Chord symbols set by us: root large, quality raised, alterations stacked, triangle and slashed
circle drawn."""

from __future__ import annotations

import re
from typing import Any

from sectionprep.drawing.text import fonts

_PARTS = re.compile(r"^([A-G])([#b]{0,2})(.*?)(?:/([A-G])([#b]{0,2}))?$")
_ALTERATION = re.compile(r"([#b])(\d+)")
# Type sizes on a staff of 7.5 mm: the root 11.3 points, a raised 7 8.2, m 8.8, a ninth in
# parentheses 7.7: judgement, from looking at the page at 70 % of its size.
SIZE = 400.0  # of the root, hundredths of a millimetre
_RAISED = 0.72  # of the quality, in root sizes
_MINOR = 1.08  # of m, which is not raised, in sizes of the quality
_ALTERED = 0.94  # of alterations, in sizes of the quality
_SHIFT = 0.36  # how far the quality is raised, in root sizes


#: Unicode, and SMuFL: accidentals, those of figured bass (by which the engraver writes them in a
#: score), those of chord symbols
_SPELT = (
    ("\u266d\ue260\uea64\ued60", "b"),
    ("\u266f\ue262\uea66\ued62", "#"),
    ("\u266e\ue261\uea65\ued61 ", ""),
    ("\U0001d12b\ue264\uea63\ued64", "bb"),
    ("\U0001d12a\ue263\uea67\ued63", "##"),
)
#: signs that stand for a seventh by themselves, and for less where a number follows
_MAJOR = re.compile("[\u0394\u25b3\ue873](\\d*)")
_HALF_DIMINISHED = re.compile("[\u00f8\ue871](\\d*)")


def normal(text: str) -> str:
    """Plain spelling of a chord symbol: signs as # and b, no spaces, and no natural: the engraver
    writes one where a file says that a root is altered by 0."""
    for signs, spelt in _SPELT:
        for sign in signs:
            text = text.replace(sign, spelt)
    text = _MAJOR.sub(lambda found: f"maj{found[1] or 7}", text)
    return _HALF_DIMINISHED.sub(lambda found: f"m{found[1] or 7}b5", text)


def split(text: str) -> tuple[str, str, str, list[str], str, str]:
    """Root, its sign, quality, alterations, bass, its sign. Unknown text comes back as the root
    alone."""
    match = _PARTS.match(normal(text))
    if not match:
        return text, "", "", [], "", ""
    root, sign, rest, bass, bass_sign = match.groups()
    half = rest.startswith("m7b5")
    if half:
        rest = "\u00f87" + rest[4:]
    alterations = [a + n for a, n in _ALTERATION.findall(rest)]
    quality = _ALTERATION.sub("", rest)
    quality = re.sub(r"[(),]", "", quality) if alterations else quality
    return root, sign, quality, alterations, bass or "", bass_sign or ""


class _Pen:
    """Draws left to right; y grows downwards as in the drawing."""

    def __init__(self, painter: Any, x: float, y: float) -> None:
        self.painter, self.x, self.y = painter, x, y

    def letters(self, text: str, size: float, up: float = 0.0, font: str = fonts.BOLD) -> None:
        text = fonts.printable(text, font)
        self.x += (
            self.painter.text(self.x, self.y - up, text, font, size)
            if self.painter
            else fonts.width(text, font, size)
        )

    def sign(self, sign: str, size: float, up: float = 0.0) -> None:
        for one in sign:
            code = "E260" if one == "b" else "E262"
            scale = size / 560
            box = fonts.glyph_boxes()[code]
            if self.painter:
                c = self.painter.canvas
                c.saveState()
                c.translate(self.x + 10 * scale, self.y - up - 0.30 * size)
                c.scale(scale * 0.72, -scale * 0.72)
                self.painter.glyph(code)
                c.restoreState()
            self.x += (box[2] + 40) * scale * 0.72

    def triangle(self, size: float, up: float) -> None:
        side = 0.62 * size
        if self.painter:
            c = self.painter.canvas
            path = c.beginPath()
            base = self.y - up
            path.moveTo(self.x + 15, base)
            path.lineTo(self.x + 15 + side, base)
            path.lineTo(self.x + 15 + side / 2, base - 0.62 * size)
            path.close()
            c.setLineWidth(0.055 * size)
            c.drawPath(path, stroke=1, fill=0)
        self.x += side + 40

    def slashed_circle(self, size: float, up: float) -> None:
        radius = 0.25 * size
        if self.painter:
            c = self.painter.canvas
            cx, cy = self.x + radius + 15, self.y - up - 0.32 * size
            c.setLineWidth(0.055 * size)
            c.circle(cx, cy, radius, stroke=1, fill=0)
            c.line(cx - 1.15 * radius, cy + 1.15 * radius, cx + 1.15 * radius, cy - 1.15 * radius)
        self.x += 2 * radius + 40


def draw(painter: Any, x: float, y: float, text: str, size: float = SIZE) -> float:
    """Set a chord symbol with its root's foot at (x, y); returns the width. painter None only
    measures."""
    root, sign, quality, alterations, bass, bass_sign = split(text)
    pen = _Pen(painter, x, y)
    pen.letters(root, size)
    pen.sign(sign, size)
    small, up = size * _RAISED, size * _SHIFT
    rest = quality
    if rest.startswith("maj"):
        pen.triangle(small, up)
        rest = rest[3:]
    elif rest.startswith("m") and not rest.startswith("m("):
        pen.letters("m", small * _MINOR, 0.0)
        rest = rest[1:]
    if rest.startswith("\u00f8"):
        pen.slashed_circle(small, up)
        rest = rest[1:]
    pen.letters(rest, small, up)
    if alterations:
        _stack(pen, alterations, small, up)
    if bass:
        pen.letters("/", size)
        pen.letters(bass, size * 0.9)
        pen.sign(bass_sign, size * 0.9)
    return pen.x - x


def _stack(pen: _Pen, alterations: list[str], small: float, up: float) -> None:
    size = small * _ALTERED
    start = pen.x + 20
    widest = start
    rows = len(alterations)
    for n, alteration in enumerate(alterations):
        row = up + (rows - 1 - n) * size * 0.8 - (rows - 1) * size * 0.3
        pen.x = start
        pen.letters("(" if rows == 1 else "", size, row)
        pen.sign(alteration[0], size, row)
        pen.letters(alteration[1:], size, row)
        pen.letters(")" if rows == 1 else "", size, row)
        widest = max(widest, pen.x)
    pen.x = widest
