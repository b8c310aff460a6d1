"""The bottom of the line is light; the low note before a leap to a peak is nearly swallowed.

bad:  a heavy low note, then a thin top
good: D (B) >G: the B hardly there, the G full
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

_BOTTOM = -1.35  # dB after pitch height is taken out (facts, Loudness: -1.60 to -1.13)
# semitones up from, and down to, a low note that may be ghosted; judgement
_GHOST_LEAP, _GHOST_FALL = 5, 2


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if not spot.is_bottom:
            continue
        yield Candidate(
            spot=spot.index,
            weight=_BOTTOM,
            lean=-0.6 if spot.length < 1 else 0.0,
            because="bottom of the line: keep it light",
        )
        after = view.next(spot)
        peak = after is not None and (after.is_top or (after.last and after.rise > 0))
        if (
            view.style.ghosts
            and peak
            and spot.ahead >= _GHOST_LEAP
            and spot.rise <= -_GHOST_FALL
            and spot.is_eighth
        ):
            yield Candidate(
                spot=spot.index,
                weight=-0.4,
                lean=0.9,
                marks=("ghost",),
                because="low note that springs up to the peak: ghost it",
            )


RULE = Rule(
    name="low-note",
    says="bottoms are light, and ghosted before a spring to the peak",
    source="Jazz Articulation and Swing Feel, everythingsaxophone (2018); Weimar Jazz Database, "
    "own count",
    limits="evidence against a lean on notes shorter than a beat only; ghosts only "
    "in styles that have them, on eighths",
    propose=_propose,
)
