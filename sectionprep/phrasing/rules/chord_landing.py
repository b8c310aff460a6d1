"""A landing on the third or seventh of a new chord tells the ear that the harmony has changed.

bad:  the line walks past the change
good: the guide tone on the change a little heavier
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        chord = view.new_chord(spot)
        before = view.spots[spot.index - 1] if spot.index else None
        first_on_it = before is None or view.new_chord(before) is not chord
        if chord is not None and first_on_it and spot.pitch % 12 in chord.guide:
            yield Candidate(
                spot=spot.index,
                weight=0.15,
                lean=0.3,
                marks=("tenuto",),
                because=f"third or seventh of the new chord, {chord.says}",
            )


RULE = Rule(
    name="chord-landing",
    says="lean a little on the third or seventh when the chord changes",
    source="common practice, no source",
    limits="only where the chart carries chord symbols",
    propose=_propose,
)
