"""Near a phrase's end the off-beat neighbour sets up the ending better than the predictable beat.

The last eighth of a run is short and stopped by the tongue.

bad:  a weighty last beat and a last note that fades
good: the off-beat before it leaned on, the last eighth clipped
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

# dB after pitch height for the last note of a phrase, and half of it for the note before (judgement).
_LAST, _SECOND_LAST = -1.68, -0.6


def _propose(view: LineView) -> Iterable[Candidate]:
    for first, last in view.phrases:
        notes = view.spots[first : last + 1]
        if len(notes) < 3:
            continue
        end, before = notes[-1], notes[-2]
        yield Candidate(spot=end.index, weight=_LAST, because="end of the phrase")
        yield Candidate(spot=before.index, weight=_SECOND_LAST, because="the phrase is closing")
        run_in = end.is_eighth and end.before < 0.5
        if run_in and end.off_beat and end.after >= 0.5:
            yield Candidate(
                spot=end.index, lean=0.75, marks=("strong-accent",), length="short",
                because="last eighth of the run: short, stopped by the tongue",
            )
        elif run_in and end.after >= 0.5:
            yield Candidate(spot=end.index, length="short", because="last eighth of the run: short")
        if end.on_beat and before.off_beat and before.is_eighth and before.triplet == 0:
            yield Candidate(
                spot=before.index, lean=0.5, marks=("accent",), because="off-beat that sets up the ending"
            )
            if end.pitch < max(spot.pitch for spot in notes):
                yield Candidate(spot=end.index, lean=-0.3, because="the predictable last beat")


RULE = Rule(
    name="ending", says="set the ending up from the off-beat; the last eighth is short",
    source="Jazz Articulation and Swing Feel, everythingsaxophone (2018): last eighth short; the set-up: common practice, "
    "no source; weights from the Weimar Jazz Database, own count",
    limits="phrases of three notes or more", propose=_propose,
)
