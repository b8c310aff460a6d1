"""A ballad is sung: a phrase that one breath can carry stands under one slur.

bad:  a tune in eighths without a slur, tongued note by note
good: one slur from the first note to the last; repeated notes are tongued under a new one
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Rule, Span
from sectionprep.phrasing.view import LineView

_BREATH = 8.0  # seconds; judgement
_NOTES = 3  # with fewer there is no phrase to show; judgement


def _propose(view: LineView) -> Iterable[Span]:
    if not view.style.phrase_slurs:
        return
    for first, last in view.phrases:
        notes = view.spots[first : last + 1]
        seconds = (notes[-1].tone.end - notes[0].tone.onset) / view.quarter * 60 / view.tempo
        if (
            seconds > _BREATH
            or all(spot.is_held for spot in notes)
            or any(spot.slur for spot in notes)
        ):
            continue
        start = first
        for n in range(first + 1, last + 2):
            if n <= last and view.spots[n].rise and view.spots[n].before == 0:
                continue
            if n - start >= _NOTES:
                yield Span(
                    first=start,
                    last=n - 1,
                    kind="slur",
                    because="the phrase is sung under one slur",
                )
            start = n


RULE = Rule(
    name="phrase-slur",
    says="in ballads a slur shows the phrase",
    source="Basic Jazz Concepts slides (slurs often show phrases); R. Sweum, Assumptions for Jazz "
    "Big Band (ballads: breath, long, legato)",
    limits="styles with phrase slurs; phrases of three notes or more and eight seconds or less "
    "without printed slurs; not pads",
    propose=_propose,
)
