"""When the whole band comes in after a long rest, its first note has a front.

bad:  thirteen players who creep in after five bars of rest
good: the first note struck together, then the line
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

_RESTED = 16  # beats, four bars; judgement
_LEAN = 2.0  # outweighs that held notes of a pad have no front of their own; judgement


def _propose(view: LineView) -> Iterable[Candidate]:
    first = view.spots[0]
    pick_up = first.is_eighth and not first.last and first.ahead > 0 and first.after < 0.5
    if view.tutti and first.before >= _RESTED and not pick_up:
        yield Candidate(
            spot=0,
            lean=_LEAN,
            marks=("accent",),
            weight=0.4,
            because="the band comes in after a long rest: strike it together",
        )


RULE = Rule(
    name="tutti-entry",
    says="a tutti entry after a long rest has a front",
    source="common practice, no source",
    limits="passages of eight parts or more after four bars of rest; not rising pick-ups",
    propose=_propose,
)
