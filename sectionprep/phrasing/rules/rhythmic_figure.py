"""Every short rhythmic figure has one accent.

bad:  a punch of three notes with no front anywhere
good: one note of the figure is its point
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot

# of a point inside the figure or below what came before; of a last note that the figure climbs to
_POINT, _CLIMBS = 0.65, 0.85  # judgements
_NOTES, _QUARTERS = 4, 4  # a figure is no longer than this; judgement


def _propose(view: LineView) -> Iterable[Candidate]:
    for first, last in view.phrases:
        notes = view.spots[first : last + 1]
        if not 2 <= len(notes) <= _NOTES or notes[0].before < 0.5 or notes[-1].after < 0.5:
            continue
        if (
            sum(spot.quarters for spot in notes) > _QUARTERS
            or all(spot.is_held for spot in notes)
            or _has_point(view, notes[-1])
        ):
            continue  # too long; a pad; or it has its point already
        point = max(
            notes,
            key=lambda spot: (
                spot.pushed,
                spot.length,
                spot.last and spot.off_beat,
                spot.pitch,
                spot.index,
            ),
        )
        climbs = point.last and point.rise > 0 and point.is_eighth
        yield Candidate(
            spot=point.index,
            lean=_CLIMBS if climbs else _POINT,
            marks=("accent",),
            because="the figure climbs to its last short note"
            if climbs
            else "the point of this short figure",
        )


def _has_point(view: LineView, last: Spot) -> bool:
    return view.closes(last) or view.du_dat(last) or view.kicked(last) or view.before_push(last)


RULE = Rule(
    name="rhythmic-figure",
    says="every rhythmic figure gets an accent; pads need not",
    source="M. Kilpatrick, ellington-music.co.uk",
    limits="figures of two to four notes between rests, not pads",
    propose=_propose,
)
