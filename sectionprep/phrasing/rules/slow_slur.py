"""Slow counter-lines and pads that move by step are slurred; melodies and rhythms are articulated.

bad:  a pad of half notes, each struck anew
good: one slur over the notes that step
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Rule, Span
from sectionprep.phrasing.view import LineView

_PAD = 2  # beats: notes of a pad; judgement
_CHROMATIC = 1  # beat: notes of a chromatic counter-line; judgement


def _propose(view: LineView) -> Iterable[Span]:
    if not view.style.slow_slurs:
        return
    for first, last in view.phrases:
        start = first
        for n in range(first + 1, last + 2):
            if n <= last and _joins(view, n):
                continue
            if n - start >= 3 and any(view.spots[k].length >= _PAD for k in range(start, n)):
                yield Span(first=start, last=n - 1, kind="slur", because="slow notes that step: one slur")
            elif n - start >= 4:
                yield Span(first=start, last=n - 1, kind="slur", because="chromatic counter-line: one slur")
            start = n


def _joins(view: LineView, n: int) -> bool:
    a, b = view.spots[n - 1], view.spots[n]
    if b.before > 0:
        return False
    slow = a.length >= _PAD and b.length >= _PAD and 1 <= abs(b.rise) <= 2
    chromatic = a.length >= _CHROMATIC and b.length >= _CHROMATIC and abs(b.rise) == 1
    return slow or chromatic


RULE = Rule(
    name="slow-slur", says="slur pads and chromatic counter-lines",
    source="M. Kilpatrick, ellington-music.co.uk (slur scalar and chromatic counter-lines and pads, articulate the rest)",
    limits="three notes or more of two beats, or four of a beat in semitones; not in concert music", propose=_propose,
)
