"""Words stay on the page: what would run over the end of its line moves left, and what is longer
than the line is broken."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace

from sectionprep.drawing.scene.ink import Ink, System
from sectionprep.drawing.text import fonts
from sectionprep.drawing.text.lettering import Run

_MOVED = frozenset({"dir", "tempo", "reh", "repeatMark", "dynam"})
_FRAMES = ("rect", "ellipse", "polygon", "polyline")
_STEP = 1.1  # from line to line, in type sizes


def keep_inside(system: System, edge: float) -> None:
    """Move or break all words of a line that reach beyond the edge, which is where a full line
    ends."""
    if all(ink.kind != "text" or ink.box[2] <= edge for ink in system.ink):
        return
    groups: dict[str, list[Ink]] = defaultdict(list)
    for n, ink in enumerate(system.ink):
        if _MOVED.intersection(ink.classes):
            groups[ink.group or ink.owner or str(n)].append(ink)
    for inks in groups.values():
        if any(ink.kind == "text" for ink in inks) and max(ink.box[2] for ink in inks) > edge:
            _one(system, inks, edge)


def _one(system: System, inks: list[Ink], edge: float) -> None:
    left, right = min(ink.box[0] for ink in inks), max(ink.box[2] for ink in inks)
    for ink in inks:
        ink.move(0.0, -min(right - edge, left))
    if right - left <= edge:
        return
    for ink in inks:  # longer than the line: a frame cannot hold it
        if ink.kind == "text":
            system.ink += list(_broken(ink, edge))
        if ink.kind == "text" or ink.kind in _FRAMES:
            system.ink.remove(ink)


def _broken(ink: Ink, room: float) -> Iterator[Ink]:
    """A line of words as several, each within the room."""
    x, y, runs = ink.data
    size = max(run.size for run in runs)
    lines: list[list[Run]] = [[]]
    used = 0.0
    for piece in _words(runs, room):
        wide = fonts.width(piece.text, piece.font, piece.size)
        if lines[-1] and used + wide > room:
            lines.append([])
            used = 0.0
        lines[-1].append(piece)
        used += wide
    for n, line in enumerate(lines):
        wide = sum(fonts.width(run.text, run.font, run.size) for run in line)
        down = n * _STEP * size
        box = (x, ink.box[1] + down, x + wide, ink.box[3] + down)
        yield replace(ink, box=box, data=(x, y + down, line))


def _words(runs: list[Run], room: float) -> Iterator[Run]:
    """The words of some runs, each with the space after it; letters where a word alone is wider
    than the room."""
    for run in runs:
        for word in run.text.split(" "):
            long = fonts.width(word, run.font, run.size) > room
            for piece in (*word, " ") if long else (f"{word} ",):
                yield replace(run, text=piece)
