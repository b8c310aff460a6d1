"""Other ways to phrase a line that a director may want to choose from; each is planned whole and
can be heard.

Plainer: fewer leans, for a line that must stay light. Earlier: as many, but tops on the beat are
announced by the off-beat before them. More forward: the off-beats drive the line. All three are
common practice, no source; the sizes are judgements.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

from sectionprep.phrasing.view import LineView, Spot


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A way to read a line. says: what it is, in a musician's words. price: added to what a lean
    must earn. bend: added to the evidence of a note, given the notes that the plan brings out."""

    name: str
    says: str
    price: float = 0.0
    bend: Callable[[LineView, Spot, Collection[int]], float]


_LATE, _EARLY, _DRIVE, _HOLD = -1.2, 0.9, 0.35, -0.25


def _as_it_is(view: LineView, spot: Spot, chosen: Collection[int]) -> float:
    return 0.0


def _earlier(view: LineView, spot: Spot, chosen: Collection[int]) -> float:
    """From a top on the beat to the off-beat eighth that runs into it."""
    before, after = view.prev(spot), view.next(spot)
    if (
        spot.index in chosen
        and spot.on_beat
        and spot.rise > 0
        and before is not None
        and _runs(before, spot)
    ):
        return _LATE
    if (
        after is not None
        and after.index in chosen
        and after.on_beat
        and after.rise > 0
        and _runs(spot, after)
    ):
        return _EARLY
    return 0.0


def _runs(before: Spot, top: Spot) -> bool:
    return (
        before.off_beat
        and before.is_eighth
        and top.before == 0
        and not before.triplet
        and top.quarters <= 1
    )


def _forward(view: LineView, spot: Spot, chosen: Collection[int]) -> float:
    if spot.off_beat and spot.is_eighth and spot.rise >= 0:
        return _DRIVE
    return _HOLD if spot.on_beat and spot.strong and spot.is_eighth else 0.0


WAYS = (
    Way(name="plainer", says="fewer leans, the line stays light", price=0.45, bend=_as_it_is),
    Way(name="earlier", says="the off-beat before the top instead of the top", bend=_earlier),
    Way(name="more forward", says="the off-beats drive the line", price=-0.1, bend=_forward),
)
