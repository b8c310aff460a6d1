"""Of a triplet, tongue the first note lightly, slur the other two, and lean on the note it lands
on.

bad:  three tongued triplet notes and a weak landing
good: (D C Bb) >G
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule, Span
from sectionprep.phrasing.view import LineView

# dB after pitch height: first +0.25, second -0.67, third +0.01; the first has +0.90 below 140
# beats a minute and
# nothing above 200 (facts, Loudness).
_FIRST, _FIRST_SLOW, _SECOND = 0.25, 0.9, -0.67

# landing of a triplet that runs to it in one direction, of any other; judgements
_RUN_IN, _LANDING = 1.25, 0.7


def _propose(view: LineView) -> Iterable[Candidate | Span]:
    for spot in view.spots:
        if spot.triplet == 1:
            first = _FIRST if view.tempo <= 200 else 0.0
            if view.tempo < 140:
                first = _FIRST_SLOW
            yield Candidate(
                spot=spot.index, weight=first, because="first of a triplet: a light tongue"
            )
            third = view.spots[spot.index + 2]
            if view.style.triplet_slurs and not _repeats(view, spot.index):
                yield Span(
                    first=spot.index, last=third.index, kind="slur", because="slur the triplet"
                )
            landing = view.next(third)
            if landing is not None:
                straight = _goes_one_way(view, spot.index)
                yield Candidate(
                    spot=landing.index,
                    weight=0.2,
                    lean=_RUN_IN if straight else _LANDING,
                    marks=("accent",),
                    because="the triplet runs to this note"
                    if straight
                    else "the triplet lands here",
                )
        elif spot.triplet == 2:
            yield Candidate(
                spot=spot.index,
                weight=_SECOND,
                lean=-0.7,
                because="inside a triplet: slurred and light",
            )
        elif spot.triplet == 3:
            yield Candidate(
                spot=spot.index, lean=-0.5, because="inside a triplet: slurred and light"
            )


def _goes_one_way(view: LineView, n: int) -> bool:
    ways = {view.spots[k].rise > 0 for k in range(n + 1, n + 4)}
    return len(ways) == 1 and all(view.spots[k].rise for k in range(n + 1, n + 4))


def _repeats(view: LineView, n: int) -> bool:
    a, b, c = (view.spots[n + k].pitch for k in range(3))
    return a == b or b == c


RULE = Rule(
    name="triplet",
    says="tongue the first of three lightly, slur on, lean on the landing",
    source="common practice, no source; weights from the Weimar Jazz Database, own count",
    limits="no slur where a pitch repeats, nor in straight styles",
    propose=_propose,
)
