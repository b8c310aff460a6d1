"""An eighth on the beat that is followed by a rest is short; between rests it is a hit.

bad:  eighth before a rest held into the rest
good: clipped, so that the rest is heard
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

_HIT = 1.4  # a band hits it in every style but ballads and concert music; judgement
_SHORTEST, _LONGEST = 0.2, 0.5  # quarters: a sixteenth to an eighth


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if (
            spot.triplet
            or not _SHORTEST <= spot.quarters <= _LONGEST
            or not view.set_off(spot.after, spot)
            or view.closes(spot)
        ):
            continue
        if view.set_off(spot.before, spot):
            yield Candidate(
                spot=spot.index,
                lean=_HIT,
                marks=("strong-accent",),
                length="short",
                weight=0.4,
                because="a hit between rests: short and strong",
            )
        else:
            yield Candidate(
                spot=spot.index, length="short", because="short note before a rest: clipped"
            )


RULE = Rule(
    name="clipped-eighth",
    says="an eighth before a rest is short",
    source="D. Berger, Notes on Playing Ellington, from memory; hits between rests: M. Kilpatrick "
    "(every rhythmic figure "
    "gets an accent)",
    limits="eighths outside triplets; those off the beat have a rule of their own",
    propose=_propose,
)
