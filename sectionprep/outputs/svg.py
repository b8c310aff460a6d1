"""Draws the subset of SVG that the engraver writes, and measures it.

Coordinates: hundredths of a millimetre, y downwards. `Ink` is one primitive with its bounding box, so that
layout can find the true height of a system and a script can look for collisions.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree

from sectionprep.musicxml.excerpt import KEPT
from sectionprep.outputs import fonts

_SVG = "{http://www.w3.org/2000/svg}"
_XLINK = "{http://www.w3.org/1999/xlink}href"
_TRANSLATE = re.compile(r"translate\(\s*(-?[\d.]+)[,\s]+(-?[\d.]+)\s*\)")
_SCALE = re.compile(r"scale\(\s*(-?[\d.]+)(?:[,\s]+(-?[\d.]+))?\s*\)")
_NUMBER = re.compile(r"[MmLlHhVvCcSsQqTtZz]|-?(?:\d+\.?\d*|\.\d+)(?:e-?\d+)?")
_BOLD_CLASSES = {"tempo", "reh", "ending", "fing", "voltaBracket"}
_ITALIC_CLASSES = {"dir", "dynam", "mNum", "syl"}
_STACKED = frozenset({"tempo", "reh", "dir", "repeatMark", "voltaBracket"})
Box = tuple[float, float, float, float]


@dataclass(slots=True)
class Run:
    """A run of text in one font; size in hundredths of a millimetre."""

    text: str
    font: str
    size: float


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
    """One line of music. top, bottom: extent of its ink; staff_top, staff_bottom: outermost staff lines."""

    ink: list[Ink] = field(default_factory=list)
    heads: dict[str, Spot] = field(default_factory=dict)
    chords: dict[str, Spot] = field(default_factory=dict)
    wedges: dict[str, Spot] = field(default_factory=dict)
    chord_texts: dict[str, str] = field(default_factory=dict)
    measures: list[str] = field(default_factory=list)
    bar_edges: list[tuple[str, float, float]] = field(default_factory=list)
    top: float = 0.0
    bottom: float = 0.0
    staff_top: float = 0.0
    staff_bottom: float = 0.0

    def measure_box(self) -> None:
        """Take the extent of all ink."""
        self.top = min((i.box[1] for i in self.ink), default=0.0)
        self.bottom = max((i.box[3] for i in self.ink), default=0.0)


def read_systems(text: str) -> tuple[list[System], dict[str, str]]:
    """All systems of a page, and the outlines of the glyphs they use (name -> path data)."""
    root = ElementTree.fromstring(text)
    glyphs = {
        g.get("id", ""): next((p.get("d", "") for p in g.iter(f"{_SVG}path")), "")
        for defs in root.iter(f"{_SVG}defs") for g in defs
    }
    page = next(g for g in root.iter(f"{_SVG}g") if g.get("class") == "page-margin")
    found = []
    for group in page:
        if "system" in (group.get("class") or "").split():
            system = System()
            _walk(group, system, (), "", "")
            system.measure_box()
            found.append(system)
    return found, glyphs


_STRAIGHT = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) (-?[\d.]+)")
_MEASURE = re.compile(r'<g id="([^"]+)" class="measure"')
_STAFF_LINE = re.compile(r'class="staff[^"]*"><path d="M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+) ')
_HEAD_SIGN = re.compile(r'class="(?:clef|keyAccid)"><use [^>]*transform="translate\((-?[\d.]+),')


def natural_widths(text: str) -> tuple[dict[str, float], float]:
    """From a page drawn on one endless line: the width of each measure by id, and the room that clef and key
    take at the head of a line. Reads the text without building the drawing."""
    found: dict[str, float] = {}
    places = [*((m.start(), m[1]) for m in _MEASURE.finditer(text)), (len(text), "")]
    head = 0.0
    for n, ((start, name), (stop, _)) in enumerate(pairwise(places)):
        line = _STAFF_LINE.search(text, start, stop)
        if line is None:
            continue
        found[name] = float(line[3]) - float(line[1])
        if n == 0:
            signs = [float(x) for x in _HEAD_SIGN.findall(text[start:stop])]
            head = max([x for x in signs if x < 4000], default=0.0) + 300.0
            found[name] -= head
    return found, head


def _walk(element: ElementTree.Element, system: System, classes: tuple[str, ...], owner: str, measure: str) -> None:
    tag = element.tag.removeprefix(_SVG)
    if tag == "g":
        own = tuple((element.get("class") or "").split())
        if "placeholder" in own:
            return
        name = element.get("id", "")
        if "measure" in own:
            measure = name
            system.measures.append(name)
        if own and own[0] in ("note", "rest", "harm", "mRest", "multiRest", "dir", "tempo", "reh", "dynam", "slur", "hairpin",
                              "breath"):
            owner = name or owner
        classes = (*classes, *own)
        before = len(system.ink)
        for child in element:
            _walk(child, system, classes, owner, measure)
        if own and own[0] in _STACKED:
            for ink in system.ink[before:]:
                ink.group = name or f"{own[0]}{before}"
        if "staff" in own:
            _note_staff(system, system.ink[before:], measure)
        return
    maker = _MAKERS.get(tag)
    if maker is not None:
        system.ink.extend(maker(element, classes, owner, system))


def _note_staff(system: System, ink: list[Ink], measure: str) -> None:
    lines = [i for i in ink if i.kind == "line" and i.box[3] - i.box[1] < 30 and i.classes[-1] == "staff"]
    if lines:
        top, bottom = min(i.data[1] for i in lines), max(i.data[1] for i in lines)
        system.staff_top = min(system.staff_top or top, top)
        system.staff_bottom = max(system.staff_bottom, bottom)
        system.bar_edges.append((measure, lines[0].data[0], lines[0].data[2]))


def _glyph(element: ElementTree.Element, classes: tuple[str, ...], owner: str, system: System) -> Iterator[Ink]:
    name = (element.get(_XLINK) or "").lstrip("#")
    transform = element.get("transform", "")
    at, scale = _TRANSLATE.search(transform), _SCALE.search(transform)
    x, y = (float(at[1]), float(at[2])) if at else (0.0, 0.0)
    size = float(scale[1]) if scale else 1.0
    gx, gy, gw, gh = fonts.glyph_boxes().get(name.split("-")[0], (0.0, 0.0, 0.0, 0.0))
    # glyph boxes count 1000 an em, outlines 2048/2.048: one unit of outline is one unit of box x 1
    box = (x + gx * size, y - (gy + gh) * size, x + (gx + gw) * size, y - gy * size)
    if "notehead" in classes and owner:
        spot = system.heads.get(owner)
        if spot is None or x > spot.x:
            system.heads.setdefault(owner, Spot(x, y, gw * size))
    yield Ink("glyph", box, classes, owner, (name, x, y, size))


def _path(element: ElementTree.Element, classes: tuple[str, ...], owner: str, _system: System) -> Iterator[Ink]:
    stroke = float(element.get("stroke-width") or 0)
    straight = _STRAIGHT.fullmatch(element.get("d", ""))
    if straight:  # staff lines, stems, bar lines: most of what is drawn
        x0, y0, x1, y1 = map(float, straight.groups())
        half = stroke / 2
        yield Ink("line", (min(x0, x1) - half, min(y0, y1) - half, max(x0, x1) + half, max(y0, y1) + half), classes, owner,
                  (x0, y0, x1, y1), stroke)
        return
    segments = path_segments(element.get("d", ""))
    points = [p for _, pts in segments for p in pts]
    if not points:
        return
    half = stroke / 2
    box = (min(p[0] for p in points) - half, min(p[1] for p in points) - half,
           max(p[0] for p in points) + half, max(p[1] for p in points) + half)
    yield Ink("path", box, classes, owner, segments, stroke, element.get("fill") != "none")


def _points(element: ElementTree.Element) -> list[tuple[float, float]]:
    numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", element.get("points", ""))]
    return list(zip(numbers[::2], numbers[1::2], strict=False))


def _poly(element: ElementTree.Element, classes: tuple[str, ...], owner: str, _system: System) -> Iterator[Ink]:
    points = _points(element)
    if points:
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        kind = element.tag.removeprefix(_SVG)
        stroke = float(element.get("stroke-width") or 0)
        yield Ink(kind, (min(xs), min(ys), max(xs), max(ys)), classes, owner, points, stroke,
                  element.get("fill") != "none")


def _rect(element: ElementTree.Element, classes: tuple[str, ...], owner: str, _system: System) -> Iterator[Ink]:
    x, y, w, h = (float(element.get(k) or 0) for k in ("x", "y", "width", "height"))
    fill = element.get("fill-opacity") != "0" and element.get("fill") != "none"
    yield Ink("rect", (x, y, x + w, y + h), classes, owner, None, float(element.get("stroke-width") or 0), fill)


def _ellipse(element: ElementTree.Element, classes: tuple[str, ...], owner: str, _system: System) -> Iterator[Ink]:
    cx, cy, rx, ry = (float(element.get(k) or 0) for k in ("cx", "cy", "rx", "ry"))
    yield Ink("ellipse", (cx - rx, cy - ry, cx + rx, cy + ry), classes, owner, None)


def _text(element: ElementTree.Element, classes: tuple[str, ...], owner: str, system: System) -> Iterator[Ink]:
    x, y = float(element.get("x") or 0), float(element.get("y") or 0)
    bold = any(c in _BOLD_CLASSES for c in classes)
    italic = any(c in _ITALIC_CLASSES for c in classes)
    if "mNum" in classes:
        return  # bar numbers are ours
    if "harm" in classes:
        system.chords[owner] = Spot(x, y)
        system.chord_texts[owner] = "".join(element.itertext()).strip()
        return
    if "syl" in classes and "".join(element.itertext()).strip() == KEPT:
        system.wedges[owner] = Spot(x, y)
        return
    line: list[Run] = []
    lines: list[tuple[float, list[Run]]] = [(0.0, line)]
    drop = 0.0

    def gather(node: ElementTree.Element, size: float, heavy: bool, slanted: bool, music: bool) -> None:
        nonlocal line, drop
        size = float((node.get("font-size") or str(size)).removesuffix("px"))
        heavy = node.get("font-weight") == "bold" or (heavy and node.get("font-weight") != "normal")
        slanted = node.get("font-style") == "italic" or (slanted and node.get("font-style") != "normal")
        music = node.get("font-family") in ("Leipzig",) or music
        if node.get("dy"):
            drop += float(re.sub(r"[^\d.-]", "", node.get("dy") or "0") or 0)
            line = []
            lines.append((drop, line))
        if node.text and (node.text.strip() or node.text == " " or size):
            font = fonts.MUSIC if music else _face(heavy, slanted)
            if size:
                line.append(Run(node.text, font, size))
        for child in node:
            gather(child, size, heavy, slanted, music)
            if child.tail and child.tail.strip() and size:
                line.append(Run(child.tail, _face(heavy, slanted), size))

    gather(element, 0.0, bold, italic, False)
    anchor = element.get("text-anchor", "start")
    for shift, runs in lines:
        runs = [Run(fonts.printable(r.text, r.font), r.font, r.size) for r in runs]
        if not any(r.text.strip() for r in runs):
            continue
        total = sum(fonts.width(r.text, r.font, r.size) for r in runs)
        left = x - (total if anchor == "end" else total / 2 if anchor == "middle" else 0)
        size = max(r.size for r in runs)
        box = (left, y + shift - 0.72 * size, left + total, y + shift + 0.2 * size)
        yield Ink("text", box, classes, owner, (left, y + shift, runs))


def _face(bold: bool, italic: bool) -> str:
    return fonts.BOLD if bold else fonts.ITALIC if italic else fonts.TEXT


_MAKERS = {"use": _glyph, "path": _path, "polygon": _poly, "polyline": _poly, "rect": _rect, "ellipse": _ellipse,
           "text": _text}


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
                first = (2 * x - last_control[0], 2 * y - last_control[1]) if last_control else (x, y)
                points = [first, *points]
                out.append(("C", points))
            else:  # Q, T: raised to a cubic
                control = points[0] if kind == "Q" else (
                    (2 * x - last_control[0], 2 * y - last_control[1]) if last_control else (x, y))
                end = points[-1]
                out.append(("C", [(x + 2 / 3 * (control[0] - x), y + 2 / 3 * (control[1] - y)),
                                  (end[0] + 2 / 3 * (control[0] - end[0]), end[1] + 2 / 3 * (control[1] - end[1])), end]))
                points = [control, end]
            x, y = points[-1]
            last_control = points[-2] if kind in "CSQT" else None
            continue
        last_control = None
    return out
