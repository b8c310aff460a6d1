"""Lean on the top note of each rising group.

bad:  C D E G F E with every note alike
good: C D E >G F E: the group was going to the G
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

# Weight: local top +0.82 dB after pitch height is taken out; on the beat +1.09, off it +0.46
# (facts, Loudness).
_ON, _OFF = 1.09, 0.46
# a peak; a neighbour note, a step up and back, which the line only brushes; judgements
_PEAK, _NEIGHBOUR = 0.57, 0.4
_STEP = 2  # semitones
# notes and semitones from which a line that ends on its top has climbed there; judgement
_STEPS, _CLIMB = 3, 5


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        ends = spot.last and spot.rise > 0
        if not (spot.is_top or ends) or view.in_pad(spot):
            continue
        steps, climbed = view.climbed(spot)
        if ends and (steps < _STEPS or climbed < _CLIMB):
            continue
        base = _NEIGHBOUR if steps == 1 and spot.rise <= _STEP and -spot.ahead <= _STEP else _PEAK
        lean = base + min(0.5, 0.06 * climbed) + (0.1 if steps > 1 else 0.0)
        if spot.triplet in (2, 3):
            lean -= 0.6
        because = "the line peaks here and turns down"
        if ends:
            because = "the line has climbed to this, its last note"
        elif steps > 1:
            because = "top of a rising group"
        yield Candidate(
            spot=spot.index,
            weight=_ON if spot.on_beat else _OFF,
            lean=lean,
            marks=("accent",),
            because=because,
        )


RULE = Rule(
    name="top-of-rise",
    says="lean on the top of a rising group",
    source="Jazz Articulation and Swing Feel, everythingsaxophone (2018); S. Fagaly, Jazz "
    "Articulation: tongue and "
    "stress the peak, even on the beat",
    limits="inside a phrase; weaker inside a triplet",
    propose=_propose,
)
