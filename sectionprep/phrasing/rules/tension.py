"""A tension on the beat is leaned on a little and let go into its chord tone.

bad:  the ninth passed over like any other note
good: -D C over C7: the D held against the chord, then released
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        following = view.next(spot)
        if following is None or not spot.on_beat or spot.triplet or abs(spot.ahead) not in (1, 2):
            continue
        chord = view.chord_at(spot)
        if (
            chord is not None
            and spot.pitch % 12 not in chord.tones
            and following.pitch % 12 in chord.tones
        ):
            yield Candidate(
                spot=spot.index,
                lean=0.25,
                marks=("tenuto",),
                because=f"tension over {chord.says} that resolves by step",
            )


RULE = Rule(
    name="tension",
    says="lean a little on a tension that resolves",
    source="common practice, no source",
    limits="notes on the beat that step to a chord tone, only where the chart "
    "carries chord symbols; no weight, as no loudness "
    "data speak of it",
    propose=_propose,
)
