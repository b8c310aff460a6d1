"""Segno and coda stand beside the letter of their bar, not over it, nor on the first note; so do
words that begin where it stands."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

from sectionprep.drawing.scene.ink import Ink, System, box_of

_NEAR = 2500.0  # from a letter to a sign of the same place: a clef and a key; judgement
_BESIDE = 130.0  # white between them; judgement
_OVER = frozenset({"reh", "repeatMark", "dir"})


def beside_letters(system: System) -> System:
    """The line with the segno or coda of each letter over its top staff beside it."""
    inks, moving = list(system.ink), defaultdict[str, list[int]](list)
    for n, ink in enumerate(inks):
        if ink.group and _OVER.intersection(ink.classes) and ink.box[1] < system.staff_top:
            moving[ink.group].append(n)
    signs_beside_letters(inks, moving, max((x for *_, x in system.bar_edges), default=0.0))
    for name, places in moving.items():
        for n in places:
            inks[n] = inks[n]._replace(group=name)
    return replace(system, ink=tuple(inks))


def signs_beside_letters(inks: list[Ink], moving: dict[str, list[int]], width: float) -> None:
    """Move each segno or coda that stands right after a letter to its side; from then on the two
    are one group. Then words that would stand over a letter, or touch it, go to the right of it.
    moving: places in the ink of what moves together, by group. width: of the line."""

    def named(kind: str) -> list[str]:
        return [name for name, group in moving.items() if kind in inks[group[0]].classes]

    def shift(name: str, right: float, down: float = 0.0) -> None:
        for n in moving[name]:
            inks[n] = inks[n].moved(down, right)

    letters = named("reh")
    for name in named("repeatMark"):
        left, top, _, bottom = box_of(inks[n] for n in moving[name])
        beside = {letter: box_of(inks[n] for n in moving[letter]) for letter in letters}
        near = [letter for letter, box in beside.items() if 0 <= left - box[0] < _NEAR]
        if near:
            letter = max(near, key=lambda letter: beside[letter][0])
            _, its_top, right, its_bottom = beside[letter]
            shift(name, right + _BESIDE - left, (its_top + its_bottom - top - bottom) / 2)
            moving[letter] += moving.pop(name)
    for name in named("dir"):
        left, _, end, _ = box_of(inks[n] for n in moving[name])
        for letter in letters:
            begins, _, right, _ = box_of(inks[n] for n in moving[letter])
            beyond = right + _BESIDE - left
            if begins - _BESIDE < left and beyond > 0 and end + beyond <= width:
                shift(name, beyond)
                break
