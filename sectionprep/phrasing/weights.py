"""How much each note weighs: what the rules add up to, seen in the line as a whole, in agreement
with the marks.

Two reasons concern the line and not a note. Its height: where the whole line lies high it is
louder, not only above its neighbours (D. Berger, from memory: dynamics follow contour). Its breath:
the air is spent from one breath to the next, and so is the sound (common practice, no source).
Their sizes are from a count over recorded swing solos (public transcriptions with measured
loudness): with them the weights rank the loudest quarter of a line's notes better than pitch height
alone does.

What the page brings out weighs no less than what it leaves plain. The last off-beat eighth before a
rest is the exception: it is cut off, not loud, and its reason says so.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Collection, Sequence
from itertools import pairwise
from statistics import median

from sectionprep.phrasing.view import LineView

_SPREAD = 2.2  # decibels: turns summed weights into 0..1; judgement
# of the scale: for each octave above the line's mean; spent from the first note of a breath to its
# last
_OCTAVE, _BREATH = 0.5, 0.2
_BREATHES = 2  # beats of rest in which a player fills up, not only catches air; judgement
_ABOVE = (
    0.02  # how much more than its plain neighbours a note weighs that is brought out; judgement
)
_ROUNDS = 10  # of raising notes to the median, which rises with them


def weights(view: LineView, decibels: Sequence[float], leaned: Collection[int]) -> list[float]:
    """Weight (0..1) of every note. decibels: what the rules say together of each."""
    mean = sum(spot.pitch for spot in view.spots) / len(view.spots)
    felt = [
        _squeezed(level / _SPREAD) + _OCTAVE * (spot.pitch - mean) / 12 - _BREATH * spent
        for spot, level, spent in zip(view.spots, decibels, _spent(view), strict=True)
    ]
    _agree(view, felt, [n for n in leaned if not view.tail(view.spots[n])], leaned)
    return [_squeezed(4 * (value - 0.5)) for value in felt]  # in order as felt, and inside 0..1


def _spent(view: LineView) -> list[float]:
    """How much of its breath the line has spent at each note: 0 at the first note after a rest in
    which a player fills up, 1 at the last before the next."""
    starts = [n for n, spot in enumerate(view.spots) if n == 0 or spot.before >= _BREATHES]
    return [
        n / max(1, stop - start - 1)
        for start, stop in pairwise([*starts, len(view.spots)])
        for n in range(stop - start)
    ]


def _agree(
    view: LineView, felt: list[float], raised: Sequence[int], leaned: Collection[int]
) -> None:
    """Raise notes that are brought out above their plain neighbours, and to the median of phrase
    and line."""
    for n in raised:
        spot = view.spots[n]
        beside = [
            near.index
            for near in (view.prev(spot), view.next(spot))
            if near is not None and near.index not in leaned
        ]
        felt[n] = max([felt[n], *(felt[m] + _ABOVE for m in beside)])
    inside = sorted(raised)
    groups = [
        (first, end, inside[bisect_left(inside, first) : bisect_left(inside, end)])
        for first, end in [*((a, b + 1) for a, b in view.phrases), (0, len(felt))]
    ]
    for _ in range(_ROUNDS):
        before = list(felt)
        for first, end, among in groups:
            middle = median(felt[first:end])
            for n in among:
                felt[n] = max(felt[n], middle)
        if felt == before:
            return


def _squeezed(value: float) -> float:
    return 1 / (1 + math.exp(-value))
