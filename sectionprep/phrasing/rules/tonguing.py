"""Tongue the off-beat and slur into the next beat; first, last and repeated notes are always
tongued.

bad:  every eighth tongued alike, or a whole run under one tongue
good: doo-DAH-oo-DAH-oo-DAH: the off-beats speak, the beats follow from them
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule, Span
from sectionprep.phrasing.view import LineView, Spot

# semitones: in a pattern of thirds whose off-beat is the lower note, the beat is tongued instead
_THIRD_DOWN = (-3, -4)


def _running(a: Spot | None, b: Spot | None) -> bool:
    return (
        a is not None
        and b is not None
        and a.is_eighth
        and b.is_eighth
        and b.before == 0
        and not a.triplet
        and not b.triplet
    )


def _propose(view: LineView) -> Iterable[Candidate | Span]:
    if not view.style.swing:
        return
    for spot in view.spots:
        before, after = view.prev(spot), view.next(spot)
        if (
            not _running(before, spot)
            or before is None
            or after is None
            or spot.rise == 0
            or spot.after >= 0.5
        ):
            continue
        upper = spot.ahead in _THIRD_DOWN and spot.rise > 0 and before.rise in _THIRD_DOWN
        if not (spot.on_beat and before.off_beat) or upper or spot.slur or before.slur:
            continue
        yield Candidate(
            spot=spot.index,
            slurred=True,
            because="slurred from the note before: the usual swing tonguing",
        )
        if view.style.tonguing_slurs:
            yield Span(
                first=before.index,
                last=spot.index,
                kind="slur",
                because="tongue the off-beat, slur into the beat",
            )


RULE = Rule(
    name="tonguing",
    says="tongue the off-beat, slur into the beat; in thirds tongue the upper note",
    source="Jazz Articulation and Swing Feel, everythingsaxophone (2018); Tonguing for Jazz "
    "Saxophone, thewoodshedmusic "
    "(2014); thirds: S. Fagaly, Jazz Articulation",
    limits="running eighths of swing styles; shown in the syllables, printed as slurs only where "
    "the style says so",
    propose=_propose,
)
