"""A long note speaks, then backs off, so that the parts that move are heard.

bad:  a whole note as loud at its end as at its front
good: > and at once softer under the moving line
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

_LONG = 3  # quarters; judgement: shorter notes are over before they can back off


def _propose(view: LineView) -> Iterable[Candidate]:
    for first, last in view.phrases:
        for spot in view.spots[first : last + 1]:
            if spot.quarters >= _LONG and not view.in_pad(spot):  # legato pads are sustained
                yield Candidate(
                    spot=spot.index,
                    lean=0.6,
                    marks=("accent",),
                    length="long",
                    because="long note: speak, then back off",
                )


RULE = Rule(
    name="back-off",
    says="long notes speak and back off",
    source="M. Kilpatrick, ellington-music.co.uk (long notes fp); D. Berger, Notes on Playing "
    "Ellington",
    limits="notes of three quarters or more; not in pads, which are sustained",
    propose=_propose,
)
