"""A long rise grows; a long fall inside a phrase eases.

bad:  an octave climbed at one flat level
good: a crescendo from the bottom to the top note; none over the last notes of a phrase
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Rule, Span
from sectionprep.phrasing.view import LineView

_RISE, _FALL = 10, 14  # semitones in one direction; judgement: shorter ways need no sign
_NOTES = 5  # in one direction; judgement


def _propose(view: LineView) -> Iterable[Span]:
    for first, last in view.phrases:
        start = first
        for n in range(first + 1, last + 2):
            up = n <= last and view.spots[n].pitch >= view.spots[n - 1].pitch
            rising = n - 1 > start and view.spots[n - 1].pitch >= view.spots[n - 2].pitch
            if n <= last and (n - 1 == start or up == rising):
                continue
            yield from _one(view, start, n - 1, last)
            start = n - 1


def _one(view: LineView, start: int, end: int, last: int) -> Iterable[Span]:
    height = view.spots[end].pitch - view.spots[start].pitch
    if end - start + 1 < _NOTES:
        return
    if height >= _RISE:
        yield Span(first=start, last=end, kind="crescendo", because="a long rise: grow to its top")
    elif height <= -_FALL and end < last:
        yield Span(
            first=start, last=end, kind="diminuendo", because="a long fall inside the phrase: ease"
        )


RULE = Rule(
    name="hairpin",
    says="long rises grow, long falls inside a phrase ease",
    source="D. Berger, Notes on Playing Ellington (dynamics follow contour), from "
    "memory; no diminuendo at phrase ends: "
    "Holmquist as summarised at bandbuzz.org (2021)",
    limits="five notes or more in one direction, a minor seventh up or more than an octave down",
    propose=_propose,
)
