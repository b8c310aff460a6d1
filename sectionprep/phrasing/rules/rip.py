"""A fast climb to a peak: strike the first note, swallow the run, land on the top.

bad:  six sixteenths hammered out, and nothing left for the top
good: >D (E F G A B) >C
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule, Span
from sectionprep.phrasing.view import LineView

_FAST = 0.25  # quarters: a sixteenth
_NOTES = 4  # fast notes on the way up; judgement


def _propose(view: LineView) -> Iterable[Candidate | Span]:
    for first, last in view.phrases:
        start = first
        for n in range(first + 1, last + 2):
            if (
                n <= last
                and view.spots[n].rise > 0
                and view.spots[n - 1].quarters <= _FAST
                and view.spots[n].before == 0
            ):
                continue
            if n - 1 - start >= _NOTES:
                yield from _climb(view, start, n - 1)
            start = n


def _climb(view: LineView, start: int, top: int) -> Iterable[Candidate | Span]:
    yield Candidate(
        spot=start,
        weight=0.3,
        lean=0.3,
        marks=("accent",),
        because="the climb starts here: strike it",
    )
    for n in range(start + 1, top):
        yield Candidate(spot=n, weight=-0.4, lean=-0.5, because="inside the climb: swallowed")
    after = view.next(view.spots[top])
    again = (
        after is not None and after.rise == 0 and after.length > view.spots[top].length
    )  # the top comes twice: it lands on the long one
    landing = top + 1 if again else top
    yield Candidate(
        spot=landing, weight=0.3, lean=0.9, marks=("accent",), because="the climb lands here"
    )
    if not any(view.spots[n].slur for n in range(start, top + 1)):
        yield Span(
            first=start,
            last=top - 1,
            kind="slur",
            because="one tongue for the climb, a new one for its top",
        )


RULE = Rule(
    name="rip",
    says="strike, swallow the run, land on the top",
    source="J. Dester, saxophonetics (2022)",
    limits="four or more rising notes of a sixteenth or less",
    propose=_propose,
)
