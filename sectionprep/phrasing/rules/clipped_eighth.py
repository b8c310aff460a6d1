"""An eighth followed by a rest is short.

bad:  eighth before a rest held into the rest
good: clipped, so that the rest is heard
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

_HIT = 1.4  # a band hits it, on the beat or off it, in every style but ballads and concert music; judgement
_PUNCH = 3  # notes; judgement


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if spot.triplet or not 0.4 <= spot.length <= view.short or spot.after < 0.5:
            continue
        isolated = spot.before >= 0.5
        if isolated:
            yield Candidate(
                spot=spot.index, lean=_HIT, marks=("strong-accent",), length="short", weight=0.4,
                because="a hit between rests: short and strong",
            )
        elif spot.off_beat and spot.last and spot.length <= 0.5 and len(view.phrase_of(spot)) <= _PUNCH:
            yield Candidate(spot=spot.index, lean=1.2, marks=("strong-accent",), length="short", because="the point of a short punch: clipped")
        elif spot.length <= 0.5:
            yield Candidate(spot=spot.index, length="short", because="short note before a rest: clipped")


RULE = Rule(
    name="clipped-eighth", says="an eighth before a rest is short",
    source="D. Berger, Notes on Playing Ellington, from memory; hits between rests: M. Kilpatrick (every rhythmic figure "
    "gets an accent)",
    limits="eighths outside triplets", propose=_propose,
)
