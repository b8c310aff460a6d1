"""A long note has a front, keeps its length and stops at an agreed place.

bad:  five players letting go one after the other
good: "off 4", all together
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import END, PAD, LineView


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if spot.length < 1.5:
            continue
        before = view.spots[spot.index - 1] if spot.index else None
        if view.in_pad(spot):
            yield Candidate(spot=spot.index, weight=0.3 if spot.last else 0.5, lean=-0.6, length="long",
                            because="held among held notes: sustained, without a front of its own")
            continue
        if spot.after >= END and spot.length >= PAD and (view.style.soft == "none" or not spot.tone.has_fermata):
            yield Candidate(spot=spot.index, lean=1.05, marks=("accent",), length="long", because="the last note of all: it has a front")
        elif spot.first and spot.last and spot.length >= PAD and before is not None and before.length <= 1 and spot.before <= PAD:
            yield Candidate(spot=spot.index, lean=1.1, marks=("accent",), length="long",
                            because="the line ends on this held note: give it a front")
        yield Candidate(
            spot=spot.index, weight=0.3 if spot.last else 0.5, lean=0.15 if spot.on_beat else 0.0, length="long",
            because="longer than a quarter: full value, front first, then back off",
        )


RULE = Rule(
    name="held-note", says="long notes: a front, full value, one release",
    source="AfroImpro, Accentuation, rule 4 (quarters and longer often stressed); D. Berger, from memory (full value); "
    "M. Kilpatrick (attack, then back off)",
    limits="notes of a beat and a half or more", propose=_propose,
)
