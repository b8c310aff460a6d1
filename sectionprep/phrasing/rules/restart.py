"""When a line starts again after longer notes or a rest, its first off-beat eighth restarts it with
weight.

bad:  a line that creeps in after a rest
good: rest, >and-of-one: the line is there at once
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot

# an entry that comes down and has nothing above it for a bar's four beats: it is the top of what it
# begins; any other that comes down, which has its goal still above it; one that climbs, a pick-up:
# judgements
_FROM_THE_TOP, _RESTART, _PICK_UP = 1.35, 0.9, 0.6
_BEATS = 4


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if not spot.is_eighth or spot.triplet or not spot.off_beat or spot.last:
            continue
        before = view.spots[spot.index - 1] if spot.index else None
        rested = spot.before >= 0.5
        held = (
            before is not None and before.length >= 1 and spot.before < 0.5 and not before.off_beat
        )
        following = view.next(spot)
        if (rested or held) and following is not None and following.length <= 0.5:
            after = "a rest" if rested else "a longer note"
            yield Candidate(
                spot=spot.index,
                weight=0.15,
                lean=_evidence(view, spot, following),
                marks=("accent",),
                because=f"first off-beat after {after}: it sets the line going again",
            )


def _evidence(view: LineView, spot: Spot, following: Spot) -> float:
    """A pick-up leads to what has the weight; a line that begins on its top is there at once."""
    if following.pitch > spot.pitch:
        return _PICK_UP
    falls = spot.first and following.pitch < spot.pitch
    return _FROM_THE_TOP if falls and _stays_below(view, spot) else _RESTART


def _stays_below(view: LineView, spot: Spot) -> bool:
    """For four beats, or to its end, the phrase does not rise above this note."""
    higher = next((near for near in view.phrase_of(spot) if near.pitch > spot.pitch), None)
    return higher is None or higher.tone.onset - spot.tone.onset >= _BEATS * view.beat


RULE = Rule(
    name="restart",
    says="the first off-beat eighth restarts the line",
    source="common practice, no source",
    limits="eighths followed by more of the line",
    propose=_propose,
)
