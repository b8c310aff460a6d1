"""Bar numbers over the director's music: right over the staff, letters and words above them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from sectionprep.drawing.scene.ink import Box, System, box_of, extent
from sectionprep.drawing.scene.line_extras import Extra, words_at
from sectionprep.drawing.text import fonts

_WHITE = 65.0  # between a number and what stands under or over it, hundredths of a millimetre
_MOVES = frozenset(("reh", "tempo", "dir", "repeatMark", "ending"))
_ROUNDS = 4  # how often what was moved may move what stands over it


def numbered(
    system: System, numbers: Iterable[tuple[float, str]], size: float
) -> tuple[System, list[Extra]]:
    """The line with room for numbers over its top staff, and the numbers. numbers: where each
    begins, and what it says; size: of the type; both in hundredths of a millimetre."""
    below = [
        ink.box
        for ink in system.ink
        if not _MOVES & {*ink.classes} and ink.box[1] < system.staff_top + size
    ]
    found = []
    for x, text in numbers:
        end = x + fonts.width(text, fonts.ITALIC, size)
        tops = [box[1] for box in below if box[0] < end and x < box[2]]
        floor = min([system.staff_top, *tops]) - _WHITE
        found.append(words_at("number", x, floor - 0.2 * size, text, fonts.ITALIC, size))
    raised = _raised(system, [extra.box for extra in found])
    raised.hold(extra.box for extra in found)
    return raised, found


def _raised(system: System, boxes: Sequence[Box]) -> System:
    """Letters and words that would touch one of these boxes stand over it."""
    groups: dict[str, list[int]] = {}
    for n, ink in enumerate(system.ink):
        if _MOVES & {*ink.classes} and ink.box[3] < system.staff_top:
            groups.setdefault(ink.group or ink.owner or str(n), []).append(n)
    inks = list(system.ink)
    under = {f"number {n}": box for n, box in enumerate(boxes)}
    for _ in range(_ROUNDS):
        moved: dict[str, Box] = {}
        for name, members in groups.items():
            box = box_of(inks[n] for n in members)
            lifts = [
                box[3] + _WHITE - one[1]
                for other, one in under.items()
                if other != name and _meet(box, one)
            ]
            if lifts:
                for n in members:
                    inks[n] = inks[n].moved(-max(lifts))
                moved[name] = box_of(inks[n] for n in members)
        under = moved
    top, _ = extent(inks)
    return replace(system, ink=tuple(inks), top=min(system.top, top))


def _meet(one: Box, other: Box) -> bool:
    return (
        one[0] < other[2] + _WHITE
        and other[0] < one[2] + _WHITE
        and one[1] < other[3] + _WHITE
        and other[1] < one[3] + _WHITE
    )
