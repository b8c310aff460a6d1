"""A note a semitone off the beat's chord tone only leads to it.

bad:  the F# before a G as heavy as the G
good: the approach light, the chord tone where it counts
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        landing = view.next(spot)
        if (
            landing is None
            or not spot.is_eighth
            or not landing.on_beat
            or abs(spot.ahead) != 1
            or spot.after > 0
        ):
            continue
        chord = view.chord_at(landing)
        if (
            chord is not None
            and landing.pitch % 12 in chord.tones
            and spot.pitch % 12 not in chord.tones
        ):
            yield Candidate(
                spot=spot.index,
                lean=-0.25,
                because=f"approach note: it leads to a tone of {chord.says}",
            )


RULE = Rule(
    name="approach-note",
    says="a note that approaches a chord tone by a semitone stays light",
    source="common practice, no source",
    limits="eighths before a beat, only where the chart carries chord symbols; no "
    "weight, as no loudness data speak of it",
    propose=_propose,
)
