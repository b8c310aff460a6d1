"""Chord symbols as pitch classes: what sounds, which tones tell the chord from its neighbours."""

from __future__ import annotations

import re
from dataclasses import dataclass

_ROOTS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SYMBOL = re.compile(r"^([A-G])(#|b)?([^/]*)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Chord:
    """One chord. says: its symbol. root: its pitch class. tones: pitch classes (0-11) of root,
    third, fifth and seventh or sixth; guide: third and seventh (or sixth), which change when the
    harmony does; a power chord has none."""

    says: str
    root: int
    tones: frozenset[int]
    guide: frozenset[int]


def parse_chord(symbol: str, shift: int = 0) -> Chord | None:
    """A symbol such as "Bb7(b9)/F", moved by `shift` semitones; None where it is no chord
    ("N.C.")."""
    match = _SYMBOL.match(symbol)
    if not match:
        return None
    root = _ROOTS[match[1]] + {"#": 1, "b": -1, None: 0}[match[2]] + shift
    kind = match[3]
    if kind == "5":  # a power chord has no third and no seventh
        tones = frozenset({root % 12, (root + 7) % 12})
        return Chord(says=symbol, root=root % 12, tones=tones, guide=frozenset())
    minor = kind.startswith(("m", "dim")) and not kind.startswith("maj")
    third = 3 if minor else 4
    if "sus" in kind:
        third = 2 if "sus2" in kind else 5
    fifth = 7
    if "b5" in kind or "dim" in kind:
        fifth = 6
    elif "#5" in kind or "aug" in kind or kind.startswith("+"):
        fifth = 8
    guide = {third}
    if "maj" in kind:
        guide.add(11)
    elif "dim7" in kind or "6" in kind:
        guide.add(9)
    elif re.search(r"7|9|11|13", kind):
        guide.add(10)
    return Chord(
        says=symbol,
        root=root % 12,
        tones=frozenset((root + t) % 12 for t in {0, fifth, *guide}),
        guide=frozenset((root + t) % 12 for t in guide),
    )
