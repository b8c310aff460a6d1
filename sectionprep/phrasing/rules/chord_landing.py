"""A landing on the third or seventh of a new chord tells the ear that the harmony has changed.

bad:  the line walks past the change
good: the guide tone on the change a little heavier
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

_ROOTS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SYMBOL = re.compile(r"^([A-G])(#|b)?(.*)$")


def guide_tones(symbol: str) -> frozenset[int]:
    """Pitch classes of third and seventh (or sixth) of a chord symbol, as written."""
    match = _SYMBOL.match(symbol)
    if not match:
        return frozenset()
    root = _ROOTS[match[1]] + {"#": 1, "b": -1, None: 0}[match[2]]
    kind = match[3]
    minor = kind.startswith(("m", "dim")) and not kind.startswith("maj")
    third = 5 if "sus" in kind else (3 if minor else 4)
    found = {third}
    if "maj" in kind:
        found.add(11)
    elif "dim7" in kind or "6" in kind:
        found.add(9)
    elif re.search(r"7|9|11|13", kind):
        found.add(10)
    return frozenset((root + tone) % 12 for tone in found)


def _propose(view: LineView) -> Iterable[Candidate]:
    if not view.chords:
        return
    onsets = [onset for onset, _ in view.chords]
    for spot in view.spots:
        at = bisect_right(onsets, spot.tone.onset) - 1
        changed = at > 0 and spot.tone.onset - onsets[at] < view.beat and view.chords[at][1] != view.chords[at - 1][1]
        written = spot.tone.head.pitch
        if changed and written is not None and written.midi % 12 in guide_tones(view.chords[at][1]):
            yield Candidate(
                spot=spot.index, weight=0.15, lean=0.3, marks=("tenuto",),
                because=f"third or seventh of the new chord, {view.chords[at][1]}",
            )


RULE = Rule(
    name="chord-landing", says="lean a little on the third or seventh when the chord changes",
    source="common practice, no source", limits="only where the part carries chord symbols", propose=_propose,
)
