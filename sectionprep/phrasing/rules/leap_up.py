"""After a large leap up, lean on the upper note.

bad:  G up to E with the E swallowed
good: G up to >E
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

LARGE = 5  # semitones: a fourth, the size used in the project's count; judgement
_LEAP = 1.03  # of a fourth; judgement


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if spot.first or spot.rise < LARGE:
            continue
        lean = _LEAP + 0.04 * (min(spot.rise, 12) - LARGE)
        yield Candidate(
            spot=spot.index, lean=lean, marks=("accent",), because="upper note of a large leap"
        )


RULE = Rule(
    name="leap-up",
    says="lean on the upper note of a large leap",
    source="common practice, no source; no extra loudness beyond being a top in the Weimar count, "
    "so no weight",
    limits="leaps of a fourth or more inside a phrase",
    propose=_propose,
)
