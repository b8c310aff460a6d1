"""The last off-beat eighth before a rest is short and stopped by the tongue: "dat".

It takes part in no competition: whatever else the line leans on, this note is cut off, because the
silence after it is part of the rhythm and a section that lets it ring in five lengths blurs it.

bad:  the line runs out into the rest, each player in his own time
good: ... F E D C^ and silence
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import CUT_OFF, LineView

_LEAN, _HIT = 1.4, 0.4  # enough in every style; decibels of a hit by itself; judgements


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if view.closes(spot):
            tail = view.tail(spot)
            yield Candidate(
                spot=spot.index,
                weight=0.0 if tail else _HIT,
                lean=_LEAN,
                marks=("strong-accent",),
                length="short",
                because=CUT_OFF if tail else "a hit between rests: short and strong",
            )


RULE = Rule(
    name="last-eighth",
    says="the last off-beat eighth before a rest is short, stopped by the tongue",
    source="Jazz Articulation and Swing Feel, everythingsaxophone (2018), and trebacka (2008): "
    "the last eighth of a run is short and "
    "tongue-stopped; hits: M. Kilpatrick (every rhythmic figure gets an accent)",
    limits="notes of an eighth or less off the beat, outside triplets; not in ballads and concert "
    "music, which are let go with the air",
    propose=_propose,
)
