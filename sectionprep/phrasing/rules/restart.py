"""When a line starts again after longer notes or a rest, its first off-beat eighth restarts it with weight.

bad:  a line that creeps in after a rest
good: rest, >and-of-one: the line is there at once
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

_RESTART, _PICK_UP = 1.0, 0.6  # judgements


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if not spot.is_eighth or spot.triplet or not spot.off_beat or spot.last:
            continue
        before = view.spots[spot.index - 1] if spot.index else None
        rested = spot.before >= 0.5
        held = before is not None and before.length >= 1 and spot.before < 0.5 and not before.off_beat
        following = view.next(spot)
        if (rested or held) and following is not None and following.length <= 0.5:
            after = "a rest" if rested else "a longer note"
            climbs = (
                following.pitch > spot.pitch
            )  # then it is a pick-up, and what it leads to has the weight
            yield Candidate(
                spot=spot.index,
                weight=0.15,
                lean=_PICK_UP if climbs else _RESTART,
                marks=("accent",),
                because=f"first off-beat after {after}: it sets the line going again",
            )


RULE = Rule(
    name="restart", says="the first off-beat eighth restarts the line",
    source="common practice, no source", limits="eighths followed by more of the line", propose=_propose,
)
