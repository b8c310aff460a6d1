"""What a plain note lost to, in words."""

from __future__ import annotations

from collections.abc import Sequence

from sectionprep.music.marks import SLURS
from sectionprep.phrasing.chooser import pair_cost
from sectionprep.phrasing.drafts import (
    Draft,
    evidence_of,
)
from sectionprep.phrasing.plan import PlannedNote
from sectionprep.phrasing.view import LineView, Spot

_SMALL_TURN = 4  # semitones up and down together; judgement
_AS_ELSEWHERE = "this figure is played like its other places, where less speaks for a lean"
_SATISFIED = "the leans around it give the line its direction already"


def explain_losses(
    view: LineView, drafts: Sequence[Draft], notes: list[PlannedNote], chosen: frozenset[int]
) -> list[PlannedNote]:
    """Say of every plain note that had a claim, and of every plain top, what it lost to. A note
    that is marked has its reason."""
    explained = list(notes)
    for n, draft in enumerate(drafts):
        claims = draft.pooled > view.style.density
        if n in chosen or notes[n].marks - SLURS or not (claims or draft.spot.is_top):
            continue
        alike = not claims and evidence_of(draft) > view.style.density
        otherwise = _SATISFIED if claims else _small_top(view, draft.spot, chosen)
        why = _AS_ELSEWHERE if alike else _rival(view, n, chosen) or otherwise
        unlike = (
            f"; unlike bar {draft.elsewhere}, whose neighbours differ" if draft.elsewhere else ""
        )
        explained[n] = notes[n]._replace(lost=f"left plain: {why}{unlike}")
    return explained


def _rival(view: LineView, n: int, chosen: frozenset[int]) -> str:
    """Which lean of the phrase stands in the way of this note, and by which pattern."""
    first, last = view.phrases[view.spots[n].phrase]
    worst = (0.0, "")
    for m in range(first, last + 1):
        if m not in chosen or view.closes(view.spots[m]):
            continue
        a, b = sorted((n, m))
        cost, why = pair_cost(
            view.spots[a],
            view.spots[b],
            any(view.spots[k].turns for k in range(a + 1, b)),
            sits=view.style.sits_on_the_beat,
        )
        if why and cost > worst[0]:
            worst = (cost, f"{view.spots[m].tone.head.pitch} beside it has the weight ({why})")
    return worst[1]


def _small_top(view: LineView, spot: Spot, chosen: frozenset[int]) -> str:
    if spot.triplet:
        return "inside a triplet, whose landing has the weight"
    first, last = view.phrases[spot.phrase]
    heavy = [n for n in range(first, last + 1) if n in chosen and not view.closes(view.spots[n])]
    if heavy and spot.rise - spot.ahead > _SMALL_TURN:
        main = min(heavy, key=lambda n: abs(n - spot.index))
        return f"a lesser top; {view.spots[main].tone.head.pitch} near it has the weight"
    return (
        "a small turn on the beat, which the line passes over"
        if spot.on_beat
        else "a small turn, which the line passes over"
    )
