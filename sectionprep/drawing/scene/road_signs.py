"""Segno and coda stand beside the letter of their bar, not over it, nor on the first note."""

from __future__ import annotations

from sectionprep.drawing.scene.ink import Ink, box_of

_NEAR = 2500.0  # from a letter to a sign of the same place: a clef and a key; judgement
_BESIDE = 130.0  # white between them; judgement


def signs_beside_letters(inks: list[Ink], moving: dict[str, list[int]]) -> None:
    """Move each segno or coda that stands right after a letter to its side; from then on the two
    are one group. moving: places in the ink of what moves together, by group."""
    letters = [name for name, group in moving.items() if "reh" in inks[group[0]].classes]
    signs = [name for name, group in moving.items() if "repeatMark" in inks[group[0]].classes]
    for name in signs:
        left, top, _, bottom = box_of(inks[n] for n in moving[name])
        beside = {letter: box_of(inks[n] for n in moving[letter]) for letter in letters}
        near = [letter for letter, box in beside.items() if 0 <= left - box[0] < _NEAR]
        if not near:
            continue
        letter = max(near, key=lambda letter: beside[letter][0])
        _, its_top, right, its_bottom = beside[letter]
        down = (its_top + its_bottom - top - bottom) / 2
        for n in moving[name]:
            inks[n] = inks[n].moved(down, right + _BESIDE - left)
        moving[letter] += moving.pop(name)
