"""A short note among sixteenths is a stab: alone after a rest, or where sixteenths land on 2 or 4.

bad:  the sixteenths as loud as the eighth they run to, the eighth held into the rest
good: a light run, and the eighth with the snare: short, and silence
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot

_LEAN = 1.4  # as of a hit between rests; judgement
_EIGHTH, _SIXTEENTH, _NEAR = 0.5, 0.25, 0.01  # quarters


def _propose(view: LineView) -> Iterable[Candidate]:
    if view.style.unit != "16th" or not view.style.short_quarters:
        return
    for spot in view.spots:
        if not spot.fine or abs(spot.quarters - _EIGHTH) > _NEAR or spot.triplet:
            continue
        why = _why(view, spot)
        if why:
            yield Candidate(
                spot=spot.index,
                weight=0.4,
                lean=_LEAN,
                marks=("strong-accent",),
                length="short",
                because=why,
            )


def _why(view: LineView, spot: Spot) -> str:
    before = view.prev(spot)
    if view.set_off(spot.before, spot) and spot.off_pulse:
        return "off the beat after a rest: a stab, short and strong"
    runs = before is not None and before.quarters <= _SIXTEENTH and spot.before == 0
    backbeat = spot.strong and (spot.offset // view.quarter) % 2 == 1
    if runs and backbeat and view.set_off(spot.after, spot):
        return "the sixteenths land here, with the snare on 2 or 4: short and strong"
    return ""


RULE = Rule(
    name="stab",
    says="an eighth among sixteenths is a stab after a rest, and where a run lands on 2 or 4",
    source="R. Miller and K. Holmquist (funk: a grid of sixteenths, short quarters, accented "
    "releases); the backbeat: common practice, no source",
    limits="styles that think in sixteenths and play quarters short; eighths in phrases of running "
    "sixteenths",
    propose=_propose,
)
