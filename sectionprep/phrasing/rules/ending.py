"""Near a phrase's end the off-beat neighbour sets up the ending better than the predictable beat.

bad:  a weighty last beat
good: the off-beat before it leaned on
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

# dB after pitch height for the last note of a phrase, and half of it for the note before
# (judgement).
_LAST, _SECOND_LAST = -1.68, -0.6
# notes: a short figure ends on its point, only what is longer needs its ending set up; judgements
_LEAST, _FIGURE = 3, 6
# of the off-beat before a closing beat; judgement
_SET_UP = 1.05


def _propose(view: LineView) -> Iterable[Candidate]:
    for first, last in view.phrases:
        notes = view.spots[first : last + 1]
        if len(notes) < _LEAST:
            continue
        end, before = notes[-1], notes[-2]
        yield Candidate(spot=end.index, weight=_LAST, because="end of the phrase")
        yield Candidate(spot=before.index, weight=_SECOND_LAST, because="the phrase is closing")
        if (
            len(notes) > _FIGURE
            and end.on_beat
            and before.off_beat
            and before.is_eighth
            and before.triplet == 0
        ):
            yield Candidate(
                spot=before.index,
                lean=_SET_UP,
                marks=("accent",),
                because="off-beat that sets up the ending",
            )
            if end.pitch < max(spot.pitch for spot in notes):
                yield Candidate(spot=end.index, lean=-0.3, because="the predictable last beat")


RULE = Rule(
    name="ending",
    says="set the ending up from the off-beat",
    source="the set-up: common practice, no source; weights from the Weimar Jazz Database, own "
    "count",
    limits="weights in phrases of three notes or more, the set-up in lines longer than six",
    propose=_propose,
)
