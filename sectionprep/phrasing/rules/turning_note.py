"""A note where the line turns is a candidate; so is the off-beat eighth just before a top, which
anticipates it.

bad:  every turning note of a zigzag accented
good: one turn leaned on, the next one announced by the off-beat before it
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot

# of the off-beat that runs into a top on 1 or 3, which swing anticipates, or on 2 or 4; judgements
_ANNOUNCES, _WEAK = 1.06, 1.0


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if not spot.turns or spot.triplet in (2, 3) or view.in_pad(spot):
            continue
        small = abs(spot.rise) + abs(spot.ahead) <= 4
        yield Candidate(
            spot=spot.index,
            lean=0.2 if small else 0.3,
            marks=("accent",),
            because="the line turns here",
        )
        before = view.prev(spot)
        announced = spot.is_top and spot.on_beat and spot.is_eighth and not view.climbs_far(spot)
        if announced and before is not None and _announces(before):
            yield Candidate(
                spot=before.index,
                lean=_ANNOUNCES if spot.strong else _WEAK,
                marks=("accent",),
                because="off-beat that announces the turn on the next beat",
            )


def _announces(before: Spot) -> bool:
    """In the climb itself; after a rest it is a pick-up, which stays lighter than what it leads
    to."""
    return (
        before.off_beat
        and before.is_eighth
        and not before.first
        and before.before == 0
        and before.rise > 0
    )


RULE = Rule(
    name="turning-note",
    says="turns, and the off-beats that announce them, are places to lean",
    source="AfroImpro teaching site, Accentuation, rule 2 (a note that changes direction is often "
    "stressed); the "
    "anticipation: common practice, no source",
    limits="a top that is leapt to after a long climb is not announced; gives no weight: turning "
    "notes as such are not louder (Weimar count)",
    propose=_propose,
)
