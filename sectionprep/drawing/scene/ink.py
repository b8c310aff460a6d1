"""Draws the subset of SVG that the engraver writes, and measures it.

Coordinates: hundredths of a millimetre, y downwards. `Ink` is one primitive with its bounding box,
so that layout can find the true height of a system and a script can look for collisions.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache, lru_cache
from itertools import pairwise
from typing import Any, cast
from xml.etree import ElementTree

from sectionprep.drawing.text import fonts
from sectionprep.drawing.text.frames import LINE as FRAME_LINE
from sectionprep.drawing.text.lettering import Node, read_lettering
from sectionprep.musicxml.copies.excerpt import KEPT

_SVG = "{http://www.w3.org/2000/svg}"
_GROUP, _PATH = f"{_SVG}g", f"{_SVG}path"
_XLINK = "{http://www.w3.org/1999/xlink}href"
_PLACED = re.compile(r"translate\((-?[\d.]+), (-?[\d.]+)\)(?: scale\((-?[\d.]+)|$)")
_NUMBER = re.compile(r"[MmLlHhVvCcSsQqTtZz]|-?(?:\d+\.?\d*|\.\d+)(?:e-?\d+)?")
_BOLD_CLASSES = {"tempo", "reh", "ending", "fing", "voltaBracket"}
_ITALIC_CLASSES = {"dir", "dynam", "mNum", "syl"}
_STACKED = frozenset({"tempo", "reh", "dir", "repeatMark", "voltaBracket"})
Box = tuple[float, float, float, float]


@dataclass(slots=True)
class Ink:
    """One primitive: kind is glyph, path, line, polygon, polyline, rect, ellipse or text."""

    kind: str
    box: Box
    classes: tuple[str, ...]
    owner: str
    data: Any
    stroke: float = 0.0
    fill: bool = True
    group: str = ""

    def lengthen(self, right: float) -> None:
        """Draw a line on to the right."""
        x0, y0, x1, y1 = self.data
        self.data = (x0, y0, right, y1)
        self.box = (self.box[0], self.box[1], self.box[2] + right - x1, self.box[3])

    def move(self, down: float, right: float = 0.0) -> None:
        """Shift the primitive."""
        x0, y0, x1, y1 = self.box
        self.box = (x0 + right, y0 + down, x1 + right, y1 + down)
        if self.kind == "glyph":
            name, x, y, size = self.data
            self.data = (name, x + right, y + down, size)
        elif self.kind == "line":
            a, b, c, d = self.data
            self.data = (a + right, b + down, c + right, d + down)
        elif self.kind == "text":
            x, y, runs = self.data
            self.data = (x + right, y + down, runs)
        elif self.kind == "path":
            self.data = [(k, [(x + right, y + down) for x, y in pts]) for k, pts in self.data]
        elif self.kind in ("polygon", "polyline"):
            self.data = [(x + right, y + down) for x, y in self.data]


@dataclass(slots=True)
class Spot:
    """Where a note head or another named thing stands; stem: -1 down, 1 up, 0 none."""

    x: float
    y: float
    width: float = 0.0


@dataclass(slots=True)
class System:
    """One line of music. top, bottom: extent of its ink; staff_top, staff_bottom: outermost staff
    lines; lines: the lines of a staff by the height of the first, where they end and how many they
    are; scale: how much smaller than the others it is drawn."""

    ink: list[Ink] = field(default_factory=list)
    heads: dict[str, Spot] = field(default_factory=dict)
    chords: dict[str, Spot] = field(default_factory=dict)
    wedges: dict[str, Spot] = field(default_factory=dict)
    chord_texts: dict[str, str] = field(default_factory=dict)
    measures: list[str] = field(default_factory=list)
    bar_edges: list[tuple[str, float, float]] = field(default_factory=list)
    lines: dict[tuple[float, float, int], list[Ink]] = field(default_factory=dict)
    top: float = 0.0
    bottom: float = 0.0
    staff_top: float = 0.0
    staff_bottom: float = 0.0
    scale: float = 1.0

    def measure_box(self) -> None:
        """Take the extent of all ink."""
        self.top = min((i.box[1] for i in self.ink), default=0.0)
        self.bottom = max((i.box[3] for i in self.ink), default=0.0)


def read_systems(text: str) -> tuple[list[System], dict[str, str]]:
    """All systems of a page, and the outlines of the glyphs they use (name -> path data)."""
    root = ElementTree.fromstring(text)
    glyphs = {
        g.get("id", ""): next((p.get("d", "") for p in g.iter(f"{_SVG}path")), "")
        for defs in root.iter(f"{_SVG}defs")
        for g in defs
    }
    page = next(g for g in root.iter(f"{_SVG}g") if g.get("class") == "page-margin")
    found = []
    for group in page:
        if "system" in (group.get("class") or "").split():
            system = System()
            _walk(group, system, ("system",), "", "")
            system.measure_box()
            found.append(system)
    return found, glyphs


_MEASURE = re.compile(r'<g id="([^"]+)" class="measure"')
_STAFF_LINE = re.compile(r'class="staff[^"]*"><path d="M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) ')
_STAFF_LINES = re.compile(r'class="staff[^"]*">((?:<path [^>]*/>)+)')
_ENDS = re.compile(r" L(-?[\d.]+) ")
_HEAD_SIGN = re.compile(r'class="(?:clef|keyAccid)"><use [^>]*transform="translate\((-?[\d.]+),')


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
            head = max([x for x in signs if x < 4000], default=0.0) + 300.0
            found[name] -= head
    return found, head


_OWNERS = frozenset(
    {
        "note",
        "rest",
        "harm",
        "mRest",
        "multiRest",
        "dir",
        "tempo",
        "reh",
        "dynam",
        "slur",
        "hairpin",
        "breath",
    }
)


def _walk(
    group: Iterable[ElementTree.Element],
    system: System,
    classes: tuple[str, ...],
    owner: str,
    measure: str,
) -> None:
    """Take up everything in a group. classes: of the groups around it and its own; owner: id of the
    sign it belongs to."""
    ink = system.ink
    for child in group:
        if child.tag != _GROUP:
            maker = _MAKERS.get(child.tag)
            if maker is not None:
                maker(child, classes, owner, system)
            continue
        inner = _inside(classes, child.get("class", ""))
        kind = inner[len(classes)] if len(inner) > len(classes) else ""
        if kind == "staff":
            _staff(child, system, inner, owner, measure)
        elif kind == "measure":
            system.measures.append(child.get("id", ""))
            _walk(child, system, inner, owner, child.get("id", ""))
        elif "placeholder" not in inner:
            before = len(ink)
            name = child.get("id", "")
            _walk(child, system, inner, (name or owner) if kind in _OWNERS else owner, measure)
            if kind in _STACKED:
                for mark in ink[before:]:
                    mark.group = name or f"{kind}{before}"


@lru_cache(4096)
def _inside(classes: tuple[str, ...], own: str) -> tuple[str, ...]:
    """The classes of a group and of all that it lies in."""
    return (*classes, *own.split())


def _staff(
    group: ElementTree.Element, system: System, classes: tuple[str, ...], owner: str, measure: str
) -> None:
    """A staff in one bar: its lines come first in its group. They are half of all that is drawn;
    where they go on from the bar before, the lines there are made longer."""
    count = next((n for n, child in enumerate(group) if child.tag != _PATH), len(group))
    if count:
        lines = [_straight(line.get("d", "").split(" ")) for line in group[:count]]
        x0, y0, x1, _ = lines[0]
        whole = len({line[1] for line in lines}) == count
        x1 = x1 if whole else max(line[2] for line in lines)
        system.bar_edges.append((measure, x0, x1))
        going_on = system.lines.get((y0, x0, count)) if whole else None
        if going_on is None:
            before = len(system.ink)
            _walk(group[:count], system, classes, owner, measure)
            going_on = system.ink[before:]
            ys = [mark.data[1] for mark in going_on]
            system.staff_top = min(system.staff_top or y0, *ys)
            system.staff_bottom = max(system.staff_bottom, *ys)
        else:
            for mark in going_on:
                mark.lengthen(x1)
        if whole:  # lines that frets interrupt are in more pieces than there are lines
            system.lines[y0, x1, count] = going_on
    _walk(group[count:], system, classes, owner, measure)


@cache
def _glyph_name(link: str) -> tuple[str, Box]:
    """Name of a glyph in a drawing, and its box (1000 units an em, as outlines have them)."""
    name = link.lstrip("#").partition("-")[0]
    return name, fonts.glyph_boxes().get(name, (0.0, 0.0, 0.0, 0.0))


def _glyph(
    element: ElementTree.Element, classes: tuple[str, ...], owner: str, system: System
) -> None:
    at = _PLACED.match(element.get("transform", ""))
    x, y, size = (float(at[1]), float(at[2]), float(at[3] or 1)) if at else (0.0, 0.0, 1.0)
    name, (gx, gy, gw, gh) = _glyph_name(element.get(_XLINK, "").partition("-")[0])
    if owner and owner not in system.heads and "notehead" in classes:
        system.heads[owner] = Spot(x, y, gw * size)
    system.ink.append(
        Ink(
            "glyph",
            (x + gx * size, y - (gy + gh) * size, x + (gx + gw) * size, y - gy * size),
            classes,
            owner,
            (name, x, y, size),
        )
    )


def _path(
    element: ElementTree.Element, classes: tuple[str, ...], owner: str, system: System
) -> None:
    stroke = float(element.get("stroke-width", 0))
    half = stroke / 2
    data = element.get("d", "")
    pieces = data.split(" ")
    if (
        len(pieces) == 4 and pieces[0][0] == "M" and pieces[2][0] == "L"
    ):  # stems, staff and bar lines: most of what is drawn
        x0, y0, x1, y1 = _straight(pieces)
        left, right = (x0, x1) if x0 < x1 else (x1, x0)
        top, bottom = (y0, y1) if y0 < y1 else (y1, y0)
        system.ink.append(
            Ink(
                "line",
                (left - half, top - half, right + half, bottom + half),
                classes,
                owner,
                (x0, y0, x1, y1),
                stroke,
            )
        )
        return
    segments = path_segments(data)
    points = [p for _, pts in segments for p in pts]
    if points:
        box = (
            min(p[0] for p in points) - half,
            min(p[1] for p in points) - half,
            max(p[0] for p in points) + half,
            max(p[1] for p in points) + half,
        )
        system.ink.append(
            Ink("path", box, classes, owner, segments, stroke, element.get("fill") != "none")
        )


def _straight(pieces: list[str]) -> tuple[float, float, float, float]:
    """Both ends of the path M x y L x y."""
    return float(pieces[0][1:]), float(pieces[1]), float(pieces[2][1:]), float(pieces[3])


def _points(element: ElementTree.Element) -> list[tuple[float, float]]:
    numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", element.get("points", ""))]
    return list(zip(numbers[::2], numbers[1::2], strict=False))


def _poly(
    element: ElementTree.Element, classes: tuple[str, ...], owner: str, system: System
) -> None:
    points = _points(element)
    if points:
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        system.ink.append(
            Ink(
                element.tag.removeprefix(_SVG),
                (min(xs), min(ys), max(xs), max(ys)),
                classes,
                owner,
                points,
                float(element.get("stroke-width") or 0),
                _filled(element),
            )
        )


def _filled(element: ElementTree.Element) -> bool:
    return element.get("fill-opacity") != "0" and element.get("fill") != "none"


def _rect(
    element: ElementTree.Element, classes: tuple[str, ...], owner: str, system: System
) -> None:
    x, y, w, h = (float(element.get(k) or 0) for k in ("x", "y", "width", "height"))
    stroke = float(element.get("stroke-width") or 0)
    box = (x, y, x + w, y + h)
    system.ink.append(Ink("rect", box, classes, owner, None, stroke, _filled(element)))


def _ellipse(
    element: ElementTree.Element, classes: tuple[str, ...], owner: str, system: System
) -> None:
    cx, cy, rx, ry = (float(element.get(k) or 0) for k in ("cx", "cy", "rx", "ry"))
    system.ink.append(
        Ink(
            "ellipse",
            (cx - rx, cy - ry, cx + rx, cy + ry),
            classes,
            owner,
            None,
            float(element.get("stroke-width") or 0),
            _filled(element),
        )
    )


def _text(
    element: ElementTree.Element, classes: tuple[str, ...], owner: str, system: System
) -> None:
    x, y = float(element.get("x") or 0), float(element.get("y") or 0)
    bold = any(c in _BOLD_CLASSES for c in classes)
    italic = any(c in _ITALIC_CLASSES for c in classes)
    if "mNum" in classes:
        return  # bar numbers are ours
    if "harm" in classes and "fb" not in classes:
        system.chords[owner] = Spot(x, y)
        system.chord_texts[owner] = "".join(element.itertext()).strip()
        return
    if "syl" in classes and "".join(element.itertext()).strip() == KEPT:
        system.wedges[owner] = Spot(x, y)
        return
    lines, frames = read_lettering(cast(Node, element), x, y, bold=bold, italic=italic)
    if "tabGrp" in classes and owner and lines:
        fret = lines[0]
        head = Spot(fret.box[0], y - 0.3 * fret.runs[0].size, fret.box[2] - fret.box[0])
        system.heads.setdefault(owner, head)
    system.ink += [
        Ink("text", line.box, classes, owner, (line.x, line.y, line.runs)) for line in lines
    ]
    system.ink += [
        Ink(f.kind, f.box, classes, owner, list(f.points) or None, FRAME_LINE, False)
        for f in frames
    ]


_MAKERS = {
    f"{_SVG}{tag}": maker
    for tag, maker in (
        ("use", _glyph),
        ("path", _path),
        ("polygon", _poly),
        ("polyline", _poly),
        ("rect", _rect),
        ("ellipse", _ellipse),
        ("text", _text),
    )
}


def path_segments(data: str) -> list[tuple[str, list[tuple[float, float]]]]:
    """Absolute segments: ("M", [p]), ("L", [p]), ("C", [c1, c2, p]), ("Z", [])."""
    tokens = _NUMBER.findall(data)
    out: list[tuple[str, list[tuple[float, float]]]] = []
    x = y = sx = sy = 0.0
    last_control: tuple[float, float] | None = None
    command = "M"
    n = 0
    while n < len(tokens):
        if tokens[n].isalpha():
            command = tokens[n]
            n += 1
            if command in "Zz":
                out.append(("Z", []))
                x, y = sx, sy
                continue
        count = {"M": 2, "L": 2, "T": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4}[command.upper()]
        values = [float(t) for t in tokens[n : n + count]]
        n += count
        dx, dy = (x, y) if command.islower() else (0.0, 0.0)
        kind = command.upper()
        if kind == "H":
            x = values[0] + dx
            out.append(("L", [(x, y)]))
        elif kind == "V":
            y = values[0] + dy
            out.append(("L", [(x, y)]))
        else:
            points = [(values[k] + dx, values[k + 1] + dy) for k in range(0, count, 2)]
            if kind == "M":
                out.append(("M", points))
                sx, sy = points[0]
                command = "l" if command == "m" else "L"
            elif kind == "L":
                out.append(("L", points))
            elif kind == "C":
                out.append(("C", points))
            elif kind == "S":
                first = (
                    (2 * x - last_control[0], 2 * y - last_control[1]) if last_control else (x, y)
                )
                points = [first, *points]
                out.append(("C", points))
            else:  # Q, T: raised to a cubic
                control = (
                    points[0]
                    if kind == "Q"
                    else (
                        (2 * x - last_control[0], 2 * y - last_control[1])
                        if last_control
                        else (x, y)
                    )
                )
                end = points[-1]
                out.append(
                    (
                        "C",
                        [
                            (x + 2 / 3 * (control[0] - x), y + 2 / 3 * (control[1] - y)),
                            (
                                end[0] + 2 / 3 * (control[0] - end[0]),
                                end[1] + 2 / 3 * (control[1] - end[1]),
                            ),
                            end,
                        ],
                    )
                )
                points = [control, end]
            x, y = points[-1]
            last_control = points[-2] if kind in "CSQT" else None
            continue
        last_control = None
    return out
