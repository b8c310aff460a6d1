"""Words stay on the page: what would run over the end of its line moves left, and what is longer
than the line is broken."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from sectionprep.drawing.scene.ink import Ellipse, Ink, Polygon, Rectangle, Text, box_of
from sectionprep.drawing.text import fonts
from sectionprep.drawing.text.lettering import TextRun

_MOVED = frozenset({"dir", "tempo", "reh", "repeatMark", "dynam"})
_FRAMES = (Rectangle, Ellipse, Polygon)
#: how far words may move left of their place, and how narrow they may be broken; judgement
_FAR, _COLUMN = 1200.0, 3800.0
_STEP = 1.1  # from line to line, in type sizes


def keep_inside(inks: Sequence[Ink], edge: float) -> tuple[Ink, ...]:
    """The ink of a line with all words that reach beyond the edge moved or broken; the edge is
    where a full line ends."""
    if not any(_words_beyond(ink, edge) for ink in inks):
        return tuple(inks)
    groups: dict[str, list[int]] = defaultdict(list)
    for n, ink in enumerate(inks):
        if _MOVED.intersection(ink.classes):
            groups[ink.group or ink.owner or str(n)].append(n)
    placed: dict[int, tuple[Ink, ...]] = {}
    for places in groups.values():
        group = [inks[n] for n in places]
        has_words = any(isinstance(ink.shape, Text) for ink in group)
        if has_words and max(ink.box[2] for ink in group) > edge:
            placed |= zip(places, _inside(group, edge), strict=True)
    return tuple(ink for n, was in enumerate(inks) for ink in placed.get(n, (was,)))


def _words_beyond(ink: Ink, edge: float) -> bool:
    return isinstance(ink.shape, Text) and ink.box[2] > edge


def _inside(group: Sequence[Ink], edge: float) -> Iterator[tuple[Ink, ...]]:
    """For each ink of a group of words, what stands for it on the page. Plain words that would have
    to move far, over bars that they do not speak of, are broken where they stand."""
    left, _, right, _ = box_of(group)
    only = group[0].shape if len(group) == 1 else None
    room = max(edge - left, _COLUMN)
    if isinstance(only, Text) and right - edge > _FAR and "dir" in group[0].classes:
        moved = group[0].moved(0.0, min(0.0, edge - room - left))
        if isinstance(moved.shape, Text) and right - left > room:
            yield tuple(_broken(moved, moved.shape, room))
            return
    too_long = right - left > edge
    for ink in group:
        moved = ink.moved(0.0, -min(right - edge, left))
        if too_long and isinstance(moved.shape, Text):
            yield tuple(_broken(moved, moved.shape, edge))
        elif too_long and isinstance(moved.shape, _FRAMES):
            yield ()  # a frame cannot hold what is longer than the line
        else:
            yield (moved,)


def _broken(ink: Ink, text: Text, room: float) -> Iterator[Ink]:
    """A line of words as several, each within the room."""
    size = max(run.size for run in text.runs)
    lines: list[list[TextRun]] = [[]]
    used = 0.0
    for piece in _words(text.runs, room):
        wide = fonts.width(piece.text, piece.font, piece.size)
        if lines[-1] and used + wide > room:
            lines.append([])
            used = 0.0
        lines[-1].append(piece)
        used += wide
    for n, line in enumerate(lines):
        wide = sum(fonts.width(run.text, run.font, run.size) for run in line)
        down = n * _STEP * size
        box = (text.x, ink.box[1] + down, text.x + wide, ink.box[3] + down)
        yield ink._replace(shape=Text(text.x, text.y + down, tuple(line)), box=box)


def _words(runs: Sequence[TextRun], room: float) -> Iterator[TextRun]:
    """The words of some runs, each with the space after it; letters where a word alone is wider
    than the room."""
    for run in runs:
        for word in run.text.split(" "):
            long = fonts.width(word, run.font, run.size) > room
            for piece in (*word, " ") if long else (f"{word} ",):
                yield TextRun(piece, run.font, run.size)
