"""Texts of a drawing: lines of runs in one font each, and the frames around them.

Coordinates as of ink: hundredths of a millimetre, y downwards.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from sectionprep.drawing.text import fonts
from sectionprep.drawing.text.frames import Frame, frame
from sectionprep.musicxml.copies.enclosures import CLOSE, SHAPES, enclose, shape_of

Box = tuple[float, float, float, float]
SHRUNK = (
    10.0  # how much smaller than it is to be drawn the engraver is given what must take no room
)
_SMALLEST = (
    70.0  # a third of the smallest type that is ever asked for: below it letters were shrunk
)
_CAP, _TAIL = 0.72, 0.2  # of the type size: how far letters reach above and below their line
_MARKS = re.compile(f"([{''.join(enclose('', shape)[0] for shape in SHAPES)}{CLOSE}])")
_ROAD_SIGNS = re.compile("([\ue045-\ue04a])")  # SMuFL: from Dal Segno to the square coda
_SIGN_TIMES = 1.5  # their size in words, by that of the letters; judgement
_WITH_TAILS = re.compile(r"[gjpqyQ,;()\[\]]")


class TextRun(NamedTuple):
    """A run of text in one font; size in hundredths of a millimetre."""

    text: str
    font: str
    size: float


@dataclass(frozen=True, slots=True)
class TextLine:
    """Runs on one baseline that begins at (x, y), and their box."""

    x: float
    y: float
    runs: list[TextRun]
    box: Box


class Node(Protocol):
    """What is asked of an element of the drawing."""

    text: str | None
    tail: str | None

    def get(self, key: str, default: str = "") -> str: ...

    def __iter__(self) -> Iterator[Node]: ...


@dataclass(slots=True)
class _Reader:
    """Gathers the runs of a text element, line by line: (drop from its first baseline, runs). top:
    where that lies."""

    top: float
    lines: list[tuple[float, list[TextRun]]] = field(default_factory=lambda: [(0.0, [])])
    drop: float = 0.0

    def gather(self, node: Node, size: float, bold: bool, italic: bool, music: bool) -> None:
        """Take up the runs of one element and of all in it."""
        size = float((node.get("font-size") or str(size)).removesuffix("px"))
        size = size * SHRUNK if 0 < size < _SMALLEST else size
        bold = node.get("font-weight") == "bold" or (bold and node.get("font-weight") != "normal")
        italic = node.get("font-style") == "italic" or (
            italic and node.get("font-style") != "normal"
        )
        music = node.get("font-family") == "Leipzig" or music
        if node.get("dy"):
            self.drop += float(re.sub(r"[^\d.-]", "", node.get("dy")) or 0)
            self.lines.append((self.drop, []))
        elif node.get("y"):
            drop = (float(node.get("y")) - self.top) * (SHRUNK if _is_shrunk(node, size) else 1.0)
            if drop > self.drop:
                self.drop = drop
                self.lines.append((self.drop, []))
        if node.text and size:
            self._add(node.text, fonts.MUSIC if music else _face(bold, italic), size)
        for child in node:
            self.gather(child, size, bold, italic, music)
            if child.tail and child.tail.strip() and size:
                self._add(child.tail, _face(bold, italic), size)

    def _add(self, text: str, font: str, size: float) -> None:
        for piece in filter(None, _ROAD_SIGNS.split(text)):
            if font != fonts.MUSIC and _ROAD_SIGNS.fullmatch(piece):
                run = TextRun(piece, fonts.MUSIC, size * _SIGN_TIMES)
            else:
                run = TextRun(piece, font, size)
            self.lines[-1][1].append(run)


def _is_shrunk(node: Node, size: float) -> bool:
    """True where the letters in an element were made smaller: their lines lie closer, too."""
    own = float((node.get("font-size") or str(size)).removesuffix("px"))
    return 0 < own < _SMALLEST or any(_is_shrunk(child, own) for child in node)


def read_lettering(
    element: Node, x: float, y: float, *, bold: bool, italic: bool
) -> tuple[list[TextLine], list[Frame]]:
    """The lines of a text element whose first baseline lies at (x, y), and the frames in it."""
    reader = _Reader(float(element.get("y") or 0))
    reader.gather(element, 0.0, bold, italic, False)
    anchor = element.get("text-anchor", "start")
    lines: list[TextLine] = []
    frames: list[Frame] = []
    shape, framed = "", (0.0, 0.0, 0.0, 0.0)
    for drop, marked in reader.lines:
        runs = [
            TextRun(fonts.printable(_MARKS.sub("", r.text), r.font), r.font, r.size) for r in marked
        ]
        if not any(r.text.strip() for r in runs):
            continue
        total = sum(fonts.width(r.text, r.font, r.size) for r in runs)
        left = x - total * _BEFORE.get(anchor, 0.0)
        lines.append(_line(left, y + drop, runs, total))
        for kind, box in _marks(left, y + drop, marked):
            if kind in SHAPES:
                shape, framed = kind, box
            elif shape:
                framed = _union(framed, box)
                if kind == "close":
                    frames.append(frame(shape, framed))
                    shape = ""
    return lines, frames


#: the arcs between two syllables on one note (SMuFL: lyrics); they lie under the letters
_ELISIONS = frozenset("\ue550\ue551\ue552\u203f")


def _line(x: float, y: float, runs: list[TextRun], total: float) -> TextLine:
    size = max(r.size for r in [r for r in runs if r.text not in _ELISIONS] or runs)
    return TextLine(x, y, runs, (x, y - _CAP * size, x + total, y + _TAIL * size))


def _marks(x: float, y: float, runs: list[TextRun]) -> Iterator[tuple[str, Box]]:
    """What a line holds with respect to frames: a shape where one opens, "text", "close"; and the
    box of each."""
    for run in runs:
        for text in _MARKS.split(run.text):
            shape = shape_of(text)
            top = y - _CAP * run.size
            if shape or text == CLOSE:
                yield shape or "close", (x, top, x, y)
            elif text:
                wide = fonts.width(fonts.printable(text, run.font), run.font, run.size)
                yield (
                    "text",
                    (x, top, x + wide, y + (_TAIL * run.size if _WITH_TAILS.search(text) else 0)),
                )
                x += wide


#: the share of a text that stands before its anchor
_BEFORE = {"middle": 0.5, "end": 1.0}


def _union(a: Box, b: Box) -> Box:
    return min(a[0], b[0]), min(a[1], b[1]), max(a[2], b[2]), max(a[3], b[3])


def _face(bold: bool, italic: bool) -> str:
    if bold:
        return fonts.BOLD
    return fonts.ITALIC if italic else fonts.TEXT
