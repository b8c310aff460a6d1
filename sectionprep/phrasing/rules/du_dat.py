"""A short figure that ends "du-dat": the note before the last is held to it, the last is cut off.

The rest after it is part of the figure, half a beat is enough. Without the long note there is no
short one: both speak.

bad:  E^ E (a short quarter and a plain eighth), or two notes of one length
good: E- E^ and silence
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

_LEAN = 1.3  # as of a hit; judgement


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if view.du_dat(spot):
            yield Candidate(
                spot=spot.index - 1,
                lean=0.3,
                length="long",
                because="du-dat: this note is held to the next one",
            )
            yield Candidate(
                spot=spot.index,
                lean=_LEAN,
                marks=("strong-accent",),
                length="short",
                because="du-dat: cut off, short and strong",
            )


RULE = Rule(
    name="du-dat",
    says="in a short figure that ends long-short both notes speak",
    source="syllables: C. Treinen, Being Articulate in Jazz (dut, dat); M. Kilpatrick (every "
    "rhythmic figure gets an accent); "
    "the pair: common practice, no source",
    limits="figures of two to four notes between rests whose last two stand on beats; no quarters "
    "of 6/8 and 12/8",
    propose=_propose,
)
