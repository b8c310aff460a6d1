"""Repeated pitches are tongued, every one; the last of them, if off the beat, carries them on.

bad:  a slur over two equal notes, which reads as a tie
good: each one tongued, a little weight where the pitch is about to change
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        after = view.next(spot)
        if spot.first or spot.rise != 0 or after is None:
            continue
        if spot.off_beat and spot.ahead != 0:
            yield Candidate(
                spot=spot.index,
                lean=0.4,
                marks=("accent",),
                because="last of the repeated notes, off the beat",
            )
        else:
            yield Candidate(
                spot=spot.index,
                weight=-0.2,
                because="repeated note: tongued, no heavier than the first",
            )


RULE = Rule(
    name="repeated-note",
    says="tongue repeated notes, let the last one carry on",
    source="common practice, no source (a slur between equal notes is read as a tie)",
    limits="inside a phrase",
    propose=_propose,
)
