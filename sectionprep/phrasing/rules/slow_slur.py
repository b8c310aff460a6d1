"""Slow counter-lines and pads that move by step are slurred; melodies and rhythms are articulated.

bad:  a pad of half notes, each struck anew
good: one slur over the notes that step
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Rule, Span
from sectionprep.phrasing.view import LineView

_BREATH = 8.0  # seconds; judgement
_CHROMATIC = 1  # quarter: notes of a chromatic counter-line; judgement


def _propose(view: LineView) -> Iterable[Span]:
    if not view.style.slow_slurs:
        return
    for first, last in view.phrases:
        start = first
        for n in range(first + 1, last + 2):
            if n <= last and _joins(view, n):
                continue
            most = (
                2 * (n - start) > last - first
            )  # a slur over the last few notes of a pad says nothing
            if n - start >= 3 and most and any(view.spots[k].is_held for k in range(start, n)):
                yield from _in_breaths(view, view.spots[first].tone.bar, start, n - 1)
            elif n - start >= 4:
                yield Span(
                    first=start, last=n - 1, kind="slur", because="chromatic counter-line: one slur"
                )
            start = n


def _in_breaths(view: LineView, since: int, first: int, last: int) -> Iterable[Span]:
    """One slur, or several of four, two or one bars that a breath can carry, counted from the bar
    where the phrase begins."""
    a, b = view.spots[first], view.spots[last]
    start = a.tone
    passed = (b.tone.onset - b.offset) - (start.onset - a.offset)  # from bar line to bar line
    per_bar = passed / max(1, b.tone.bar - start.bar) / view.quarter * 60 / view.tempo
    bars = next((count for count in (4, 2) if count * per_bar <= _BREATH), 1)
    begun = first
    for n in range(first + 1, last + 2):
        if n <= last and (view.spots[n].offset or (view.spots[n].tone.bar - since) % bars):
            continue
        if n - begun >= 2:
            yield Span(
                first=begun, last=n - 1, kind="slur", because="slow notes that step: one slur"
            )
        begun = n


def _joins(view: LineView, n: int) -> bool:
    a, b = view.spots[n - 1], view.spots[n]
    if b.before > 0:
        return False
    slow = a.is_held and b.is_held and 1 <= abs(b.rise) <= 2
    chromatic = a.quarters >= _CHROMATIC and b.quarters >= _CHROMATIC and abs(b.rise) == 1
    return slow or chromatic


RULE = Rule(
    name="slow-slur",
    says="slur pads and chromatic counter-lines",
    source="M. Kilpatrick, ellington-music.co.uk (slur scalar and chromatic counter-lines and "
    "pads, articulate the rest)",
    limits="three notes or more of two quarters, or four of a quarter in semitones; not in "
    "concert music",
    propose=_propose,
)
