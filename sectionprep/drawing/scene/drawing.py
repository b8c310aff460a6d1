"""Reads the subset of SVG that the engraver writes as ink.

Coordinates: hundredths of a millimetre, y downwards.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cache, lru_cache
from itertools import pairwise
from typing import NamedTuple, cast
from xml.etree import ElementTree

from sectionprep.drawing.scene.ink import (
    Box,
    Curve,
    Ellipse,
    Glyph,
    Ink,
    InkSpot,
    Line,
    Point,
    Polygon,
    Rectangle,
    Segment,
    Shape,
    System,
    Text,
    extent,
)
from sectionprep.drawing.text import fonts
from sectionprep.drawing.text.frames import LINE as FRAME_LINE
from sectionprep.drawing.text.frames import Frame
from sectionprep.drawing.text.lettering import Node, read_lettering
from sectionprep.musicxml.copies.excerpt import KEPT

_SVG = "{http://www.w3.org/2000/svg}"
_GROUP, _PATH = f"{_SVG}g", f"{_SVG}path"
_XLINK = "{http://www.w3.org/1999/xlink}href"
_PLACED = re.compile(r"translate\((-?[\d.]+), (-?[\d.]+)\)(?: scale\((-?[\d.]+)|$)")
_BOLD = frozenset({"tempo", "reh", "ending", "fing", "voltaBracket"})
_ITALIC = frozenset({"dir", "dynam", "mNum", "syl"})
_STACKED = frozenset({"tempo", "reh", "dir", "repeatMark", "voltaBracket"})
_OWNERS = frozenset(
    {"note", "rest", "mRest", "multiRest", "harm", "dir", "tempo", "reh", "dynam"}
    | {"slur", "hairpin", "breath"}
)


def read_systems(text: str) -> tuple[list[System], dict[str, str]]:
    """All systems of a page, and the outlines of the glyphs they use (name -> path data)."""
    root = ElementTree.fromstring(text)
    glyphs = {
        g.get("id", ""): next((p.get("d", "") for p in g.iter(_PATH)), "")
        for defs in root.iter(f"{_SVG}defs")
        for g in defs
    }
    page = next(g for g in root.iter(_GROUP) if g.get("class") == "page-margin")
    found = []
    for group in page:
        if "system" in (group.get("class") or "").split():
            line = _Reading()
            line.walk(group, _Within(("system",), "", "", ""))
            found.append(line.system())
    return found, glyphs


_MEASURE = re.compile(r'<g id="([^"]+)" class="measure"')
_STAFF_LINE = re.compile(r'class="staff[^"]*"[^>]*><path d="M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) ')
_STAFF_LINES = re.compile(r'class="staff[^"]*"[^>]*>((?:<path [^>]*/>)+)')
_ENDS = re.compile(r" L(-?[\d.]+) ")
_HEAD_SIGN = re.compile(r'class="(?:clef|keyAccid)"><use [^>]*transform="translate\((-?[\d.]+),')
_FURTHEST_SIGN = 4000.0  # clef and key end before it, hundredths of a millimetre
_AFTER_SIGNS = 300.0  # white after them


def natural_widths(text: str) -> tuple[dict[str, float], float]:
    """From a page drawn on one endless line: the width of each measure by id, and the room that
    clef and key take at the head of a line. Reads the text without building the drawing."""
    found: dict[str, float] = {}
    tab = 'class="tabGrp' in text  # its frets interrupt the lines
    places = [*((m.start(), m[1]) for m in _MEASURE.finditer(text)), (len(text), "")]
    head = 0.0
    for n, ((start, name), (stop, _)) in enumerate(pairwise(places)):
        line = _STAFF_LINE.search(text, start, stop)
        if line is None:
            continue
        lines = _STAFF_LINES.search(text, start, stop) if tab else None
        ends = _ENDS.findall(lines[1]) if lines is not None else [line[3]]
        found[name] = max(map(float, ends)) - float(line[1])
        if n == 0:
            signs = [float(x) for x in _HEAD_SIGN.findall(text[start:stop])]
            head = max([x for x in signs if x < _FURTHEST_SIGN], default=0.0) + _AFTER_SIGNS
            found[name] -= head
    return found, head


class _Within(NamedTuple):
    """What an element lies in. classes: of the groups around it; owner: id of its sign; group: of
    the words it moves with; measure: id of its bar; staff: height of the top line of its staff."""

    classes: tuple[str, ...]
    owner: str
    group: str
    measure: str
    staff: float | None = None


@lru_cache(4096)
def _inside(classes: tuple[str, ...], own: str) -> tuple[str, ...]:
    """The classes of a group and of all that it lies in."""
    return (*classes, *own.split())


@dataclass(slots=True)
class _Reading:
    """One system while it is read. lines: where in the ink the lines of a staff are that go on from
    here: by the height of the first, where they end, and how many they are."""

    ink: list[Ink] = field(default_factory=list)
    heads: dict[str, InkSpot] = field(default_factory=dict)
    chords: dict[str, InkSpot] = field(default_factory=dict)
    wedges: dict[str, InkSpot] = field(default_factory=dict)
    chord_texts: dict[str, str] = field(default_factory=dict)
    measures: list[str] = field(default_factory=list)
    bar_edges: list[tuple[str, float, float]] = field(default_factory=list)
    lines: dict[tuple[float, float, int], range] = field(default_factory=dict)
    staff_ys: set[float] = field(default_factory=set)

    def system(self) -> System:
        """What was read."""
        top, bottom = extent(self.ink)
        return System(
            ink=tuple(_once(self.ink)),
            heads=self.heads,
            chords=self.chords,
            wedges=self.wedges,
            chord_texts=self.chord_texts,
            measures=tuple(self.measures),
            bar_edges=tuple(self.bar_edges),
            staves=frozenset(y for y, _, _ in self.lines),
            top=top,
            bottom=bottom,
            staff_top=min(self.staff_ys, default=0.0),
            staff_bottom=max(self.staff_ys, default=0.0),
        )

    def walk(self, group: Iterable[ElementTree.Element], at: _Within) -> None:
        """Take up everything in a group."""
        for child in group:
            if child.tag != _GROUP:
                reader = _READERS.get(child.tag)
                if reader is not None:
                    reader(self, child, at)
                continue
            inner = _inside(at.classes, child.get("class", ""))
            kind = inner[len(at.classes)] if len(inner) > len(at.classes) else ""
            name = child.get("id", "")
            if kind == "staff":
                self._staff(child, at._replace(classes=inner))
            elif kind == "measure":
                self.measures.append(name)
                self.walk(child, at._replace(classes=inner, measure=name))
            elif "placeholder" not in inner:
                owner = (name or at.owner) if kind in _OWNERS else at.owner
                group_of = name or f"{kind}{len(self.ink)}" if kind in _STACKED else at.group
                self.walk(child, _Within(inner, owner, group_of, at.measure, at.staff))

    def _staff(self, group: ElementTree.Element, at: _Within) -> None:
        """A staff in one bar: its lines come first in its group. They are half of all that is
        drawn; where they go on from the bar before, the lines there are made longer."""
        count = next((n for n, child in enumerate(group) if child.tag != _PATH), len(group))
        if count:
            lines = [_ends(line.get("d", "").split(" ")) for line in group[:count]]
            x0, y0, x1, _ = lines[0]
            at = at._replace(staff=min(line[1] for line in lines))
            whole = len({line[1] for line in lines}) == count
            x1 = x1 if whole else max(line[2] for line in lines)
            self.bar_edges.append((at.measure, x0, x1))
            drawn = self.lines.pop((y0, x0, count), None) if whole else None
            if drawn is None:
                drawn = range(len(self.ink), len(self.ink) + count)
                self.walk(group[:count], at)
                self.staff_ys.update(line[1] for line in lines)
            else:
                for n in drawn:
                    self.ink[n] = _lengthened(self.ink[n], x1)
            if whole:  # lines that frets interrupt are in more pieces than there are lines
                self.lines[y0, x1, count] = drawn
        self.walk(group[count:], at)

    def add(self, shape: Shape, box: Box, at: _Within) -> None:
        """Take up one shape."""
        self.ink.append(Ink(shape, box, at.classes, at.owner, at.group, at.staff))

    def glyph(self, element: ElementTree.Element, at: _Within) -> None:
        """A music sign."""
        placed = _PLACED.match(element.get("transform", ""))
        x, y, size = 0.0, 0.0, 1.0
        if placed:
            x, y, size = float(placed[1]), float(placed[2]), float(placed[3] or 1)
        code, (gx, gy, gw, gh) = _glyph_box(element.get(_XLINK, "").partition("-")[0])
        if at.owner and at.owner not in self.heads and "notehead" in at.classes:
            self.heads[at.owner] = InkSpot(x, y, gw * size)
        box = (x + gx * size, y - (gy + gh) * size, x + (gx + gw) * size, y - gy * size)
        self.add(Glyph(code, x, y, size), box, at)

    def path(self, element: ElementTree.Element, at: _Within) -> None:
        """A curve or, mostly, a straight line: stems, staff and bar lines."""
        stroke = float(element.get("stroke-width", 0))
        half = stroke / 2
        data = element.get("d", "")
        pieces = data.split(" ")
        if len(pieces) == 4 and pieces[0][0] == "M" and pieces[2][0] == "L":
            x0, y0, x1, y1 = _ends(pieces)
            left, right = (x0, x1) if x0 < x1 else (x1, x0)
            top, bottom = (y0, y1) if y0 < y1 else (y1, y0)
            box = (left - half, top - half, right + half, bottom + half)
            self.add(Line(x0, y0, x1, y1, stroke), box, at)
            return
        segments = path_segments(data)
        points = [point for _, points in segments for point in points]
        if points:
            left, top, right, bottom = _around(points)
            box = (left - half, top - half, right + half, bottom + half)
            self.add(Curve(segments, stroke, element.get("fill") != "none"), box, at)

    def polygon(self, element: ElementTree.Element, at: _Within) -> None:
        """A beam, or another shape with corners."""
        numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", element.get("points", ""))]
        points = tuple(zip(numbers[::2], numbers[1::2], strict=False))
        if points:
            closed = element.tag == f"{_SVG}polygon"
            shape = Polygon(points, closed, _stroke(element), closed and _filled(element))
            self.add(shape, _around(points), at)

    def rectangle(self, element: ElementTree.Element, at: _Within) -> None:
        """A rectangle."""
        x, y, w, h = (float(element.get(k) or 0) for k in ("x", "y", "width", "height"))
        self.add(Rectangle(_stroke(element), _filled(element)), (x, y, x + w, y + h), at)

    def ellipse(self, element: ElementTree.Element, at: _Within) -> None:
        """An ellipse."""
        cx, cy, rx, ry = (float(element.get(k) or 0) for k in ("cx", "cy", "rx", "ry"))
        box = (cx - rx, cy - ry, cx + rx, cy + ry)
        self.add(Ellipse(_stroke(element), _filled(element)), box, at)

    def text(self, element: ElementTree.Element, at: _Within) -> None:
        """Words; of a chord symbol and of a syllable kept for a weight, only where it stands."""
        x, y = float(element.get("x") or 0), float(element.get("y") or 0)
        classes = at.classes
        if "mNum" in classes:
            return  # bar numbers are ours
        if "harm" in classes and "fb" not in classes:
            self.chords[at.owner] = InkSpot(x, y)
            self.chord_texts[at.owner] = "".join(element.itertext()).strip()
            return
        if "syl" in classes and "".join(element.itertext()).strip() == KEPT:
            self.wedges[at.owner] = InkSpot(x, y)
            return
        bold, italic = not _BOLD.isdisjoint(classes), not _ITALIC.isdisjoint(classes)
        lines, frames = read_lettering(cast(Node, element), x, y, bold=bold, italic=italic)
        if "tabGrp" in classes and at.owner and lines:
            fret = lines[0]
            head = InkSpot(fret.box[0], y - 0.3 * fret.runs[0].size, fret.box[2] - fret.box[0])
            self.heads.setdefault(at.owner, head)
        for line in lines:
            self.add(Text(line.x, line.y, tuple(line.runs)), line.box, at)
        for drawn in frames:
            self.add(_frame(drawn), drawn.box, at)


_READERS: dict[str, Callable[[_Reading, ElementTree.Element, _Within], None]] = {
    f"{_SVG}use": _Reading.glyph,
    f"{_SVG}path": _Reading.path,
    f"{_SVG}polygon": _Reading.polygon,
    f"{_SVG}polyline": _Reading.polygon,
    f"{_SVG}rect": _Reading.rectangle,
    f"{_SVG}ellipse": _Reading.ellipse,
    f"{_SVG}text": _Reading.text,
}


def _once(inks: Iterable[Ink]) -> Iterable[Ink]:
    """The ink without dynamics that lie exactly on another, as where a file has one twice: the
    second would be put aside as a sign of its own."""
    seen: set[tuple[Shape, Box]] = set()  # not every shape says where it is: dashes do not
    for ink in inks:
        if "dynam" in ink.classes:
            if (ink.shape, ink.box) in seen:
                continue
            seen.add((ink.shape, ink.box))
        yield ink


@cache
def _glyph_box(link: str) -> tuple[str, Box]:
    """Code of a glyph in a drawing, and its box (1000 units an em, as outlines have them)."""
    code = link.lstrip("#").partition("-")[0]
    return code, fonts.glyph_boxes().get(code, (0.0, 0.0, 0.0, 0.0))


def _ends(pieces: list[str]) -> tuple[float, float, float, float]:
    """Both ends of the path M x y L x y."""
    return float(pieces[0][1:]), float(pieces[1]), float(pieces[2][1:]), float(pieces[3])


def _lengthened(ink: Ink, right: float) -> Ink:
    """A line drawn on to the right."""
    line = cast(Line, ink.shape)
    left, top, end, bottom = ink.box
    box = (left, top, end + right - line.x1, bottom)
    return ink._replace(shape=line._replace(x1=right), box=box)


def _around(points: Iterable[Point]) -> Box:
    xs, ys = zip(*points, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def _stroke(element: ElementTree.Element) -> float:
    return float(element.get("stroke-width") or 0)


def _filled(element: ElementTree.Element) -> bool:
    return element.get("fill-opacity") != "0" and element.get("fill") != "none"


def _frame(drawn: Frame) -> Shape:
    """The frame around words as a shape, drawn with its own pen."""
    if drawn.kind == "rect":
        return Rectangle(FRAME_LINE, False)
    if drawn.kind == "ellipse":
        return Ellipse(FRAME_LINE, False)
    return Polygon(drawn.points, drawn.kind == "polygon", FRAME_LINE, False)


def path_segments(data: str) -> tuple[Segment, ...]:
    """What a pen does to draw this path data; all places absolute."""
    from fontTools.pens.recordingPen import RecordingPen
    from fontTools.svgLib.path import parse_path

    pen = RecordingPen()
    parse_path(data, pen)
    return tuple(pen.value)
