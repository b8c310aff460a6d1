"""A long note has a front, keeps its length and stops at an agreed place.

After a rest the front is heard: five players who ease into a held note are never together.

bad:  a half note after two beats of rest that nobody begins
good: > and its full value, "off 1" all together
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import END, HELD, LineView, Spot

_HELD_ON, _FRONT = 1.5, 1.3  # quarters; evidence for a front after a rest; judgements
_PAIR = 2  # notes
_RESTED = 1.0  # beats of rest after which a held note has a front; judgement


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if spot.quarters < _HELD_ON:
            continue
        if view.in_pad(spot):
            yield Candidate(
                spot=spot.index,
                weight=0.3 if spot.last else 0.5,
                lean=-0.6,
                length="long",
                because="held among held notes: sustained, without a front of its own",
            )
            continue
        why = _front(view, spot)
        if why:
            yield Candidate(
                spot=spot.index, lean=_FRONT, marks=("accent",), length="long", because=why
            )
        yield Candidate(
            spot=spot.index,
            weight=0.3 if spot.last else 0.5,
            lean=0.15 if spot.on_beat else 0.0,
            length="long",
            because="longer than a quarter: full value, front first, then back off",
        )


def _front(view: LineView, spot: Spot) -> str:
    """Why this held note must be heard to begin; empty where the line carries it."""
    if _charleston(view, spot):
        return (
            "a long and a short note by themselves: the long one has a front, the short one stops"
        )
    if not spot.is_held:
        return ""
    before = view.spots[spot.index - 1] if spot.index else None
    if spot.after >= END and (view.style.soft == "none" or not spot.tone.has_fermata):
        return "the last note of all: it has a front"
    if (
        spot.first
        and spot.last
        and before is not None
        and before.quarters <= 1
        and spot.before <= HELD
    ):
        return "the line ends on this held note: give it a front"
    rested = spot.before >= _RESTED and view.style.soft != "all"  # a ballad begins on the air
    return "held note after a rest: it begins with a front, all together" if rested else ""


def _charleston(view: LineView, spot: Spot) -> bool:
    """A figure of two notes between rests: a dotted quarter on the beat, an eighth off it."""
    other = view.next(spot)
    figure = view.phrase_of(spot)
    return (
        other is not None
        and len(figure) == _PAIR
        and spot.before >= _RESTED
        and spot.on_beat
        and not spot.is_held
        and spot.after == 0
        and view.closes(other)
    )


RULE = Rule(
    name="held-note",
    says="long notes: a front, full value, one release",
    source="AfroImpro, Accentuation, rule 4 (quarters and longer often stressed); D. Berger, from "
    "memory (full value); "
    "M. Kilpatrick (attack, then back off; every rhythmic figure gets an accent); the front after "
    "a rest, and both notes of a figure long-short: common practice, no source",
    limits="notes of a dotted quarter or more, fronts from a half note, and of a dotted quarter in "
    "a figure of two notes; not in pads, which are "
    "sustained, and after rests not in ballads",
    propose=_propose,
)
