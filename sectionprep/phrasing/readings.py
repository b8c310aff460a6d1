"""Other ways to phrase a line that a director may want to choose from; each is planned whole and
can be heard.

Plainer: fewer leans, for a line that must stay light. Earlier: as many, but tops on the beat are
announced by the off-beat before them. More forward: the off-beats drive the line. All three are
common practice, no source; the sizes are judgements.

A reading is worth hearing that leans otherwise on two notes or more. Where a way at its usual size
comes out as the plan, or as another reading, it goes further; where that does not help either, the
line leans elsewhere; and says so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

from sectionprep.phrasing.view import LineView, Spot


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A way to read a line. says: what it is, in a musician's words. price: added to what a lean
    must earn. bend: added to the evidence of a note, given the notes that the plan brings out.
    closes: False where, gone furthest, even the last eighth before a rest, short by habit, has no
    sign. within: it takes from the plan's leans and adds none. most: how many times the plan's
    leans it may have. further: why it goes further than its usual size; empty for the usual size.
    """

    name: str
    says: str
    price: float = 0.0
    bend: Callable[[LineView, Spot, Collection[int]], float]
    closes: bool = True
    within: bool = False
    most: float = math.inf
    further: str = ""


#: notes on which two readings must differ to be worth hearing; how far a way goes, one after the
#: other; judgements
LEAST, FORCES = 2, (1.0, 1.7, 2.6, 4.0)
_LATE, _EARLY, _DRIVE, _HOLD = -1.2, 0.9, 0.4, -0.25
_AWAY, _NEAR = -0.8, 0.3  # from a lean of the plan, to the off-beats and turns beside it


def _as_it_is(view: LineView, spot: Spot, chosen: Collection[int]) -> float:
    return 0.0


def _earlier(view: LineView, spot: Spot, chosen: Collection[int]) -> float:
    """From a top on the beat to the off-beat eighth that runs into it."""
    before, after = view.prev(spot), view.next(spot)
    if spot.index in chosen and spot.on_beat and spot.rise > 0 and _runs(before, spot):
        return _LATE
    here = after is not None and after.index in chosen and after.on_beat and after.rise > 0
    return _EARLY if here and _runs(spot, after) else 0.0


def _before_all(view: LineView, spot: Spot, chosen: Collection[int]) -> float:
    """From any lean inside the line, push or not, to the short note that runs into it."""
    before, after = view.prev(spot), view.next(spot)
    if spot.index in chosen:
        return _LATE if _leads(before, spot) else 0.0
    here = after is not None and after.index in chosen
    return _EARLY if here and _leads(spot, after) else 0.0


def _runs(before: Spot | None, top: Spot | None) -> bool:
    return (
        before is not None
        and top is not None
        and before.off_beat
        and before.is_eighth
        and top.before == 0
        and not before.triplet
        and top.quarters <= 1
    )


def _leads(before: Spot | None, spot: Spot | None) -> bool:
    return before is not None and spot is not None and spot.before == 0 and before.length <= 1


def _forward(view: LineView, spot: Spot, chosen: Collection[int]) -> float:
    if spot.off_beat and spot.is_eighth and spot.rise >= 0:
        return _DRIVE
    return _HOLD if spot.on_beat and spot.strong and spot.is_eighth else 0.0


def _elsewhere(view: LineView, spot: Spot, chosen: Collection[int]) -> float:
    """From what the plan leans on to what it passes over; pushes are left alone."""
    if spot.index in chosen:
        return 0.0 if spot.pushed else _AWAY
    return _NEAR if spot.off_beat or spot.turns or not spot.is_eighth else 0.0


_PLAINER = Way(
    name="plainer",
    says="fewer leans, the line stays light",
    price=0.45,
    bend=_as_it_is,
    closes=False,
    within=True,
    further="only the strongest are left",
)
_EARLIER = Way(name="earlier", says="the off-beat before the top instead of the top", bend=_earlier)
_FORWARD = Way(
    name="more forward",
    says="the off-beats drive the line",
    price=-0.15,
    bend=_forward,
    further="they drive already, so more of the line does",
)
#: where a way finds too little to do
_BEFORE_ALL = replace(
    _EARLIER,
    bend=_before_all,
    further="few tops stand on the beat here, so the note before speaks for other leans as well",
)
_MORE = Way(
    name="more forward",
    says=_FORWARD.says,
    price=-0.3,
    bend=_as_it_is,
    most=3.0,
    further="off-beats are few here, so whatever has a claim speaks",
)
_ELSEWHERE = Way(
    name="elsewhere",
    says="as many leans, elsewhere",
    price=-0.1,
    bend=_elsewhere,
    closes=False,
    further="this way too little would change, so the line leans elsewhere instead",
)
SAME = "here this is the plan itself: this line leaves no other choice"
NEAR = "one note away from the plan or another reading: this line leaves no other choice"


def _going_further(*ways: Way) -> tuple[tuple[float, Way], ...]:
    first = replace(ways[0], further="")
    rest = [(force, way) for way in ways for force in FORCES if way.further]
    return (1.0, first), *(step for step in rest if step != (1.0, ways[0]))


#: the readings in their order, each with what is tried one after the other: (how far, way)
WAYS = (
    _going_further(_PLAINER, replace(_ELSEWHERE, price=_PLAINER.price, most=1.0)),
    _going_further(_EARLIER, _BEFORE_ALL, _ELSEWHERE),
    _going_further(_FORWARD, _MORE, _ELSEWHERE),
)
#: the readings that are offered, each in its usual size
OFFERED = tuple(tries[0][1] for tries in WAYS)
