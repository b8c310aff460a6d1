"""A beat right after an off-beat that was brought out may be swallowed: the stress has already
been.

bad:  accent on the and of two, and another push on three
good: >and of two, three hardly there
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

# half of what printing a ghost takes: said, and printed only with other evidence; judgement
_LEAN = 0.5


def _settle(view: LineView, chosen: frozenset[int]) -> Iterable[Candidate]:
    if not view.style.ghosts:
        return
    for spot in view.spots:
        before = view.prev(spot)
        if (
            before is None
            or before.index not in chosen
            or spot.index in chosen
            or spot.last
            or spot.before > 0
        ):
            continue
        if (
            spot.on_beat
            and before.off_beat
            and spot.is_eighth
            and before.is_eighth
            and -2 <= spot.rise < 0
        ):
            yield Candidate(
                spot=spot.index,
                lean=_LEAN,
                marks=("ghost",),
                because="the off-beat before it has the stress: light",
            )


RULE = Rule(
    name="swallowed-beat",
    says="after a stressed off-beat the beat may be swallowed",
    source="AfroImpro teaching site, Accentuation (on-beat notes may be reduced to ghosts)",
    limits="eighths a step below the off-beat, in styles that ghost; no weight, as "
    "no loudness data speak of it",
    settle=_settle,
)
