"""The note a whole phrase has been heading for gets weight.

bad:  a phrase that passes its highest note on the way
good: the highest note of the phrase, late in it, brought out; the line changes after it
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

_LATE = 0.5  # share of the phrase's notes after which its top is what it was heading for; judgement


def _propose(view: LineView) -> Iterable[Candidate]:
    for first, last in view.phrases:
        notes = view.spots[first : last + 1]
        if len(notes) < 5:
            continue
        top = max(spot.pitch for spot in notes)
        peaks = [spot for spot in notes if spot.pitch == top]
        goal = peaks[-1] if peaks[-1].length >= peaks[0].length else peaks[0]
        if goal.index - first < 2 or goal.triplet in (2, 3) or view.in_pad(goal):
            continue
        late = (goal.index - first) / (len(notes) - 1)
        yield Candidate(
            spot=goal.index,
            weight=0.3,
            lean=0.45 + 0.25 * late,
            marks=("accent",),
            because="the phrase has been heading for this note"
            if late > _LATE
            else "the highest note of the phrase",
        )


RULE = Rule(
    name="goal",
    says="the goal of the phrase gets weight",
    source="common practice, no source",
    limits="phrases of five notes or more, goal not among the first two",
    propose=_propose,
)
